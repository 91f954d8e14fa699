// Flow balances by the kernel that estimates vials: exact readings are the balances.
#include <gtest/gtest.h>
#include <Eigen/LU>

#include <array>
#include <cmath>

#include "contents/map_estimate.hpp"

namespace vialwright {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Readings that are fixed linear sums of the unknowns.
class Linear final : public contents::Response {
 public:
  explicit Linear(MatrixXd rows) : rows_(std::move(rows)) {}
  void linearise(const VectorXd& x, VectorXd& predicted, MatrixXd& gradient) const override {
    predicted = rows_ * x;
    gradient = rows_.transpose();
  }

 private:
  MatrixXd rows_;
};

// Source: Narasimhan & Jordache, Data Reconciliation and Gross Error Detection (2000), chapter 1:
// splitter, heat exchanger with a bypass and its valve, mixer. Values from memory, re-solved.
// Streams: 1 = 2 + 3, 2 = 4, 3 = 5, 4 + 5 = 6; each flow metered with variance 1.
contents::Fit exchanger(const std::array<double, 6>& metered) {
  MatrixXd rows(10, 6);
  rows << MatrixXd::Identity(6, 6), 1, -1, -1, 0, 0, 0, 0, 1, 0, -1, 0, 0, 0, 0, 1, 0, -1, 0, 0, 0,
      0, 1, 1, -1;
  contents::Unknowns flows;
  // A flow of which nothing is known: 50 +/- 10^4 moves an estimate by 10^-7 at most.
  for (int i = 0; i < 6; ++i) contents::add(flows, 50.0, 1e8, true, true);
  contents::Observed observed{VectorXd::Zero(10), VectorXd::Zero(10)};
  for (int i = 0; i < 6; ++i) observed.value[i] = metered[static_cast<std::size_t>(i)];
  observed.variance.head(6).setOnes();
  return contents::map_estimate(flows, observed, Linear(rows), 10);
}

double standardised(const contents::Fit& fit, int reading) {
  return std::abs(fit.pull[reading]) / std::sqrt(fit.weight(reading, reading));
}

TEST(PublishedReconciliation, ExchangerWithBypass) {
  const auto fit = exchanger({101.91, 64.45, 34.65, 64.20, 36.44, 98.88});
  const double published[] = {100.22, 64.50, 35.72, 64.50, 35.72, 100.22};
  for (int i = 0; i < 6; ++i) EXPECT_NEAR(fit.mean[i], published[i], 0.005);  // as printed
  EXPECT_NEAR(fit.chi_squared, 6.41, 0.005);
  EXPECT_EQ(fit.degrees, 4);
  // The balances hold exactly: 10^-6 is rounding against a prior variance of 10^8.
  EXPECT_NEAR(fit.mean[0], fit.mean[1] + fit.mean[2], 1e-6);
  EXPECT_NEAR(fit.mean[3] + fit.mean[4], fit.mean[5], 1e-6);
}

// cov = V - V A' (A V A')^-1 A V, worked out with plain matrices beside the kernel.
TEST(PublishedReconciliation, CovarianceIsThatOfTheClosedForm) {
  MatrixXd balances(4, 6);
  balances << 1, -1, -1, 0, 0, 0, 0, 1, 0, -1, 0, 0, 0, 0, 1, 0, -1, 0, 0, 0, 0, 1, 1, -1;
  const MatrixXd expected =
      MatrixXd::Identity(6, 6) -
      balances.transpose() * (balances * balances.transpose()).inverse() * balances;
  const auto fit = exchanger({101.91, 64.45, 34.65, 64.20, 36.44, 98.88});
  EXPECT_LT((fit.covariance - expected).cwiseAbs().maxCoeff(), 1e-6);
}

// The same book's way of a gross error: 4 added to stream 2. 9.49 is chi-squared of 4 at 5 %, 2.63
// the normal quantile at the Sidak level of six tests at 5 %.
TEST(PublishedReconciliation, AGrossErrorInStreamTwoIsFound) {
  const auto fit = exchanger({101.91, 68.45, 34.65, 64.20, 36.44, 98.88});
  EXPECT_NEAR(fit.chi_squared, 16.67, 0.005);
  EXPECT_GT(fit.chi_squared, 9.49);
  EXPECT_NEAR(standardised(fit, 1), 3.205, 0.0005);
  EXPECT_GT(standardised(fit, 1), 2.63);
  for (int i = 0; i < 6; ++i) {
    if (i != 1) {
      EXPECT_LT(standardised(fit, i), standardised(fit, 1)) << "stream " << i + 1;
    }
  }
}

}  // namespace
}  // namespace vialwright
