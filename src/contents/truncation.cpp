#include "contents/truncation.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "contents/contents.hpp"

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

double density(double t) { return std::exp(-0.5 * t * t) / std::sqrt(2.0 * std::numbers::pi); }
double below(double t) { return 0.5 * std::erfc(-t / std::numbers::sqrt2); }

/// How far beyond u the mean of the standard Gaussian's part above u lies, u > 0:
/// 1/(u + 2/(u + 3/(u + ...))).
double overshoot(double u) {
  double tail = u;
  for (int k = 60; k >= 2; --k) tail = u + k / tail;
  return 1.0 / tail;
}

/// Standard form: the Gaussian with mean t and variance 1, given that it is >= 0.
Moments standard(double t) {
  // Where the tail is so far that 1 - t r - r^2 would cancel to nothing, use the fraction.
  if (t < -4.0) {
    const double mean = overshoot(-t);
    return {mean, 1.0 - (mean - t) * mean};
  }
  const double ratio = density(t) / below(t);
  return {t + ratio, 1.0 - t * ratio - ratio * ratio};
}

/// What one bound contributes to the joint Gaussian: precision and precision times mean.
struct Site {
  Index at = 0;
  double precision = 0.0, shift = 0.0;
};

/// Changes one coordinate's moments from what they are to `to`, and everything else with it.
void impose(VectorXd& mean, MatrixXd& covariance, Index at, const Moments& to) {
  const double variance = covariance(at, at);
  const VectorXd along = covariance.col(at) / variance;
  mean += along * (to.mean - mean[at]);
  covariance.noalias() += (to.variance - variance) * along * along.transpose();
}

/// @returns how far the mean moved, in standard deviations.
double visit(Site& site, VectorXd& mean, MatrixXd& covariance) {
  const double variance = covariance(site.at, site.at);
  const double without = 1.0 / variance - site.precision;
  if (!(without > 0.0)) return 0.0;
  const Moments cavity{(mean[site.at] / variance - site.shift) / without, 1.0 / without};
  const Moments cut = moments_above_zero(cavity.mean, cavity.variance);
  const double move = std::abs(cut.mean - mean[site.at]) / std::sqrt(variance);
  site.precision = 1.0 / cut.variance - without;
  site.shift = cut.mean / cut.variance - cavity.mean * without;
  impose(mean, covariance, site.at, cut);
  return move;
}

}  // namespace

Moments moments_above_zero(double mean, double variance) {
  const double u = std::sqrt(variance);
  const Moments unit = standard(mean / u);
  return {u * unit.mean, variance * unit.variance};
}

void cut_off_at_zero(VectorXd& mean, MatrixXd& covariance, const std::vector<char>& bounded) {
  std::vector<Site> sites;
  for (Index i = 0; i < mean.size(); ++i) {
    if (bounded[static_cast<std::size_t>(i)] == 0 || !(covariance(i, i) > 0.0)) continue;
    // Beyond 6 standard deviations the cut takes away 1e-9.
    if (mean[i] < 6.0 * std::sqrt(covariance(i, i))) sites.push_back({i, 0.0, 0.0});
  }
  for (int sweep = 0; sweep < 50 && !sites.empty(); ++sweep) {
    double most = 0.0;
    for (Site& site : sites) most = std::max(most, visit(site, mean, covariance));
    if (sites.size() == 1 || most < 1e-12) break;
  }
}

namespace {

constexpr double two_sided_95 = 1.959963984540054;  // Phi(1.95996...) = 0.975

/// The t of the standard cut-off Gaussian whose mean is `ratio` times its standard deviation.
double parent_of(double ratio) {
  double low = -400.0, high = 8.0;  // at -400 the ratio is 1 + 1e-5, as good as its limit
  for (int step = 0; step < 80; ++step) {
    const double middle = 0.5 * (low + high);
    const Moments unit = standard(middle);
    (unit.mean < ratio * std::sqrt(unit.variance) ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

/// Upper end of the part that holds 95 % from zero up, of the Gaussian N(t, 1) cut off at zero.
double upper_95(double t) {
  double low = 0.0, high = std::max(0.0, t) + 8.0;
  for (int step = 0; step < 80; ++step) {
    const double middle = 0.5 * (low + high);
    // Both are tails above; the fraction keeps its digits where the whole is tiny.
    const double above = below(t - middle) / below(t);
    (above > 0.05 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

/// Half width of the symmetric part that holds 95 % of what is left of N(t, 1).
double half_width_95(double t) {
  double low = 1.5, high = two_sided_95;
  for (int step = 0; step < 60; ++step) {
    const double middle = 0.5 * (low + high);
    (2.0 * below(middle) - 1.0 < 0.95 * below(t) ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace

Interval interval_95(double mean, double u) {
  if (!(u > 0.0)) return {std::max(0.0, mean), std::max(0.0, mean)};
  const double ratio = mean / u;
  if (ratio > 7.0) return {mean - two_sided_95 * u, mean + two_sided_95 * u};
  // A mass that is >= 0 has a mean of at least its standard deviation when its density falls like
  // the tail of a Gaussian; the limit is the exponential.
  if (ratio <= 1.0001) return {0.0, std::max(0.0, std::max(mean, u)) * std::log(20.0)};
  const double t = parent_of(ratio);
  if (t < -30.0) return {0.0, mean * std::log(20.0)};
  const double parent_u = u / std::sqrt(standard(t).variance);
  const double half = half_width_95(t);
  if (t > half) return {parent_u * (t - half), parent_u * (t + half)};
  return {0.0, parent_u * upper_95(t)};
}

}  // namespace vialwright::contents
