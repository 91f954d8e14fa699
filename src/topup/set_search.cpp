#include "topup/set_search.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "topup/search_bounds.hpp"
#include "topup/search_step.hpp"

namespace vialwright::topup {
namespace {

constexpr double least_odds = 1e-12;
// Steps no longer than this many standard deviations: the shape is local.
constexpr double longest_step = 4.0;
// A climb ends when a step promises less than this: in the logarithm of the odds.
constexpr double enough = 2e-5;

}  // namespace

SetSearch::SetSearch(const SetOdds& odds, DoseSet set, const conformity::Options& points,
                     const std::vector<Aim>& aims)
    : odds_(odds), aims_(aims), set_(std::move(set)), points_(points) {
  set_rows();
  start_ = centre();
  if (!aims_.empty() && start_.size() > 0) start_ = nearest_colour(start_);
  set_scale();
}

void SetSearch::set_rows() {
  const Eigen::Index n = set_.low.size();
  rows_.setZero(2 * n + 2, n);
  limits_.resize(2 * n + 2);
  rows_.topRows(n).setIdentity();
  limits_.head(n) = set_.high;
  rows_.middleRows(n, n) = -Eigen::MatrixXd::Identity(n, n);
  limits_.segment(n, n) = -set_.low;
  rows_.row(2 * n).setOnes();
  limits_[2 * n] = set_.room_g;
  rows_.row(2 * n + 1) = set_.ml_per_g.transpose();
  limits_[2 * n + 1] = set_.room_ml;
}

/// First with the doubts at the least doses, then with those where that led.
Amounts SetSearch::centre() const {
  Amounts grams = set_.low;
  const Eigen::Index n = grams.size();
  if (n == 0) return grams;
  const auto count = static_cast<Eigen::Index>(odds_.sides());
  const Region region{rows_.bottomRows(2), limits_.tail(2), set_.low, set_.high};
  Sides sides{Eigen::MatrixXd(count, n), Eigen::VectorXd(count), Eigen::VectorXd(count)};
  for (int round = 0; round < 2; ++round) {
    for (Eigen::Index i = 0; i < count; ++i) {
      const auto side = static_cast<std::size_t>(i);
      sides.slopes.row(i) = odds_.slopes(side).transpose();
      sides.at_nothing[i] = odds_.at_nothing(side);
      sides.sd[i] = odds_.margin(side, grams).sd;
    }
    const auto middle = centre_of(region, sides);
    if (!middle) return grams;
    grams = middle->grams;
  }
  return grams;
}

/// Where every line holds at the mean, the nearest colour among such amounts; else among all.
Amounts SetSearch::nearest_colour(const Amounts& start) const {
  const Eigen::Index n = start.size();
  const auto count = static_cast<Eigen::Index>(odds_.sides());
  AimRegion region{set_.low, set_.high, rows_.bottomRows(2), limits_.tail(2)};
  bool hold = true;
  for (std::size_t i = 0; i < odds_.sides(); ++i)
    hold = hold && odds_.at_nothing(i) + odds_.slopes(i).dot(start) >= 0.0;
  if (hold && count > 0) {
    region.rows.conservativeResize(2 + count, n);
    region.limits.conservativeResize(2 + count);
    for (Eigen::Index i = 0; i < count; ++i) {
      const auto side = static_cast<std::size_t>(i);
      const double size = std::max(odds_.slopes(side).norm(), 1e-300);
      region.rows.row(2 + i) = -odds_.slopes(side).transpose() / size;
      region.limits[2 + i] = odds_.at_nothing(side) / size;
    }
  }
  return ColourSearch(aims_, std::move(region)).best(start).grams;
}

void SetSearch::set_scale() {
  const Eigen::Index n = set_.low.size();
  scale_ = Amounts::Constant(n, std::numeric_limits<double>::infinity());
  for (std::size_t i = 0; i < odds_.sides(); ++i) {
    const double here = std::max(odds_.margin(i, start_).sd, 1e-12);
    for (Eigen::Index j = 0; j < n; ++j) {
      const double slope = std::abs(odds_.slopes(i)[j]);
      if (slope > 0.0) scale_[j] = std::min(scale_[j], here / slope);
    }
  }
  if (n > 0 && !aims_.empty()) {
    const SetOdds::Marginals here = odds_.marginals(start_);
    for (Eigen::Index j = 0; j < n; ++j)
      if (here.curvature(j, j) > 0.0)
        scale_[j] = std::min(scale_[j], 1.0 / std::sqrt(here.curvature(j, j)));
  }
  for (Eigen::Index j = 0; j < n; ++j)
    scale_[j] = std::clamp(scale_[j], 1e-9, std::max(1e-9, set_.high[j] - set_.low[j]));
}

/// Newton-like steps within the limits, each taken as far as it helps.
template <class Value, class Shape>
void SetSearch::climb(Amounts& grams, const Value& value, const Shape& shape, int steps,
                      double promise) const {
  const Eigen::VectorXd unit = scale_;
  const Eigen::MatrixXd rows = rows_ * unit.asDiagonal();
  for (int step = 0; step < steps; ++step) {
    const Local here = shape(grams);
    const Eigen::VectorXd gradient = unit.asDiagonal() * Eigen::VectorXd(here.gradient);
    Eigen::MatrixXd curvature = unit.asDiagonal() * here.curvature * unit.asDiagonal();
    curvature.diagonal().array() += 1e-3;  // directions in which nothing bends are left gently
    Eigen::VectorXd along = quadratic_step(gradient, curvature, rows, limits_ - rows_ * grams);
    if (gradient.dot(along) < promise) return;
    along *= std::min(1.0, longest_step / along.norm());
    double share = 1.0, reached = here.value;
    for (int tries = 0; tries < 10; ++tries, share *= 0.4) {
      const Amounts next = grams + share * (unit.asDiagonal() * along);
      reached = value(next);
      if (reached <= here.value) continue;
      grams = next;
      break;
    }
    if (reached - here.value < promise) return;
  }
}

Found SetSearch::at(const Amounts& grams) const { return {grams, odds_of(grams), cost_of(grams)}; }

/// Central differences a fraction of a standard deviation wide: the fixed points are smooth enough.
template <class Odds>
Amounts SetSearch::log_odds_gradient(const Amounts& grams, const Odds& odds_of) const {
  Amounts gradient(grams.size());
  for (Eigen::Index j = 0; j < grams.size(); ++j) {
    const double step = std::min(0.2 * scale_[j], 0.5 * grams[j]);
    Amounts up = grams, down = grams;
    up[j] += step;
    down[j] -= step;
    gradient[j] = (std::log(std::max(least_odds, odds_of(up))) -
                   std::log(std::max(least_odds, odds_of(down)))) /
                  (2.0 * step);
  }
  return gradient;
}

/// The logarithm of the odds, or with `success` > 0 the odds less the cost in successes. The
/// curvature is that of the lines one by one: what the correlations change is left to the steps.
SetSearch::Local SetSearch::joint(const Amounts& grams, double success) const {
  const SetOdds::Marginals marginals = odds_.marginals(grams);
  const double odds = std::max(least_odds, odds_of(grams));
  const auto quick = [this](const Amounts& x) { return odds_of(x); };
  Local local{std::log(odds), log_odds_gradient(grams, quick), marginals.curvature};
  if (success <= 0.0) return local;
  local.value = odds - cost_of(grams) / success;
  local.gradient = odds * local.gradient - set_.price / success;
  local.curvature *= odds;
  return local;
}

Found SetSearch::surest(double success) const {
  Amounts grams = start_;
  if (grams.size() == 0) return at(grams);
  climb(
      grams, [&](const Amounts& x) { return odds_.marginals(x).value; },
      [&](const Amounts& x) {
        const SetOdds::Marginals here = odds_.marginals(x);
        return Local{here.value, here.gradient, here.curvature};
      },
      30, enough);
  const auto worth = [&](const Amounts& x) {
    const double odds = std::max(least_odds, odds_of(x));
    return success > 0.0 ? odds - cost_of(x) / success : std::log(odds);
  };
  climb(
      grams, worth, [&](const Amounts& x) { return joint(x, success); }, 5, 5e-4);
  return at(grams);
}

Amounts SetSearch::polished(const Amounts& from, const conformity::Options& points) const {
  Amounts grams = from;
  if (grams.size() == 0) return grams;
  const auto true_odds = [&](const Amounts& x) { return odds_.odds(x, points).value; };
  const auto value = [&](const Amounts& x) { return std::log(std::max(least_odds, true_odds(x))); };
  climb(
      grams, value,
      [&](const Amounts& x) {
        return Local{value(x), log_odds_gradient(x, true_odds), odds_.marginals(x).curvature};
      },
      4, 5e-4);
  return grams;
}

/// From a point without enough odds towards one that has them: the first that has.
Found SetSearch::edge_between(const Amounts& without, const Found& with, double wanted) const {
  Found edge = with;
  double inside = 1.0, outside = 0.0;  // shares of the way
  for (int half = 0; half < 9; ++half) {
    const double middle = 0.5 * (inside + outside);
    const Found there = at(without + middle * (with.grams - without));
    (there.odds >= wanted ? inside : outside) = middle;
    if (there.odds >= wanted) edge = there;
  }
  return edge;
}

/// Supporting hyperplanes: the region where the odds are enough is (nearly) convex, as the odds of
/// a Gaussian vector to lie in a polytope are log-concave in its mean (Prékopa, Acta Sci. Math. 34
/// (1973) 335). Each round cuts off what the tangent at the region's edge rules out; the small
/// programme then gives a lower limit of the cost.
Found SetSearch::cheapest(const Found& start, double wanted) const {
  const Eigen::Index n = start.grams.size();
  Found best = start;
  if (n == 0) return best;
  constexpr int most_cuts = 24;
  LinearProgram programme;
  programme.rows = rows_.bottomRows(2);
  programme.row_low.setConstant(2, -recipe::no_limit);
  programme.row_high = limits_.tail(2);
  programme.cost = set_.price;
  programme.low = set_.low;
  programme.high = set_.high;
  const auto cut_off = [&](const Eigen::RowVectorXd& row, double least) {
    const Eigen::Index rows = programme.rows.rows();
    programme.rows.conservativeResize(rows + 1, Eigen::NoChange);
    programme.row_low.conservativeResize(rows + 1);
    programme.row_high.conservativeResize(rows + 1);
    programme.rows.row(rows) = row;
    programme.row_low[rows] = least;
    programme.row_high[rows] = recipe::no_limit;
  };
  for (std::size_t i = 0; i < odds_.sides(); ++i) {
    const Amounts& slopes = odds_.slopes(i);
    const double size = std::max(slopes.cwiseProduct(scale_).norm(), 1e-300);
    cut_off(slopes.transpose() / size, -odds_.at_nothing(i) / size);
  }
  for (int cut = 0; cut < most_cuts; ++cut) {
    const LinearAnswer relaxed = solve(programme);
    if (relaxed.status != LinearAnswer::Status::found) return best;
    const double at_least = relaxed.cost + set_.visits_cost;
    if (best.cost - at_least <= 0.003 * std::max(std::abs(best.cost), 1e-9)) return best;
    const Amounts cheap = relaxed.x;
    if (odds_of(cheap) >= wanted) return at(cheap);
    const Found edge = edge_between(cheap, start, wanted);
    if (edge.cost < best.cost) best = edge;
    const auto quick = [this](const Amounts& x) { return odds_of(x); };
    const Amounts gradient = log_odds_gradient(edge.grams, quick).cwiseProduct(scale_);
    const double length = gradient.norm();
    if (length <= 0.0) return best;
    const Eigen::RowVectorXd row = (gradient / length).cwiseQuotient(scale_).transpose();
    cut_off(row, row.dot(edge.grams.transpose()));
  }
  return best;
}

}  // namespace vialwright::topup
