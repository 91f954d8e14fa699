#include "topup/colour_odds.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace vialwright::topup {
namespace {

using Eigen::Matrix3d;
using Eigen::Vector3d;

// Nodes and weights on (0, 1). Source: Abramowitz & Stegun, Handbook of Mathematical Functions
// (1964), table 25.4, n = 8, moved from (-1, 1); a test integrates polynomials with them.
constexpr std::array<double, 4> far_node{0.183434642495650, 0.525532409916329, 0.796666477413627,
                                         0.960289856497536};
constexpr std::array<double, 4> half_weight{0.362683783378362, 0.313706645877887, 0.222381034453374,
                                            0.101228536290376};
struct Node {
  double at, weight;
};
/// Drawn towards the ends (3 s^2 - 2 s^3), where a share of the chance lies in the tails.
Node node(std::size_t i) {
  const double far = far_node[i / 2], s = 0.5 * (i % 2 == 0 ? 1.0 - far : 1.0 + far);
  return {s * s * (3.0 - 2.0 * s), 3.0 * s * (1.0 - s) * half_weight[i / 2]};
}
constexpr std::size_t nodes = 8;

// A doubt far below any that matters keeps the numbers finite.
constexpr double least_doubt = 1e-4;
// Standard deviations; farther off than this the first axis points to the ellipsoid.
constexpr double far_off = 3.0;
constexpr double hardly = 1e-280;

double tail(double z) { return 0.5 * std::erfc(z * std::numbers::sqrt2 / 2.0); }
double density(double z) { return 0.398942280401432678 * std::exp(-0.5 * z * z); }

/// Quantile of the upper tail. Source: Acklam's rational approximation, as commonly quoted, and one
/// Newton step on the logarithm.
double from_tail(double p) {
  if (p > 0.5) return -from_tail(1.0 - p);
  if (p < 1e-300) return 37.0;
  double z = 0.0;
  if (p > 0.02425) {
    const double q = 0.5 - p, r = q * q;
    z = (((((-39.69683028665376 * r + 220.9460984245205) * r - 275.9285104469687) * r +
           138.3577518672690) *
              r -
          30.66479806614716) *
             r +
         2.506628277459239) *
        q /
        (((((-54.47609879822406 * r + 161.5858368580409) * r - 155.6989798598866) * r +
           66.80131188771972) *
              r -
          13.28068155288572) *
             r +
         1.0);
  } else {
    const double q = std::sqrt(-2.0 * std::log(p));
    z = -(((((-0.007784894002430293 * q - 0.3223964580411365) * q - 2.400758277161838) * q -
            2.549732539343734) *
               q +
           4.374664141464968) *
              q +
          2.938163982698783) /
        ((((0.007784695709041462 * q + 0.3224671290700398) * q + 2.445134137142996) * q +
          3.754408661907416) *
             q +
         1.0);
  }
  const double is = tail(z);
  return is > 0.0 ? z + std::log(is / p) * is / std::max(density(z), 1e-300) : z;
}

/// A standard normal between two limits.
struct Between {
  double low, high, chance;
  Between(double from, double to) : low(from), high(to) {
    chance = low > 0.0 ? tail(low) - tail(high) : tail(-high) - tail(-low);
  }
  /// Where that share of the chance lies below.
  [[nodiscard]] double at(double share) const {
    const double z =
        low > 0.0 ? from_tail(tail(low) - share * chance) : -from_tail(tail(-low) + share * chance);
    return std::clamp(z, low, high);
  }
};

/// The whole of a Gaussian measure inside the ball |axes^-1 (u - centre)| <= radius.
struct Inside {
  double chance = 0.0;
  Vector3d first = Vector3d::Zero();   ///< E[u; inside]
  Matrix3d second = Matrix3d::Zero();  ///< E[u u'; inside]
  void add(double weight, const Vector3d& u, const Between& last) {
    const double low = density(last.low), high = density(last.high);
    const double mean = low - high;
    const double square = last.chance + last.low * low - last.high * high;
    chance += weight * last.chance;
    first += weight * Vector3d(u[0] * last.chance, u[1] * last.chance, mean);
    second(0, 0) += weight * u[0] * u[0] * last.chance;
    second(0, 1) += weight * u[0] * u[1] * last.chance;
    second(1, 1) += weight * u[1] * u[1] * last.chance;
    second(0, 2) += weight * u[0] * mean;
    second(1, 2) += weight * u[1] * mean;
    second(2, 2) += weight * square;
  }
};

/// @param axes  lower triangular.
Inside inside(const Vector3d& centre, const Matrix3d& axes, double radius) {
  Inside all;
  const Between one(centre[0] - axes(0, 0) * radius, centre[0] + axes(0, 0) * radius);
  if (one.chance < hardly) return all;
  for (std::size_t i = 0; i < nodes; ++i) {
    Vector3d u, y;
    u[0] = one.at(node(i).at);
    y[0] = (u[0] - centre[0]) / axes(0, 0);
    const double left = std::sqrt(std::max(0.0, radius * radius - y[0] * y[0]));
    const double middle = centre[1] + axes(1, 0) * y[0];
    const Between two(middle - axes(1, 1) * left, middle + axes(1, 1) * left);
    if (two.chance < hardly) continue;
    for (std::size_t j = 0; j < nodes; ++j) {
      u[1] = two.at(node(j).at);
      y[1] = (u[1] - middle) / axes(1, 1);
      const double rest = std::sqrt(std::max(0.0, left * left - y[1] * y[1]));
      const double last = centre[2] + axes(2, 0) * y[0] + axes(2, 1) * y[1];
      const Between three(last - axes(2, 2) * rest, last + axes(2, 2) * rest);
      all.add(one.chance * node(i).weight * two.chance * node(j).weight, u, three);
    }
  }
  all.second = Matrix3d(all.second.selfadjointView<Eigen::Upper>());
  return all;
}

/// Far beyond: as if the ellipsoid were flat where it is nearest.
ColourOdds far_beyond(const Vector3d& off, const Matrix3d& covariance, const Wanted& wanted) {
  const double distance = std::sqrt(off.dot(wanted.metric * off));
  const Vector3d slope = wanted.metric * off / distance;
  const double sd = std::sqrt(slope.dot(covariance * slope));
  const double z = std::max(0.0, distance - wanted.high) / sd;
  return {-0.5 * z * z, -z / sd * slope, slope * slope.transpose() / (sd * sd),
          Matrix3d(0.5 * z * z / (sd * sd) * slope * slope.transpose())};
}

}  // namespace

