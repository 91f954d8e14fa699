// Linear programmes with known optimum, by the small solver of top-ups. Figures from memory unless
// said; each optimum is checked by hand or was solved again by an independent route.
#include <gtest/gtest.h>

#include <limits>

#include "topup/linear_program.hpp"

namespace vialwright {
namespace {

using Status = topup::LinearAnswer::Status;
constexpr double infinity = std::numeric_limits<double>::infinity();

/// minimise cost'x with x >= 0; rows are filled by the caller.
topup::LinearProgram programme(const Eigen::VectorXd& cost, Eigen::Index rows) {
  topup::LinearProgram made;
  made.cost = cost;
  made.low.setZero(cost.size());
  made.high.setConstant(cost.size(), infinity);
  made.rows.setZero(rows, cost.size());
  made.row_low.setConstant(rows, -infinity);
  made.row_high.setConstant(rows, infinity);
  return made;
}

// Source: H. A. Taha, Operations Research: An Introduction, "Diet problem": at least 800 lb of feed
// from corn (protein 0.09, fibre 0.02, 0.30 a lb) and soybean meal (0.60, 0.06, 0.90); at least 30
// % protein, at most 5 % fibre. Printed: 470.6 lb, 329.4 lb, 437.64. By hand: protein binds, so
// meal is 0.7 of the corn, and 1.7 x corn = 800.
TEST(PublishedBlending, FeedOfCornAndSoybeanMeal) {
  topup::LinearProgram feed = programme(Eigen::Vector2d(0.30, 0.90), 3);
  feed.rows << 1.0, 1.0, 0.09 - 0.30, 0.60 - 0.30, 0.02 - 0.05, 0.06 - 0.05;
  feed.row_low << 800.0, 0.0, -infinity;
  feed.row_high << infinity, infinity, 0.0;
  const topup::LinearAnswer answer = topup::solve(feed);
  ASSERT_EQ(answer.status, Status::found);
  EXPECT_NEAR(answer.x[0], 470.6, 0.05);  // half of the last printed digit
  EXPECT_NEAR(answer.x[1], 329.4, 0.05);
  EXPECT_NEAR(answer.cost, 437.64, 0.01);  // printed cut, not rounded: 437.647
  EXPECT_NEAR(answer.x[0], 800.0 / 1.7, 1e-9);
}

// Constructed, analytic: three stocks to a mass of 100 with a component share of 0.2 exactly and a
// second component of at most 0.12. Optimum 250 at (50, 0, 50).
TEST(PublishedBlending, ThreeStocksToOneShare) {
  topup::LinearProgram blend = programme(Eigen::Vector3d(4.0, 6.0, 1.0), 3);
  blend.rows << 0.05, 0.3, 0.0, 1.0, 1.0, 1.0, 0.4, 0.3, 0.0;
  blend.row_high << 12.0, 100.0, 20.0;
  blend.row_low << -infinity, 100.0, 20.0;
  const topup::LinearAnswer answer = topup::solve(blend);
  ASSERT_EQ(answer.status, Status::found);
  EXPECT_NEAR(answer.cost, 250.0, 1e-9);
  EXPECT_TRUE(answer.x.isApprox(Eigen::Vector3d(50.0, 0.0, 50.0), 1e-12));
}

// Source: Hillier & Lieberman, Introduction to Operations Research, prototype example: 36 at (2,
// 6).
TEST(PublishedProgrammes, PrototypeExample) {
  topup::LinearProgram made = programme(Eigen::Vector2d(-3.0, -5.0), 3);
  made.rows << 1.0, 0.0, 0.0, 2.0, 3.0, 2.0;
  made.row_high << 4.0, 12.0, 18.0;
  const topup::LinearAnswer answer = topup::solve(made);
  ASSERT_EQ(answer.status, Status::found);
  EXPECT_NEAR(answer.cost, -36.0, 1e-12);
  EXPECT_TRUE(answer.x.isApprox(Eigen::Vector2d(2.0, 6.0), 1e-12));
}

// Source: E. M. L. Beale, Nav. Res. Logist. Q. 2 (1955) 269: the largest-coefficient rule goes
// round in circles here. Optimum -0.05 at (0.04, 0, 1, 0).
TEST(PublishedProgrammes, TheOneThatCycles) {
  topup::LinearProgram made = programme(Eigen::Vector4d(-0.75, 150.0, -0.02, 6.0), 3);
  made.rows << 0.25, -60.0, -0.04, 9.0, 0.5, -90.0, -0.02, 3.0, 0.0, 0.0, 1.0, 0.0;
  made.row_high << 0.0, 0.0, 1.0;
  const topup::LinearAnswer answer = topup::solve(made);
  ASSERT_EQ(answer.status, Status::found);
  EXPECT_NEAR(answer.cost, -0.05, 1e-12);
  EXPECT_TRUE(answer.x.isApprox(Eigen::Vector4d(0.04, 0.0, 1.0, 0.0), 1e-10));
}

// Source: V. Klee & G. J. Minty, How good is the simplex algorithm? (1972), three variables in the
// 100-10-1 form: 10000 at (0, 0, 10000), after a walk past every corner.
TEST(PublishedProgrammes, TheOneThatTakesEveryCorner) {
  topup::LinearProgram made = programme(Eigen::Vector3d(-100.0, -10.0, -1.0), 3);
  made.rows << 1.0, 0.0, 0.0, 20.0, 1.0, 0.0, 200.0, 20.0, 1.0;
  made.row_high << 1.0, 100.0, 10000.0;
  const topup::LinearAnswer answer = topup::solve(made);
  ASSERT_EQ(answer.status, Status::found);
  EXPECT_NEAR(answer.cost, -10000.0, 1e-8);
}

}  // namespace
}  // namespace vialwright
