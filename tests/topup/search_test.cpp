// The parts of the search, each against what it stands for: the odds model against odds_of, the
// bounds against amounts drawn at random, the step against other steps within its limits.
#include "topup/search.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>

#include "topup/pairs.hpp"
#include "topup/search_step.hpp"
#include "topup/selection.hpp"

namespace vialwright::topup::testing {
namespace {

/// A pair with what a search starts from.
struct Searched {
  Pair pair;
  Vial vial;
  std::vector<Candidate> candidates;
  Doses doses;
  OddsModel model;

  explicit Searched(Pair made)
      : pair(std::move(made)),
        vial(vial_of(pair.belief, pair.means.fill_now_ml, &pair.plant.containers.front())),
        candidates(
            select(pair.belief, vial, pair.recipe, pair.means, pair.plant, pair.book).usable),
        doses(doses_of(pair.belief, vial, candidates, pair.plant, pair.book)),
        model(pair.belief, pair.recipe, candidates, pair.plant, pair.book) {}
};

Searched any_searched(support::Random& random) {
  const int stocks = 2 + random.below(3);
  return Searched(any_pair(random, stocks, stocks + random.below(3)));
}

/// Some set with no stock twice, and amounts anywhere in the ranges.
struct AnyDoses {
  std::vector<int> members;
  Amounts grams;
};
AnyDoses any_doses(const Searched& searched, support::Random& random) {
  AnyDoses made;
  std::vector<double> grams;
  for (int j = 0; j < static_cast<int>(searched.candidates.size()); ++j) {
    const auto stock = searched.candidates[pairs::at(j)].addition.stock;
    bool taken = searched.doses.high[j] <= 0.0 || random.below(3) == 0;
    for (const int other : made.members)
      taken = taken || searched.candidates[pairs::at(other)].addition.stock == stock;
    if (taken) continue;
    made.members.push_back(j);
    grams.push_back(searched.doses.low[j] + std::pow(random.uniform(), 4.0) *
                                                (searched.doses.high[j] - searched.doses.low[j]));
  }
  made.grams = Eigen::Map<Eigen::VectorXd>(grams.data(), static_cast<Eigen::Index>(grams.size()));
  return made;
}

std::vector<Addition> additions(const Searched& searched, const AnyDoses& doses) {
  std::vector<Addition> made;
  for (std::size_t j = 0; j < doses.members.size(); ++j) {
    Addition one = searched.candidates[pairs::at(doses.members[j])].addition;
    const Dosing dosing = dosing_of(searched.pair.belief, one.station, one.stock,
                                    searched.pair.plant, searched.pair.book);
    one.amount_g = dosing.told_amount(doses.grams[static_cast<Eigen::Index>(j)]);
    made.push_back(one);
  }
  return made;
}

TEST(SetOdds, AreThoseOfOddsOf) {
  support::Random random(20301);
  double largest = 0.0;
  for (int i = 0; i < 300; ++i) {
    SCOPED_TRACE("pair " + std::to_string(i));
    const Searched searched = any_searched(random);
    const AnyDoses doses = any_doses(searched, random);
    const Pair& pair = searched.pair;
    const double whole =
        odds_of(pair.belief, pair.recipe, additions(searched, doses), pair.plant, pair.book).value;
    const double quick = SetOdds(searched.model, doses.members).odds(doses.grams, {}).value;
    // The same points and the same covariance but for rounding, which sums over some 1e3 terms.
    EXPECT_NEAR(quick, whole, 1e-9);
    largest = std::max(largest, whole);
  }
  EXPECT_GT(largest, 0.5);  // not all of them hopeless
}

TEST(SetOdds, SlopesOfTheMarginalsAreThoseOfDifferences) {
  support::Random random(20302);
  for (int i = 0; i < 200; ++i) {
    SCOPED_TRACE("pair " + std::to_string(i));
    const Searched searched = any_searched(random);
    const AnyDoses doses = any_doses(searched, random);
    const SetOdds odds(searched.model, doses.members);
    const SetOdds::Marginals here = odds.marginals(doses.grams);
    for (Eigen::Index j = 0; j < doses.grams.size(); ++j) {
      const double step = 1e-6 * doses.grams[j];
      Amounts up = doses.grams, down = doses.grams;
      up[j] += step;
      down[j] -= step;
      const double slope = (odds.marginals(up).value - odds.marginals(down).value) / (2.0 * step);
      // Rounding of the value, over the step, and the third derivative times the step squared.
      const double rounding = 1e-13 * (1.0 + std::abs(here.value)) / step;
      EXPECT_NEAR(here.gradient[j], slope, 1e-4 * std::abs(slope) + rounding + 1e-4);
    }
    if (doses.grams.size() == 0) continue;
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(here.curvature);
    EXPECT_GE(eigen.eigenvalues().minCoeff(), -1e-9 * here.curvature.norm());
  }
}

// The bounds are what lets a set go unopened, so no amounts of the family may beat them.
TEST(Bounds, NoAmountsOfTheFamilyBeatThem) {
  support::Random random(20303);
  int near = 0;
  for (int i = 0; i < 400; ++i) {
    SCOPED_TRACE("pair " + std::to_string(i));
    const Searched searched = any_searched(random);
    const AnyDoses doses = any_doses(searched, random);
    if (doses.grams.sum() > searched.doses.room_g) continue;
    double ml = 0.0, cost = 0.0;
    Family family;
    family.next = random.below(static_cast<int>(searched.candidates.size()) + 1);
    for (std::size_t j = 0; j < doses.members.size(); ++j) {
      const double grams = doses.grams[static_cast<Eigen::Index>(j)];
      ml += searched.doses.ml_per_g[doses.members[j]] * grams;
      cost += searched.doses.visit + searched.doses.price[doses.members[j]] * grams;
      if (doses.members[j] < family.next) family.in.push_back(doses.members[j]);
    }
    if (ml > searched.doses.room_ml) continue;
    const SetOdds odds(searched.model, doses.members);
    const double joint = odds.odds(doses.grams, {}).value;
    // Asked for odds that these amounts have, by a margin that each of their lines has.
    double least_margin = 6.0;
    for (std::size_t side = 0; side < odds.sides(); ++side) {
      const SetOdds::Margin margin = odds.margin(side, doses.grams);
      least_margin = std::min(least_margin, margin.mean / std::max(margin.sd, 1e-12));
    }
    const Bounds bounds = bounds_of(family, searched.model, searched.doses, least_margin - 1e-6);
    EXPECT_TRUE(bounds.fits);
    EXPECT_GE(bounds.odds_at_most, joint - 2e-3);  // the error of the odds
    EXPECT_LE(bounds.cost_at_least, cost + 1e-9);
    if (joint > 0.5) ++near;
    if (least_margin >= 0.0) {
      EXPECT_TRUE(bounds.on_paper);
    }
  }
  EXPECT_GT(near, 10);
}

TEST(Bounds, LeastDoubtIsNoMoreThanThatOfAnyAmounts) {
  support::Random random(20304);
  for (int i = 0; i < 300; ++i) {
    const Searched searched = any_searched(random);
    const AnyDoses doses = any_doses(searched, random);
    const SetOdds odds(searched.model, doses.members);
    const Eigen::Index n = searched.model.candidates();
    Eigen::VectorXd low = Eigen::VectorXd::Zero(n), high = low;
    for (std::size_t j = 0; j < doses.members.size(); ++j) {
      const double grams = doses.grams[static_cast<Eigen::Index>(j)];
      low[doses.members[j]] = random.below(2) == 0 ? 0.0 : grams * random.uniform(0.5, 1.0);
      high[doses.members[j]] = grams * random.uniform(1.0, 2.0);
    }
    for (std::size_t side = 0; side < odds.sides(); ++side) {
      const double sd = odds.margin(side, doses.grams).sd;
      EXPECT_LE(searched.model.least_sd(side, low, high), sd * (1.0 + 1e-9));
    }
  }
}

// Within its limits, and no other step within them promises more.
TEST(QuadraticStep, IsTheBestWithinItsLimits) {
  support::Random random(20305);
  for (int i = 0; i < 2000; ++i) {
    SCOPED_TRACE("problem " + std::to_string(i));
    const Eigen::Index n = 1 + random.below(5), m = random.below(8);
    const auto any = [&] { return random.normal(); };
    const Eigen::MatrixXd root = Eigen::MatrixXd::NullaryExpr(n, n, any);
    const Eigen::MatrixXd curvature =
        root * root.transpose() + 0.1 * Eigen::MatrixXd::Identity(n, n);
    const Eigen::VectorXd gradient = 3.0 * Eigen::VectorXd::NullaryExpr(n, any);
    Eigen::MatrixXd rows(m + 2 * n, n);
    rows << Eigen::MatrixXd::NullaryExpr(m, n, any), Eigen::MatrixXd::Identity(n, n),
        -Eigen::MatrixXd::Identity(n, n);
    Eigen::VectorXd room(m + 2 * n);
    for (double& each : room) each = random.below(3) == 0 ? 0.0 : random.uniform(0.0, 2.0);
    const Eigen::VectorXd step = quadratic_step(gradient, curvature, rows, room);
    const auto value = [&](const Eigen::VectorXd& d) {
      return gradient.dot(d) - 0.5 * d.dot(curvature * d);
    };
    EXPECT_LE((rows * step - room).maxCoeff(), 1e-9);
    // Concave: if a small move towards some other point within the limits helped, that would show.
    for (int k = 0; k < 50; ++k) {
      Eigen::VectorXd other = 2.0 * Eigen::VectorXd::NullaryExpr(n, any);
      for (Eigen::Index r = 0; r < rows.rows(); ++r) {
        const double used = rows.row(r).dot(other);
        if (used > room[r]) other *= std::max(0.0, room[r] / used);
      }
      EXPECT_LE(value(step + 0.01 * (other - step)), value(step) + 1e-9);
    }
  }
}

}  // namespace
}  // namespace vialwright::topup::testing