ColourOdds colour_odds(const Vector3d& mean, const Matrix3d& covariance, const Wanted& wanted) {
  const Matrix3d doubt = covariance + least_doubt * least_doubt * Matrix3d::Identity();
  const Vector3d off = mean - vector_of(wanted.lab);
  // x = mean + root e with e standard normal. The ellipsoid's tightest axis comes last, where the
  // integral is exact; if it is far off, the first axis points to it.
  const Matrix3d lower = doubt.llt().matrixL();
  const Vector3d centre = -lower.triangularView<Eigen::Lower>().solve(off);
  Matrix3d turn;
  if (centre.norm() > far_off) {
    turn = Eigen::Quaterniond::FromTwoVectors(Vector3d::UnitX(), centre).toRotationMatrix();
  } else {
    const Matrix3d form = lower.transpose() * wanted.metric * lower;
    turn = Eigen::SelfAdjointEigenSolver<Matrix3d>(form).eigenvectors();
  }
  const Matrix3d root = lower * turn;
  const Matrix3d form = root.transpose() * wanted.metric * root;
  const Matrix3d axes = Matrix3d(form.inverse()).llt().matrixL();
  const Inside found = inside(turn.transpose() * centre, axes, wanted.high);
  if (found.chance < hardly) return far_beyond(off, doubt, wanted);
  const Matrix3d back = root.inverse();
  const Vector3d first = found.first / found.chance;
  const Matrix3d second = found.second / found.chance;
  ColourOdds odds;
  odds.log_odds = std::log(std::min(1.0, found.chance));
  odds.by_mean = back.transpose() * first;
  odds.curvature =
      back.transpose() * (Matrix3d::Identity() - second + first * first.transpose()) * back;
  odds.by_covariance = 0.5 * back.transpose() * (second - Matrix3d::Identity()) * back;
  return odds;
}

}  // namespace vialwright::topup
