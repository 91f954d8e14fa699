// Odds against outcome for people: bins and the squared distance.
#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "outcomes/margin_world.hpp"
#include "support/long_form.hpp"

namespace vialwright::outcomes {
namespace {

Outcome outcome(double odds, double good) {
  Outcome made;
  made.odds = odds;
  made.good = good;
  return made;
}

TEST(Bins, EveryOutcomeIsInOneAndEmptyOnesKnowNothing) {
  const std::vector<Outcome> seen = {outcome(0.0, 0.0), outcome(0.25, 1.0), outcome(0.29, 0.5),
                                     outcome(1.0, 1.0)};
  const std::vector<Bin> made = bins(seen, 10);
  ASSERT_EQ(made.size(), 10u);
  EXPECT_EQ(made[0].n, 1);
  EXPECT_EQ(made[2].n, 2);
  EXPECT_EQ(made[9].n, 1);  // odds of 1 have no bin above
  EXPECT_DOUBLE_EQ(made[2].predicted, 0.27);
  EXPECT_DOUBLE_EQ(made[2].came_true, (1.5 + 0.5) / 3.0);  // Beta(1/2 + 1.5, 1/2 + 0.5)
  EXPECT_EQ(made[5].n, 0);
  EXPECT_EQ(made[5].low, 0.0);
  EXPECT_EQ(made[5].high, 1.0);
  EXPECT_EQ(made[5].fails_most, 1.0);
}

// By hand: odds 0.8, 0.8, 0.6 with good, bad, good: (0.04 + 0.64 + 0.16) / 3 = 0.28. If right:
// (0.16 + 0.16 + 0.24) / 3 = 0.18667. Variance (2 x 0.36 x 0.16 + 0.04 x 0.24) / 9 = 0.0138667.
TEST(Score, ByHand) {
  const Score found = score(std::vector{outcome(0.8, 1.0), outcome(0.8, 0.0), outcome(0.6, 1.0)});
  EXPECT_NEAR(found.brier, 0.28, 1e-12);
  EXPECT_NEAR(found.expected, 0.56 / 3.0, 1e-12);
  EXPECT_NEAR(found.u_expected, std::sqrt(0.0138666666667), 1e-9);
  EXPECT_EQ(found.n, 3);
  EXPECT_EQ(score({}).n, 0);
}

/// (brier - expected) / u_expected is a standard normal when the odds are right: Spiegelhalter's
/// test. It stays so in worlds as stated and flags those of a wider spread.
TEST(Score, TellsRightOddsFromHopefulOnes) {
  support::Random random(931);
  const int count = support::trials(400, 4'000);
  double sum = 0.0, squares = 0.0;
  int flagged = 0;
  for (int world = 0; world < count; ++world) {
    const Score right = score(testing::made_topups(random, 1.0, 200, 0.0, testing::Aim::middle));
    const double z = (right.brier - right.expected) / right.u_expected;
    sum += z;
    squares += z * z;
    const Score hopeful = score(testing::made_topups(random, 1.5, 200, 0.0, testing::Aim::middle));
    flagged += hopeful.brier - hopeful.expected > 1.645 * hopeful.u_expected ? 1 : 0;
  }
  // Three standard errors of a mean and of a variance of standard normals.
  EXPECT_NEAR(sum / count, 0.0, 3.0 / std::sqrt(count)) << "seed 931";
  EXPECT_NEAR(squares / count, 1.0, 3.0 * std::sqrt(2.0 / count)) << "seed 931";
  EXPECT_GT(flagged, count * 9 / 10);
}

}  // namespace
}  // namespace vialwright::outcomes
