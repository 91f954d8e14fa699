#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <numbers>

#include "error/error.hpp"
#include "outcomes/outcomes.hpp"

namespace vialwright::outcomes {
namespace {

// Predicted odds of 0 or 1 have no normal quantile; no odds are surer than one in a hundred
// thousand.
constexpr double surest = 1e-5;

double density(double x) { return std::exp(-0.5 * x * x) / std::sqrt(2.0 * std::numbers::pi); }
double share_below(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }
double normal_score(double odds) {
  return boost::math::quantile(boost::math::normal(), std::clamp(odds, surest, 1.0 - surest));
}

/// A weight's name and the standard deviation of its prior about 0.
struct Weight {
  const char* name;
  double prior;
};

// A spread of doses 50 % worse than stated is a slope of 1 / 1.5 - 1 = -0.33. A prior of 0.3 holds
// the true spread between 0.6 and 2.4 times the stated one (95 %), about what a line file may be
// wrong by; with 0.4 one failure at 99 in 100 would cost 20 points. A level of 0.3 moves even odds
// to 28 or 72 in 100 at most (95 %). The covariates, scaled to about one, explain what is left:
// half of that.
constexpr Weight weights[] = {
    {"level", 0.3}, {"slope", 0.3}, {"margin", 0.15}, {"least dose", 0.15}, {"age", 0.15}};
constexpr double stock_prior = 0.15;
constexpr int plain_weights = 2, common_weights = 5;

double prior_u(int i) { return i < common_weights ? weights[i].prior : stock_prior; }

/// A top-up as the regression sees it.
struct Seen {
  double score;         ///< normal quantile of the predicted odds
  Eigen::VectorXd row;  ///< what multiplies the weights
};

/// Margins are measured from two standard deviations, the ratio of a dose to its least by its
/// logarithm from twice the least, age by its logarithm from a fresh vial.
Seen seen(const Outcome& outcome, int size) {
  Seen made{normal_score(outcome.odds), Eigen::VectorXd::Zero(size)};
  Eigen::VectorXd& row = made.row;
  row[0] = 1.0;
  row[1] = made.score;
  if (size <= plain_weights) return made;
  row[2] = std::clamp(outcome.margin_sd - 2.0, -3.0, 3.0) / 1.5;
  const double ratio = outcome.least_dose_ratio;
  row[3] = ratio > 0.0 ? std::clamp(1.0 - std::log2(ratio), -2.0, 1.0) : 0.0;
  row[4] = std::clamp(std::log1p(std::max(0.0, outcome.age_days)), 0.0, 3.0) / 2.0;
  const int own = common_weights + outcome.stock;
  if (outcome.stock >= 0 && own < size) row[own] = 1.0;
  return made;
}

Recalibration prior_of(int stocks, bool covariates) {
  Recalibration made;
  for (int i = 0; i < (covariates ? common_weights : plain_weights); ++i)
    made.names.emplace_back(weights[i].name);
  for (int s = 0; covariates && s < stocks; ++s) made.names.push_back("stock " + std::to_string(s));
  const std::size_t n = made.names.size();
  made.weight.assign(n, 0.0);
  made.covariance.assign(n * n, 0.0);
  for (std::size_t i = 0; i < n; ++i) {
    made.u.push_back(prior_u(static_cast<int>(i)));
    made.covariance[i * n + i] = made.u[i] * made.u[i];
  }
  return made;
}

Eigen::VectorXd prior_precision(Eigen::Index size) {
  Eigen::VectorXd made(size);
  for (Eigen::Index i = 0; i < size; ++i) made[i] = std::pow(prior_u(static_cast<int>(i)), -2.0);
  return made;
}

/// Slope and expected curvature of the log posterior at one setting of the weights.
struct Posterior {
  explicit Posterior(const Eigen::VectorXd& weight)
      : slope(-prior_precision(weight.size()).cwiseProduct(weight)),
        curvature(prior_precision(weight.size()).asDiagonal()) {}

  void add(const Seen& one, double good, double kept, const Eigen::VectorXd& weight) {
    // Beyond eight standard deviations the tails leave the range of a double's relative precision.
    const double x = std::clamp(one.score + one.row.dot(weight), -8.0, 8.0);
    const double p = share_below(x), q = share_below(-x), f = density(x);
    slope += kept * f * (good - p) / (p * q) * one.row;
    curvature += kept * f * f / (p * q) * one.row * one.row.transpose();
  }
  Eigen::VectorXd slope;
  Eigen::MatrixXd curvature;
};

}  // namespace

Recalibration learn(std::span<const Outcome> outcomes, int stocks, const Options& options) {
  require(stocks >= 0 && options.half_life_days > 0.0,
          "stocks are counted, a half-life is above 0");
  Recalibration learned = prior_of(stocks, options.covariates);
  learned.n = static_cast<int>(outcomes.size());
  if (outcomes.empty()) return learned;
  const auto size = static_cast<int>(learned.names.size());
  std::vector<Seen> all;
  for (const Outcome& each : outcomes) all.push_back(seen(each, size));
  Eigen::VectorXd weight = Eigen::VectorXd::Zero(size);
  Eigen::MatrixXd covariance;
  for (int step = 0; step < 100; ++step) {  // scoring on a concave function; some eight are needed
    Posterior at(weight);
    for (std::size_t i = 0; i < all.size(); ++i) {
      const double age = std::max(0.0, outcomes[i].days_ago);
      at.add(all[i], outcomes[i].good, std::exp2(-age / options.half_life_days), weight);
    }
    covariance = at.curvature.llt().solve(Eigen::MatrixXd::Identity(size, size));
    const Eigen::VectorXd move = covariance * at.slope;
    weight += move / std::max(1.0, move.norm());
    if (move.norm() < 1e-10) break;
  }
  Eigen::VectorXd::Map(learned.weight.data(), size) = weight;
  Eigen::VectorXd::Map(learned.u.data(), size) = covariance.diagonal().cwiseSqrt();
  Eigen::MatrixXd::Map(learned.covariance.data(), size, size) = covariance;
  return learned;
}

Corrected correct(const Outcome& now, const Recalibration& learned) {
  const double predicted = std::clamp(now.odds, 0.0, 1.0);
  if (learned.names.empty()) return {predicted, predicted, predicted, learned.n};
  const auto size = static_cast<int>(learned.names.size());
  require(learned.weight.size() == learned.names.size() &&
              learned.covariance.size() == learned.names.size() * learned.names.size(),
          "one weight a name, a square covariance");
  const Seen one = seen(now, size);
  const auto weight = Eigen::VectorXd::Map(learned.weight.data(), size);
  const auto covariance = Eigen::MatrixXd::Map(learned.covariance.data(), size, size);
  const double at = one.score + one.row.dot(weight);
  const Eigen::VectorXd spread = covariance * one.row;
  const double variance = one.row.dot(spread);
  // The doubt that outcomes brought: with few of them the weights hardly moved, and the prior's own
  // width must not pull sure odds in before anything has been seen to fail.
  const double brought = variance - spread.dot(prior_precision(size).cwiseProduct(spread));
  const double odds = share_below(at / std::sqrt(1.0 + std::max(0.0, brought)));
  const double u95 = 1.959963984540054 * std::sqrt(variance);
  return {learned.n == 0 ? predicted : odds, share_below(at - u95), share_below(at + u95),
          learned.n};
}

}  // namespace vialwright::outcomes
