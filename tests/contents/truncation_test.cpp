#include "contents/truncation.hpp"

#include <gtest/gtest.h>

#include <rapidcheck/gtest.h>
#include <Eigen/Dense>
#include <cmath>
#include <limits>

#include "contents/bounds.hpp"
#include "contents/contents.hpp"
#include "support/random.hpp"

namespace vialwright {
namespace {

using contents::Moments;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Mass, mean and variance of exp(-(x - t)^2/2) over [from, to] by the midpoint rule.
struct Integral {
  double mass = 0.0, mean = 0.0, variance = 0.0;
};
Integral integral(double t, double from, double to) {
  constexpr int count = 200000;
  const double step = (to - from) / count;
  // Far below zero the whole weight is tiny: factor out its value at x = 0.
  const double lift = t < 0.0 ? 0.5 * t * t : 0.0;
  double mass = 0.0, first = 0.0, second = 0.0;
  for (int i = 0; i < count; ++i) {
    const double x = from + (i + 0.5) * step;
    const double weight = std::exp(lift - 0.5 * (x - t) * (x - t)) * step;
    mass += weight;
    first += weight * x;
    second += weight * x * x;
  }
  first /= mass;
  return {mass, first, second / mass - first * first};
}

TEST(MomentsAboveZero, AreThoseOfQuadrature) {
  for (const double t : {-25.0, -8.0, -4.01, -3.99, -1.0, 0.0, 0.5, 2.0, 5.0}) {
    SCOPED_TRACE(t);
    const double u = 0.003;
    // Beyond, the density is below e^-40 of its largest.
    const double top = t < 0.0 ? 40.0 / (1.0 - t) + 6.0 : t + 9.0;
    const Integral exact = integral(t, 0.0, top);
    const Moments found = contents::moments_above_zero(t * u, u * u);
    // The midpoint rule with 2e5 steps is good to some 1e-8 here.
    EXPECT_NEAR(found.mean / u, exact.mean, 1e-6 * exact.mean);
    EXPECT_NEAR(found.variance / (u * u), exact.variance, 1e-5 * exact.variance);
  }
}

TEST(Interval95, Holds95InAHundredOfTheGaussianCutOffAtZero) {
  const double u = 0.004;
  for (const double t : {-20.0, -3.0, -0.5, 0.0, 1.0, 1.9, 2.2, 4.0, 6.0, 9.0}) {
    SCOPED_TRACE(t);
    const double top = t < 0.0 ? 40.0 / (1.0 - t) + 6.0 : t + 9.0;
    const Integral all = integral(t, 0.0, top);
    const Moments moments = contents::moments_above_zero(t * u, u * u);
    const auto found = contents::interval_95(moments.mean, std::sqrt(moments.variance));
    const Integral inside = integral(t, found.lower / u, found.upper / u);
    EXPECT_NEAR(inside.mass / all.mass, 0.95, 1e-5);
    EXPECT_GE(found.lower, 0.0);
    if (t < 1.5) {
      EXPECT_EQ(found.lower, 0.0);  // one-sided
    }
    if (t > 8.0) {
      EXPECT_NEAR(found.upper - found.lower, 2.0 * 1.959964 * u, 1e-7);
    }
  }
}

TEST(Interval95, HasAnAnswerForAnyMeanAndU) {
  for (const double mean : {-1.0, 0.0, 1e-9, 0.5, 20.0})
    for (const double u : {0.0, 1e-9, 0.1, 5.0}) {
      const auto found = contents::interval_95(mean, u);
      EXPECT_TRUE(std::isfinite(found.upper)) << mean << " " << u;
      EXPECT_LE(0.0, found.lower);
      EXPECT_LE(found.lower, found.upper);
    }
}

TEST(CutOffAtZero, OneBoundIsExactAndMovesWhatHangsOnIt) {
  VectorXd mean(2);
  mean << -0.001, 5.0;
  MatrixXd covariance(2, 2);
  covariance << 4e-6, -3e-6, -3e-6, 9e-6;
  const Moments one = contents::moments_above_zero(mean[0], covariance(0, 0));
  VectorXd cut = mean;
  MatrixXd cut_covariance = covariance;
  contents::cut_off_at_zero(cut, cut_covariance, {1, 0});
  EXPECT_NEAR(cut[0], one.mean, 1e-12);
  EXPECT_NEAR(cut_covariance(0, 0), one.variance, 1e-15);
  // The second is 5 + slope (x - mean) + independent rest, by the definition of a joint Gaussian.
  const double slope = covariance(0, 1) / covariance(0, 0);
  EXPECT_NEAR(cut[1], 5.0 + slope * (one.mean - mean[0]), 1e-12);
  EXPECT_NEAR(cut_covariance(1, 1), 9e-6 - slope * slope * (4e-6 - one.variance), 1e-15);
}

TEST(CutOffAtZero, TwoBoundsByQuadratureInThePlane) {
  VectorXd mean(2);
  mean << 0.2, -0.4;
  MatrixXd covariance(2, 2);
  covariance << 1.0, -0.5, -0.5, 1.5;
  const MatrixXd inverse = covariance.inverse();
  double mass = 0.0;
  VectorXd first = VectorXd::Zero(2);
  MatrixXd second = MatrixXd::Zero(2, 2);
  constexpr int side = 1500;
  for (int i = 0; i < side; ++i)
    for (int j = 0; j < side; ++j) {
      VectorXd x(2);
      x << (i + 0.5) * 8.0 / side, (j + 0.5) * 8.0 / side;
      const double weight = std::exp(-0.5 * (x - mean).dot(inverse * (x - mean)));
      mass += weight;
      first += weight * x;
      second += weight * x * x.transpose();
    }
  first /= mass;
  second = second / mass - first * first.transpose();
  contents::cut_off_at_zero(mean, covariance, {1, 1});
  // Expectation propagation is approximate for two bounds: 1 % of a standard deviation and 3 % of
  // the covariance were seen; twice that is allowed.
  EXPECT_LT((mean - first).cwiseAbs().maxCoeff(), 0.02);
  EXPECT_LT((covariance - second).cwiseAbs().maxCoeff(), 0.06 * second.maxCoeff());
}

// ---- the nearest point within bounds ---------------------------------------------------------

struct Drawn {
  VectorXd mean;
  MatrixXd covariance;
  std::vector<char> bounded;
};

Drawn drawn(std::uint64_t seed) {
  support::Random random(seed);
  const int n = 1 + random.below(6);
  Drawn it;
  it.mean.resize(n);
  MatrixXd root(n, n);
  for (int i = 0; i < n; ++i) {
    it.mean[i] = random.normal();
    it.bounded.push_back(random.below(3) > 0 ? 1 : 0);
    for (int j = 0; j < n; ++j) root(i, j) = random.normal();
  }
  it.covariance = root * root.transpose() + 0.01 * MatrixXd::Identity(n, n);
  return it;
}

/// Tries every set of coordinates held at zero.
double least_cost_by_enumeration(const Drawn& it) {
  const auto n = static_cast<int>(it.mean.size());
  double least = std::numeric_limits<double>::infinity();
  for (int held = 0; held < 1 << n; ++held) {
    std::vector<int> at;
    bool possible = true;
    for (int i = 0; i < n; ++i) {
      if ((held >> i & 1) == 0) continue;
      at.push_back(i);
      possible = possible && it.bounded[static_cast<std::size_t>(i)] != 0;
    }
    if (!possible) continue;
    if (at.empty()) {
      bool within = true;
      for (int i = 0; i < n; ++i)
        within = within && (it.bounded[static_cast<std::size_t>(i)] == 0 || it.mean[i] >= 0.0);
      if (within) least = 0.0;
      continue;
    }
    const MatrixXd among = it.covariance(at, at);
    const VectorXd lift = among.fullPivLu().solve(-it.mean(at).eval());
    const VectorXd point = it.mean + it.covariance(Eigen::all, at) * lift;
    bool within = true;
    for (int i = 0; i < n; ++i)
      within = within && (it.bounded[static_cast<std::size_t>(i)] == 0 || point[i] > -1e-9);
    if (within) least = std::min(least, lift.dot(among * lift));
  }
  return least;
}

RC_GTEST_PROP(NearestWithinBounds, IsTheBestOfAllSetsOfBounds, ()) {
  const Drawn it = drawn(*rc::gen::arbitrary<std::uint64_t>());
  const auto found = contents::nearest_within_bounds(it.mean, it.covariance, it.bounded);
  for (Eigen::Index i = 0; i < it.mean.size(); ++i)
    if (it.bounded[static_cast<std::size_t>(i)] != 0) RC_ASSERT(found.point[i] >= 0.0);
  const double least = least_cost_by_enumeration(it);
  // Condition numbers reach 1e4 here, so 1e-8 is rounding.
  RC_ASSERT(std::abs(found.cost - least) <= 1e-8 * (1.0 + least));
  const VectorXd off = found.point - it.mean;
  RC_ASSERT(std::abs(off.dot(it.covariance.ldlt().solve(off)) - least) <= 1e-7 * (1.0 + least));
}

}  // namespace
}  // namespace vialwright
