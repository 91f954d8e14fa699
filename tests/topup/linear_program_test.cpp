#include "topup/linear_program.hpp"

#include <gtest/gtest.h>

#include <cstdio>

#include "support/long_form.hpp"
#include "topup/exact.hpp"
#include "topup/glpk.hpp"

namespace vialwright::topup::testing {
namespace {

using Status = LinearAnswer::Status;

/// A blending problem: stocks of several components each, ratio rows, a mass window, a volume row.
/// Some with small integers and equal limits, so that ties and degenerate corners abound.
LinearProgram any_programme(support::Random& random) {
  const int n = 1 + random.below(8), m = 1 + random.below(14);
  const bool even = random.below(2) == 0;
  const auto number = [&](double low, double high) {
    if (!even) return random.uniform(low, high);
    return std::floor(random.uniform(low, high + 1.0));
  };
  LinearProgram made;
  made.cost.resize(n);
  made.low.setZero(n);
  made.high.resize(n);
  made.rows.resize(m, n);
  made.row_low.resize(m);
  made.row_high.resize(m);
  for (int j = 0; j < n; ++j) {
    made.cost[j] = number(-1.0, 5.0);
    made.high[j] = number(0.0, 10.0);
  }
  for (int r = 0; r < m; ++r) {
    for (int j = 0; j < n; ++j) made.rows(r, j) = random.below(4) == 0 ? 0.0 : number(-3.0, 4.0);
    const double middle = number(-4.0, 10.0), width = random.below(4) == 0 ? 0.0 : number(0, 8.0);
    made.row_low[r] = random.below(3) == 0 ? -infinity : middle;
    made.row_high[r] = random.below(3) == 0 ? infinity : middle + width;
  }
  return made;
}

GlpkAnswer by_glpk(const LinearProgram& problem) {
  const int n = static_cast<int>(problem.cost.size()), m = static_cast<int>(problem.rows.rows());
  glp_term_out(GLP_OFF);
  glp_prob* lp = glp_create_prob();
  glp_add_cols(lp, n);
  glp_add_rows(lp, m);
  std::vector<int> index(static_cast<std::size_t>(n) + 1);
  std::vector<double> value(static_cast<std::size_t>(n) + 1);
  for (int j = 1; j <= n; ++j) {
    index[static_cast<std::size_t>(j)] = j;
    set_column(lp, j, problem.low[j - 1], problem.high[j - 1]);
    glp_set_obj_coef(lp, j, problem.cost[j - 1]);
  }
  for (int r = 1; r <= m; ++r) {
    for (int j = 1; j <= n; ++j) value[static_cast<std::size_t>(j)] = problem.rows(r - 1, j - 1);
    glp_set_mat_row(lp, r, n, index.data(), value.data());
    set_row(lp, r, problem.row_low[r - 1], problem.row_high[r - 1]);
  }
  glp_std_basis(lp);
  glp_smcp options;
  glp_init_smcp(&options);
  options.msg_lev = GLP_MSG_OFF;
  GlpkAnswer answer;
  if (glp_simplex(lp, &options) == 0) answer = {glp_get_status(lp) == GLP_OPT, glp_get_obj_val(lp)};
  glp_delete_prob(lp);
  return answer;
}

/// @pre low is 0 for every x.
ExactProgramme exact_of(const LinearProgram& problem) {
  ExactProgramme exact;
  const auto n = static_cast<std::size_t>(problem.cost.size());
  for (std::size_t j = 0; j < n; ++j) {
    const auto column = static_cast<Eigen::Index>(j);
    exact.cost.emplace_back(problem.cost[column]);
    std::vector<mpq_class> unit(n);
    unit[j] = 1;
    exact.at_most(unit, problem.high[column]);
  }
  for (Eigen::Index r = 0; r < problem.rows.rows(); ++r) {
    std::vector<mpq_class> row;
    for (Eigen::Index j = 0; j < problem.rows.cols(); ++j) row.emplace_back(problem.rows(r, j));
    if (problem.row_low[r] != -infinity) exact.at_least(row, problem.row_low[r]);
    if (problem.row_high[r] != infinity) exact.at_most(row, problem.row_high[r]);
  }
  return exact;
}

double worst_break(const LinearProgram& problem, const Eigen::VectorXd& x) {
  const Eigen::VectorXd rows = problem.rows * x;
  return std::max({(problem.row_low - rows).maxCoeff(), (rows - problem.row_high).maxCoeff(),
                   (problem.low - x).maxCoeff(), (x - problem.high).maxCoeff()});
}

/// Multipliers prove impossibility when no x within its limits can bring their combination of the
/// rows into what the rows' limits allow of it.
bool proves(const LinearProgram& problem, const Eigen::VectorXd& multipliers) {
  const Eigen::VectorXd weights = problem.rows.transpose() * multipliers;
  double most = 0.0, asked = 0.0;
  for (Eigen::Index j = 0; j < weights.size(); ++j)
    most += weights[j] * (weights[j] > 0.0 ? problem.high[j] : problem.low[j]);
  for (Eigen::Index r = 0; r < multipliers.size(); ++r) {
    if (multipliers[r] == 0.0) continue;
    asked += multipliers[r] * (multipliers[r] > 0.0 ? problem.row_low[r] : problem.row_high[r]);
  }
  return asked > most;
}

bool same_cost(double one, double other) {
  return std::abs(one - other) <= 1e-9 * std::max(1.0, std::abs(other));
}

TEST(LinearProgram, AgreesWithGlpkOrExactArithmeticIsOnOurSide) {
  support::Random random(20261);
  int found = 0, differ = 0;
  const int problems = support::trials(20'000, 200'000);
  for (int i = 0; i < problems; ++i) {
    SCOPED_TRACE("problem " + std::to_string(i));
    const LinearProgram problem = any_programme(random);
    const LinearAnswer ours = solve(problem);
    const GlpkAnswer theirs = by_glpk(problem);
    const bool is_found = ours.status == Status::found;
    if (is_found) {
      ++found;
      ASSERT_LE(worst_break(problem, ours.x), 1e-9 * 50.0);  // rows reach about 50 here
    } else {
      ASSERT_TRUE(proves(problem, ours.proof));
    }
    if (is_found == theirs.found && (!is_found || same_cost(ours.cost, theirs.cost))) continue;
    ++differ;
    const ExactProgramme exact = exact_of(problem);
    const auto cost = ExactSimplex(exact).minimum(exact.cost);
    ASSERT_EQ(cost.has_value(), is_found);
    if (cost) {
      ASSERT_TRUE(same_cost(ours.cost, cost->get_d())) << ours.cost << " " << cost->get_d();
    }
  }
  std::printf("%d programmes, %d found, GLPK differs in %d\n", problems, found, differ);
  EXPECT_GT(found, problems / 20);
  EXPECT_GT(problems - found, problems / 20);
}

TEST(LinearProgram, ASampleIsRightByExactArithmetic) {
  support::Random random(20262);
  for (int i = 0; i < support::trials(1'000, 10'000); ++i) {
    SCOPED_TRACE("problem " + std::to_string(i));
    const LinearProgram problem = any_programme(random);
    const LinearAnswer ours = solve(problem);
    const ExactProgramme exact = exact_of(problem);
    const auto cost = ExactSimplex(exact).minimum(exact.cost);
    ASSERT_EQ(cost.has_value(), ours.status == Status::found);
    if (cost) {
      ASSERT_TRUE(same_cost(ours.cost, cost->get_d()));
    }
  }
}

TEST(LinearProgram, WithoutRowsEachGoesToItsCheaperLimit) {
  LinearProgram problem;
  problem.cost = Eigen::Vector2d(1.0, -1.0);
  problem.low = Eigen::Vector2d(0.5, 0.0);
  problem.high = Eigen::Vector2d(2.0, 3.0);
  problem.rows.resize(0, 2);
  const LinearAnswer answer = solve(problem);
  ASSERT_EQ(answer.status, Status::found);
  EXPECT_EQ(answer.x, Eigen::Vector2d(0.5, 3.0));
}

TEST(LinearProgram, SaysWhenTheCostFallsWithoutEnd) {
  LinearProgram problem;
  problem.cost = Eigen::Vector2d(-1.0, 0.0);
  problem.low.setZero(2);
  problem.high.setConstant(2, infinity);
  problem.rows = Eigen::RowVector2d(1.0, -1.0);
  problem.row_low = Eigen::VectorXd::Constant(1, -infinity);
  problem.row_high = Eigen::VectorXd::Constant(1, 1.0);
  EXPECT_EQ(solve(problem).status, Status::unbounded);
}

// The composition solver and the programme are two ways to one answer.
TEST(LinearProgram, AgreesWithTheCompositionSolver) {
  support::Random random(20263);
  for (int i = 0; i < 10'000; ++i) {
    SCOPED_TRACE("problem " + std::to_string(i));
    const int n = 1 + random.below(8);
    const Instance one = ordinary(random, n);
    LinearProgram problem;
    problem.cost = Eigen::Map<const Eigen::VectorXd>(one.cost.data(), n);
    problem.high = Eigen::Map<const Eigen::VectorXd>(one.cap.data(), n);
    problem.low.setZero(n);
    problem.rows.setZero(2 * n + 2, n);
    problem.row_low.setConstant(2 * n + 2, -infinity);
    problem.row_high.setConstant(2 * n + 2, infinity);
    for (int j = 0; j < n; ++j) {
      const auto k = static_cast<std::size_t>(j);
      problem.rows.row(2 * j).setConstant(-one.low[k]);
      problem.rows(2 * j, j) += 1.0;
      problem.row_low[2 * j] = one.low[k] * one.total - one.have[k];
      if (one.high[k] == infinity) continue;
      problem.rows.row(2 * j + 1).setConstant(-one.high[k]);
      problem.rows(2 * j + 1, j) += 1.0;
      problem.row_high[2 * j + 1] = one.high[k] * one.total - one.have[k];
    }
    problem.rows.row(2 * n).setOnes();
    problem.row_low[2 * n] = one.total_low - one.total;
    problem.row_high[2 * n] = one.total_high - one.total;
    problem.rows.row(2 * n + 1) = Eigen::Map<const Eigen::RowVectorXd>(one.volume.data(), n);
    problem.row_high[2 * n + 1] = one.volume_room;
    const Answer composition = solved(one);
    const LinearAnswer general = solve(problem);
    ASSERT_EQ(general.status == Status::found, composition.found);
    if (composition.found) {
      ASSERT_TRUE(same_cost(general.cost, composition.cost));
    }
  }
}

}  // namespace
}  // namespace vialwright::topup::testing
