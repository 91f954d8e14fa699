// How a station doses: what is known by hand, and by simulation how often the intervals hold.
#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "outcomes/outcomes.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::outcomes {
namespace {

constexpr double u_found = 0.002, stated_g = 0.004;
const std::vector<StatedSpread> stated = {{0, stated_g, 0.0}, {1, 0.002, 0.01}};
const std::vector<int> lot_now = {7, 3};

DoseSeen dose(double told, double found, int lot = 7) {
  DoseSeen made;
  made.lot = lot;
  made.told_g = told;
  made.found_g = found;
  made.u_found_g = u_found;
  return made;
}

// By hand. Stated variance 16e-6, doubt 4e-6, so 20e-6 a dose. Errors +2, +4, +6, +8 mg: mean 5 mg,
// squares 20e-6, one in units of what is stated. Factor (4 + 1) / (4 + 3) = 0.714; own spread
// sqrt((0.714 - 0.2) / 0.8) = 0.802 of the stated 4 mg. Bias 5 x 4 / 4.1 mg, with
// u = sqrt(0.714 x 20e-6 / 4.1) = 1.867 mg and t(7) = 2.365.
TEST(Habits, ByHand) {
  const std::vector<DoseSeen> seen = {dose(1.0, 1.002), dose(1.0, 1.004), dose(1.0, 1.006),
                                      dose(1.0, 1.008)};
  const auto found = habits(seen, stated, lot_now);
  ASSERT_EQ(found.size(), 1u);
  const DoseHabit& habit = found.front();
  EXPECT_EQ(habit.n, 4);
  EXPECT_NEAR(habit.spread_g, 0.004 * 0.80178, 1e-7);
  EXPECT_NEAR(habit.bias_g, 0.005 * 4.0 / 4.1, 1e-9);
  EXPECT_NEAR(habit.u_bias_g, 0.0018667, 1e-6);
  EXPECT_NEAR(habit.bias_high - habit.bias_g, 2.3646 * 0.0018667, 2e-6);
  EXPECT_DOUBLE_EQ(habit.stated_spread_g, 0.004);
  EXPECT_DOUBLE_EQ(habit.typical_g, 1.0);
}

TEST(Habits, OnlyCleanDosesTeach) {
  std::vector<DoseSeen> seen = {dose(1.0, 1.001), dose(1.0, 0.5), dose(1.0, 1.003)};
  seen[1].clean = false;
  const auto found = habits(seen, stated, lot_now);
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(found.front().n, 2);
  EXPECT_LT(found.front().spread_g, 0.005);
  seen[0].clean = seen[2].clean = false;
  EXPECT_TRUE(habits(seen, stated, lot_now).empty());
}

TEST(Habits, AnotherLotTeachesSpreadButNoBias) {
  std::vector<DoseSeen> seen;
  for (const double error : {0.018, 0.020, 0.022, 0.019, 0.021})
    seen.push_back(dose(1.0, 1.0 + error, 6));
  const DoseHabit before = habits(seen, stated, lot_now).front();
  EXPECT_EQ(before.bias_g, 0.0);
  EXPECT_GT(before.bias_high, 0.015);    // nothing is known of the new lot
  EXPECT_LT(before.spread_g, stated_g);  // five doses close together
  for (const double error : {-0.001, 0.001, 0.0}) seen.push_back(dose(1.0, 1.0 + error));
  const DoseHabit after = habits(seen, stated, lot_now).front();
  EXPECT_NEAR(after.bias_g, 0.0, 1e-12);
  EXPECT_LT(after.bias_high, 0.006);
  EXPECT_LT(after.spread_g, stated_g);  // the step between the lots is no spread
}

TEST(Habits, StationsAndStocksAreApart) {
  std::vector<DoseSeen> seen = {dose(1.0, 1.01), dose(1.0, 1.01), dose(1.0, 1.01)};
  seen[1].station = 1;
  seen[2].stock = 1;
  seen[2].lot = 3;
  EXPECT_EQ(habits(seen, stated, lot_now).size(), 3u);
}

/// A station of 2 mg and 1 %: big doses miss by more, and are no sign of a wider spread.
TEST(Habits, DosesOfManySizesAreWeighedByWhatIsStatedForThem) {
  support::Random random(941);
  double sum = 0.0;
  const int count = support::trials(400, 4'000);
  for (int n = 0; n < count; ++n) {
    std::vector<DoseSeen> seen;
    for (int i = 0; i < 60; ++i) {
      const double told = 0.05 * std::exp2(random.uniform(0.0, 6.0));
      const double sd = std::hypot(0.002, 0.01 * told);
      seen.push_back(dose(told, told + sd * random.normal() + u_found * random.normal()));
      seen.back().station = 1;
    }
    const DoseHabit habit = habits(seen, stated, lot_now).front();
    sum += habit.spread_g / habit.stated_spread_g;
  }
  // A standard deviation of 63 degrees is low by 1/(4 x 63) in the mean, and by as much again for
  // what the doubts take out; three standard errors of the mean are 0.016 in the short form.
  EXPECT_NEAR(sum / count, 1.0, 0.01 + 3.0 * 0.12 / std::sqrt(count)) << "seed 941";
}

struct Coverage {
  int bias = 0, spread = 0, within = 0, count = 0;
};

/// Worlds in which the line file is wrong by `times`.
Coverage coverage(std::uint64_t seed, int doses, double times) {
  support::Random random(seed);
  Coverage made;
  made.count = support::trials(2'000, 20'000);
  for (int n = 0; n < made.count; ++n) {
    const double bias = 0.003 * random.normal(), spread = stated_g * times;
    std::vector<DoseSeen> seen;
    for (int i = 0; i < doses; ++i)
      seen.push_back(dose(1.0, 1.0 + bias + spread * random.normal() + u_found * random.normal()));
    const DoseHabit habit = habits(seen, stated, lot_now).front();
    made.bias += bias >= habit.bias_low && bias <= habit.bias_high ? 1 : 0;
    made.spread += spread >= habit.spread_low && spread <= habit.spread_high ? 1 : 0;
    // The share of doses that the band holds.
    const auto below = [&](double x) {
      return 0.5 * std::erfc(-(x - bias) / spread / std::sqrt(2.0));
    };
    const double share =
        below(habit.bias_g + habit.within_g) - below(habit.bias_g - habit.within_g);
    made.within += share >= 0.95 ? 1 : 0;
  }
  return made;
}

double share(int part, const Coverage& of) { return static_cast<double>(part) / of.count; }

/// Where the line file is right its word narrows the doubt, so that intervals hold at least as
/// often as they say.
TEST(HabitsInWorlds, IntervalsHoldWhereTheLineFileIsRight) {
  for (const int doses : {3, 10, 30, 100}) {
    const Coverage made = coverage(942, doses, 1.0);
    SCOPED_TRACE("seed 942, doses " + std::to_string(doses));
    const double three_u = 3.0 * std::sqrt(0.95 * 0.05 / made.count);
    EXPECT_GT(share(made.bias, made), 0.95 - three_u);
    EXPECT_GT(share(made.spread, made), 0.95 - three_u);
    EXPECT_GT(share(made.within, made), 0.95 - three_u);
  }
}

/// A spread half as wide again: the four doses that the line file speaks for hold the spread back
/// while there are few, and no longer at 100.
TEST(HabitsInWorlds, EnoughDosesOutweighAWrongLineFile) {
  const Coverage few = coverage(943, 10, 1.5), many = coverage(943, 100, 1.5);
  EXPECT_GT(share(few.bias, few), 0.90);
  EXPECT_GT(share(few.spread, few), 0.85);
  EXPECT_GT(share(many.bias, many), 0.94);
  EXPECT_GT(share(many.spread, many), 0.93);
}

}  // namespace
}  // namespace vialwright::outcomes
