// Straight line through 36 calibrations: the regression that learns strengths, with priors of which
// nothing is known and noise of the certified residual standard deviation.
#include <gtest/gtest.h>

#include <array>
#include <limits>

#include "strength/regression.hpp"

namespace vialwright::strength {
namespace {

// Source: NIST Statistical Reference Datasets, Norris (calibration of ozone monitors), level of
// difficulty lower; data and certified values as published.
constexpr std::array<std::array<double, 2>, 36> norris{
    {{0.2, 0.1},     {337.4, 338.8}, {118.2, 118.1}, {884.6, 888.0}, {10.1, 9.2},    {226.5, 228.1},
     {666.3, 668.5}, {996.3, 998.5}, {448.6, 449.1}, {777.0, 778.9}, {558.2, 559.2}, {0.4, 0.3},
     {0.6, 0.1},     {775.5, 778.1}, {666.9, 668.8}, {338.0, 339.3}, {447.5, 448.9}, {11.6, 10.8},
     {556.0, 557.7}, {228.1, 228.3}, {995.8, 998.0}, {887.6, 888.8}, {120.2, 119.6}, {0.3, 0.3},
     {0.3, 0.6},     {556.8, 557.6}, {339.1, 339.3}, {887.2, 888.0}, {999.0, 998.5}, {779.0, 778.9},
     {11.1, 10.2},   {118.3, 117.6}, {229.2, 228.9}, {669.1, 668.4}, {448.9, 449.2}, {0.5, 0.2}}};
constexpr double intercept = -0.262323073774029, slope = 1.00211681802045;
constexpr double sd_intercept = 0.232818234301152, sd_slope = 0.429796848199937e-03;
constexpr double residual_sd = 0.884796396144373, residual_squares = 26.6173985294224;

Normal line(double u_prior) {
  Regression regression(Eigen::Vector2d::Constant(u_prior));
  for (const auto& [x, y] : norris)
    regression.add(Eigen::RowVector2d{1.0, x}, Eigen::VectorXd::Constant(1, y),
                   Eigen::MatrixXd::Constant(1, 1, residual_sd * residual_sd));
  return regression.posterior();
}

void expect_certified(const Normal& normal, double relative) {
  EXPECT_NEAR(normal.mean[0] / intercept, 1.0, relative);
  EXPECT_NEAR(normal.mean[1] / slope, 1.0, relative);
  EXPECT_NEAR(std::sqrt(normal.covariance(0, 0)) / sd_intercept, 1.0, relative);
  EXPECT_NEAR(std::sqrt(normal.covariance(1, 1)) / sd_slope, 1.0, relative);
}

// Nine digits and more are asked of a linear program on this set.
TEST(PublishedNorris, VaguePriorsAreLeastSquares) {
  const Normal normal = line(std::numeric_limits<double>::infinity());
  expect_certified(normal, 1e-10);
  double squares = 0.0;
  for (const auto& [x, y] : norris) {
    const double residual = y - normal.mean[0] - normal.mean[1] * x;
    squares += residual * residual;
  }
  EXPECT_NEAR(squares / residual_squares, 1.0, 1e-12);
}

// A prior of u adds 1/u^2 to what the data say: with 1e6, a part in 1e-13 of the intercept's.
TEST(PublishedNorris, WeakPriorsHardlyMoveIt) { expect_certified(line(1e6), 1e-9); }

}  // namespace
}  // namespace vialwright::strength
