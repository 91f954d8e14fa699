#include <gtest/gtest.h>

#include <cmath>

#include "making/making.hpp"

namespace vialwright::making {
namespace {

// Source: the trade's worked case of a tint with a tolerance of 3 % about its target, where a vial
// below costs 0.40 and one above 3.00; offsets and losses computed outside this code, to the digits
// printed.
struct Printed {
  double sd, offset, loss, loss_at_target;  // %, %, unit of account
};
constexpr Printed table[] = {
    {1.0, -0.34, 0.0028, 0.0046}, {1.5, -0.76, 0.0454, 0.0774}, {2.0, -1.34, 0.1263, 0.2271}};

TEST(PublishedBestOffset, WorkedCaseOfATintToItsPrintedDigits) {
  for (const Printed& row : table) {
    const Aim aim = best_offset(0.01 * row.sd, 0.03, {0.40, 3.00});
    EXPECT_NEAR(100.0 * aim.offset, row.offset, 0.005);  // half of the last digit
    EXPECT_NEAR(aim.loss, row.loss, 5e-5);
    EXPECT_NEAR(aim.loss_at_zero, row.loss_at_target, 5e-5);
  }
}

TEST(PublishedBestOffset, NoOtherAimLosesLess) {
  const Stakes stakes{0.40, 3.00};
  const Aim aim = best_offset(0.015, 0.03, stakes);
  const auto loss = [&](double offset) {
    return 0.40 * 0.5 * std::erfc((0.03 + offset) / 0.015 / std::sqrt(2.0)) +
           3.00 * 0.5 * std::erfc((0.03 - offset) / 0.015 / std::sqrt(2.0));
  };
  for (double offset = -0.03; offset <= 0.03; offset += 1e-4) EXPECT_GE(loss(offset), aim.loss);
}

TEST(PublishedBestOffset, EqualStakesAimAtTheTarget) {
  EXPECT_EQ(best_offset(0.01, 0.03, {1.0, 1.0}).offset, 0.0);
}

}  // namespace
}  // namespace vialwright::making
