// Mixing to a strength by alligation, as taught to pharmacists: our solvers give the book's parts.
// Source of all five: H. C. Ansel, Pharmaceutical Calculations, "Altering product strength"
// (alligation alternate and medial). Questions and answers from memory; each checked by hand in its
// comment, by the balance of the one component.
#include <gtest/gtest.h>

#include <array>
#include <limits>

#include "topup/linear_program.hpp"
#include "topup/topup.hpp"

namespace vialwright {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
// The book's answers are whole numbers; what is left is rounding of numbers up to a thousand.
constexpr double rounding = 1e-9;

/// Parts of stocks of given strengths (%) for 100 parts of a wanted strength, at equal prices.
/// `row` is one more balance that the parts must keep, where three stocks leave a choice.
Eigen::VectorXd parts(const Eigen::VectorXd& percent, double wanted, const Eigen::VectorXd& row) {
  topup::LinearProgram mix;
  const Eigen::Index n = percent.size();
  mix.cost.setOnes(n);
  mix.low.setZero(n);
  mix.high.setConstant(n, 100.0);
  mix.rows.resize(3, n);
  mix.rows << Eigen::RowVectorXd::Ones(n), percent.transpose(), row.transpose();
  mix.row_low = mix.row_high = Eigen::Vector3d(100.0, 100.0 * wanted, 0.0);
  const topup::LinearAnswer answer = topup::solve(mix);
  EXPECT_EQ(answer.status, topup::LinearAnswer::Status::found);
  return answer.x;
}

// In what proportion should alcohols of 95 % and 50 % be mixed to make 70 %? 20 parts : 25 parts.
// 20 x 95 + 25 x 50 = 3150 = 45 x 70.
TEST(PublishedAlligation, NinetyFiveAndFiftyPercentToSeventy) {
  const Eigen::VectorXd mixed = parts(Eigen::Vector2d(95.0, 50.0), 70.0, Eigen::Vector2d::Zero());
  EXPECT_NEAR(mixed[0] / mixed[1], 20.0 / 25.0, rounding);
}

// Three lots of an ointment, 50 %, 20 % and 5 %, to 10 %: 5 : 5 : 50 parts, the two strong ones
// alike. 5 x 50 + 5 x 20 + 50 x 5 = 600 = 60 x 10.
TEST(PublishedAlligation, ThreeLotsToTenPercent) {
  const Eigen::VectorXd mixed =
      parts(Eigen::Vector3d(50.0, 20.0, 5.0), 10.0, Eigen::Vector3d(1.0, -1.0, 0.0));
  EXPECT_NEAR(mixed[0] / mixed[1], 1.0, rounding);
  EXPECT_NEAR(mixed[2] / mixed[0], 50.0 / 5.0, 1e-8);
}

/// Grams added of a strong stock and of a base so that what is there comes to the wanted strength
/// in a total within limits, at equal prices.
std::array<double, 2> added(double total, double percent, double strong, double wanted,
                            double total_low, double total_high, double base_cap) {
  const std::array have{total * percent / strong, 0.0}, low{wanted / strong, 0.0},
      high{wanted / strong, infinity}, cap{1e4, base_cap}, one{1.0, 1.0};
  topup::Composition mix;
  mix.have = have;
  mix.low = low;
  mix.high = high;
  mix.cap = cap;
  mix.cost = mix.volume = one;
  mix.total = total;
  mix.total_low = total_low;
  mix.total_high = total_high;
  mix.volume_room = 1e4;
  std::array<double, 2> additions{};
  double cost = 0.0;
  EXPECT_EQ(topup::least_cost(mix, additions, cost), topup::Solution::found);
  return additions;
}

// In what proportion should a 20 % ointment be mixed with base to make 2.5 %? 2.5 : 17.5 = 1 : 7.
TEST(PublishedAlligation, TwentyPercentWithBaseToTwoAndAHalf) {
  const auto [strong, base] = added(0.0, 0.0, 20.0, 2.5, 8.0, 8.0, 1e4);
  EXPECT_NEAR(strong, 1.0, rounding);
  EXPECT_NEAR(base, 7.0, rounding);
}

// How many grams of a 2.5 % cream are to be mixed with 360 g of a 0.25 % cream to make a 1 % cream?
// 180 g: 0.9 g + 4.5 g of 540 g.
TEST(PublishedAlligation, StrongerCreamIntoAWeakOne) {
  EXPECT_NEAR(added(360.0, 0.25, 2.5, 1.0, 0.0, 1e4, 0.0)[0], 180.0, 1e-8);
}

// How many grams of the powder are to be added to 3200 g of a 5 % ointment to make 20 %? 600 g:
// 160 g + 600 g of 3800 g.
TEST(PublishedAlligation, PowderIntoAnOintment) {
  EXPECT_NEAR(added(3200.0, 5.0, 100.0, 20.0, 0.0, 1e4, 0.0)[0], 600.0, 1e-8);
}

}  // namespace
}  // namespace vialwright
