#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "error/error.hpp"
#include "outcomes/outcomes.hpp"

namespace vialwright::outcomes {
namespace {

// Predicted odds of 0 or 1 have no logarithm; no odds are surer than one in a hundred thousand.
constexpr double surest = 1e-5;

double logit(double odds) {
  const double p = std::clamp(odds, surest, 1.0 - surest);
  return std::log(p / (1.0 - p));
}
double logistic(double x) { return 1.0 / (1.0 + std::exp(-x)); }

/// A weight's name and the standard deviation of its prior about 0.
struct Weight {
  const char* name;
  double prior;
};

// Level 0.5 and slope 0.5 let odds of 90 in 100 stand for 65 to 98 (95 %), so that some twenty
// outcomes outweigh them; the covariates, scaled to about one, may do less.
constexpr Weight weights[] = {
    {"level", 0.5}, {"slope", 0.5}, {"margin", 0.25}, {"least dose", 0.25}, {"age", 0.25}};
constexpr double stock_prior = 0.3;
constexpr int plain_weights = 2, common_weights = 5;

/// What multiplies the weights. The slope is measured from even odds, margins from two standard
/// deviations, the ratio of a dose to its least by its logarithm.
Eigen::VectorXd row_of(const Outcome& outcome, int size) {
  Eigen::VectorXd row = Eigen::VectorXd::Zero(size);
  row[0] = 1.0;
  row[1] = logit(outcome.odds) / 3.0;
  if (size <= plain_weights) return row;
  row[2] = std::clamp(outcome.margin_sd - 2.0, -3.0, 3.0) / 1.5;
  const double ratio = outcome.least_dose_ratio;
  row[3] = ratio > 0.0 ? std::clamp(1.0 - std::log2(ratio), -2.0, 1.0) : 0.0;
  row[4] = std::clamp(std::log1p(std::max(0.0, outcome.age_days)), 0.0, 3.0) / 2.0;
  const int own = common_weights + outcome.stock;
  if (outcome.stock >= 0 && own < size) row[own] = 1.0;
  return row;
}

Recalibration prior_of(int stocks, bool covariates) {
  Recalibration made;
  const auto add = [&](std::string name, double u) {
    made.names.push_back(std::move(name));
    made.weight.push_back(0.0);
    made.u.push_back(u);
  };
  for (int i = 0; i < (covariates ? common_weights : plain_weights); ++i)
    add(weights[i].name, weights[i].prior);
  for (int s = 0; covariates && s < stocks; ++s) add("stock " + std::to_string(s), stock_prior);
  const std::size_t n = made.names.size();
  made.covariance.assign(n * n, 0.0);
  for (std::size_t i = 0; i < n; ++i) made.covariance[i * n + i] = made.u[i] * made.u[i];
  return made;
}

}  // namespace

Recalibration learn(std::span<const Outcome> outcomes, int stocks, const Options& options) {
  Recalibration learned = prior_of(stocks, options.covariates);
  learned.n = static_cast<int>(outcomes.size());
  if (outcomes.empty()) return learned;
  const auto size = static_cast<int>(learned.names.size());
  Eigen::VectorXd precision(size), weight = Eigen::VectorXd::Zero(size);
  for (int i = 0; i < size; ++i) {
    const double u = learned.u[static_cast<std::size_t>(i)];
    precision[i] = 1.0 / (u * u);
  }
  Eigen::MatrixXd curvature;
  for (int step = 0; step < 50; ++step) {  // Newton on a concave function; some six are needed
    Eigen::VectorXd slope = -precision.cwiseProduct(weight);
    curvature = precision.asDiagonal();
    for (const Outcome& each : outcomes) {
      const double kept = std::exp2(-std::max(0.0, each.days_ago) / options.half_life_days);
      const Eigen::VectorXd row = row_of(each, size);
      const double p = logistic(logit(each.odds) + row.dot(weight));
      slope += kept * (each.good - p) * row;
      curvature += kept * p * (1.0 - p) * row * row.transpose();
    }
    const Eigen::VectorXd move = curvature.llt().solve(slope);
    weight += move / std::max(1.0, move.norm());
    if (move.norm() < 1e-10) break;
  }
  const Eigen::MatrixXd covariance = curvature.llt().solve(Eigen::MatrixXd::Identity(size, size));
  for (int i = 0; i < size; ++i) {
    const auto at = static_cast<std::size_t>(i);
    learned.weight[at] = weight[i];
    learned.u[at] = std::sqrt(covariance(i, i));
    for (int j = 0; j < size; ++j)
      learned.covariance[at * static_cast<std::size_t>(size) + static_cast<std::size_t>(j)] =
          covariance(i, j);
  }
  return learned;
}

Corrected correct(const Outcome& now, const Recalibration& learned) {
  const double uncorrected = std::clamp(now.odds, 0.0, 1.0);
  if (learned.n == 0) return {uncorrected, uncorrected, uncorrected, 0};
  const auto size = static_cast<int>(learned.names.size());
  require(learned.weight.size() == learned.names.size() &&
              learned.covariance.size() == learned.names.size() * learned.names.size(),
          "one weight a name, a square covariance");
  const Eigen::VectorXd row = row_of(now, size);
  const Eigen::Map<const Eigen::VectorXd> weight(learned.weight.data(), size);
  const Eigen::Map<const Eigen::MatrixXd> covariance(learned.covariance.data(), size, size);
  const double at = logit(now.odds) + row.dot(weight);
  const double u = std::sqrt(std::max(0.0, row.dot(covariance * row)));
  // Mean of the logistic of a Gaussian, by Gauss-Hermite with five points.
  // Nodes and weights: Abramowitz & Stegun, table 25.10.
  constexpr double node[] = {0.0, 0.958572464613819, 2.020182870456086};
  constexpr double share[] = {0.945308720482942, 0.393619323152241, 0.019953242059046};
  double mean = share[0] * logistic(at);
  for (int i = 1; i < 3; ++i) {
    const double away = std::sqrt(2.0) * u * node[i];
    mean += share[i] * (logistic(at + away) + logistic(at - away));
  }
  constexpr double sqrt_pi = 1.772453850905516;
  return {mean / sqrt_pi, logistic(at - 1.96 * u), logistic(at + 1.96 * u), learned.n};
}

}  // namespace vialwright::outcomes
