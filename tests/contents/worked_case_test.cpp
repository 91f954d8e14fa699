// A worked case, printed beforehand by another program (weighted least squares in Python): base,
// yellow and blue dosed into one vial, net weighed, two concentrations read from the colour. The
// concentrations are bilinear in the masses; the kernel knows nothing of vials.
#include <gtest/gtest.h>

#include <cmath>

#include "contents/explanations.hpp"
#include "contents/map_estimate.hpp"

namespace vialwright {
namespace {

using contents::Fit;
using contents::Observed;
using Eigen::MatrixXd;
using Eigen::VectorXd;

constexpr double yellow_mg_per_g = 0.50, blue_mg_per_g = 0.20;

/// Readings in this order: base, yellow, blue, net [, yellow mg/g, blue mg/g].
class ThreeStocks final : public contents::Response {
 public:
  void linearise(const VectorXd& x, VectorXd& predicted, MatrixXd& gradient) const override {
    const double net = x.sum();
    gradient.setZero();
    gradient.topLeftCorner(3, 3).setIdentity();
    gradient.col(3).setOnes();
    predicted.head(3) = x;
    predicted[3] = net;
    if (predicted.size() < 6) return;
    const double strength[] = {yellow_mg_per_g, blue_mg_per_g};
    for (int i = 0; i < 2; ++i) {
      predicted[4 + i] = strength[i] * x[1 + i] / net;
      gradient.col(4 + i).setConstant(-predicted[4 + i] / net);
      gradient(1 + i, 4 + i) += strength[i] / net;
    }
  }
};

Observed read(double net_g, bool colour) {
  Observed it;
  it.value.resize(colour ? 6 : 4);
  it.variance.resize(it.value.size());
  it.value.head(4) << 19.380, 0.320, 0.315, net_g;
  it.variance.head(4) << 0.040 * 0.040, 0.006 * 0.006, 0.012 * 0.012, 0.005 * 0.005;
  if (!colour) return it;
  it.value.tail(2) << 0.00805, 0.00308;
  for (int i = 4; i < 6; ++i) it.variance[i] = std::pow(0.012 * it.value[i], 2);
  return it;
}

Fit solve(const Observed& observed) {
  contents::Unknowns doses;
  // Nothing known beforehand: 1 +/- 1000 g moves an estimate by 10^-8 g.
  for (int i = 0; i < 3; ++i) contents::add(doses, 1.0, 1e6, true, true);
  return contents::map_estimate(doses, observed, ThreeStocks(), 25);
}

void expect_masses(const Fit& fit, const double (&mass)[3], const double (&u)[3], double half,
                   double half_u) {
  for (int i = 0; i < 3; ++i) {
    EXPECT_NEAR(fit.mean[i], mass[i], half);
    EXPECT_NEAR(std::sqrt(fit.covariance(i, i)), u[i], half_u);
  }
}

double standardised(const Fit& fit, int j) {
  return std::abs(fit.pull[j]) / std::sqrt(fit.weight(j, j));
}

TEST(WorkedCase, DosesAndNet) {
  const Fit fit = solve(read(19.985, false));
  // Half of the last printed digit, throughout.
  expect_masses(fit, {19.35341, 0.31940, 0.31261}, {0.01348, 0.00594, 0.01151}, 5.1e-6, 5.1e-6);
  EXPECT_NEAR(fit.chi_squared, 0.499, 5.1e-4);
  EXPECT_EQ(fit.degrees, 1);
}

TEST(WorkedCase, WithConcentrations) {
  const Fit fit = solve(read(19.985, true));
  expect_masses(fit, {19.35606, 0.32109, 0.30821}, {0.00674, 0.00324, 0.00352}, 5.1e-6, 5.1e-6);
  EXPECT_NEAR(fit.chi_squared, 0.761, 5.1e-4);
  EXPECT_EQ(fit.degrees, 3);
}

TEST(WorkedCase, HalfAGramTooMuchOnTheScaleIsSeenButNotLocated) {
  const Observed observed = read(20.485, true);
  const Fit fit = solve(observed);
  EXPECT_NEAR(fit.chi_squared, 131.8, 0.051);
  EXPECT_LT(contents::chi_squared_tail(fit.chi_squared, fit.degrees), 1e-20);
  EXPECT_NEAR(standardised(fit, 3), 11.46, 0.0051);  // net
  EXPECT_NEAR(standardised(fit, 0), 11.40, 0.0051);  // base meter
  EXPECT_NEAR(standardised(fit, 5), 3.06, 0.0051);   // blue concentration
  const auto pairs = contents::critical_pairs(fit, observed);
  ASSERT_EQ(pairs.size(), 1u);
  EXPECT_EQ(pairs[0].one, 0);
  EXPECT_EQ(pairs[0].other, 3);
}

TEST(WorkedCase, WithoutTheNetTheRestPredictsIt) {
  Observed observed = read(20.485, true);
  observed.variance[3] = 1e6;  // as good as not read
  const Fit fit = solve(observed);
  EXPECT_NEAR(fit.mean[0], 19.380, 5.1e-4);
  EXPECT_NEAR(fit.mean[1], 0.32153, 5.1e-6);
  EXPECT_NEAR(fit.mean[2], 0.30875, 5.1e-6);
  EXPECT_NEAR(std::sqrt(fit.covariance(0, 0)), 0.040, 5.1e-4);
  EXPECT_NEAR(std::sqrt(fit.covariance(1, 1)), 0.0033, 5.1e-5);
  EXPECT_NEAR(std::sqrt(fit.covariance(2, 2)), 0.0036, 5.1e-5);
  EXPECT_NEAR(fit.mean.sum(), 20.010, 5.1e-4);
  EXPECT_NEAR(std::sqrt(fit.covariance.sum()), 0.041, 5.1e-4);
}

}  // namespace
}  // namespace vialwright
