#include <gtest/gtest.h>

#include <rapidcheck/gtest.h>
#include <cmath>
#include <limits>

#include "holding/holding.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::holding {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

// Source: Gamma-Poisson by hand: 3 orders in 21 days, prior shape 0.5, no prior days. Gamma(3.5, 21
// d): mean 3.5 / 21, quantiles of chi-squared with 7 degrees of freedom / 42 (1.690 and 16.013 in
// the usual tables), P(>= 1 in 5 d) = 1 - (21 / 26)^3.5. Printed digits.
TEST(Demand, ThreeOrdersInThreeWeeks) {
  const std::vector<double> ago = {2.0, 9.0, 17.5};
  const Demand demand = learn(ago, 21.0, {0.5, 0.0, infinity});
  EXPECT_NEAR(demand.rate(), 0.1667, 5e-5);
  EXPECT_NEAR(demand.rate_95().low, 0.040, 5e-4);
  EXPECT_NEAR(demand.rate_95().high, 0.381, 5e-4);
  EXPECT_NEAR(demand.odds_of_one(5.0), 0.526, 5e-4);
  EXPECT_NEAR(demand.rate_after_silence(7.0), 3.5 / 28.0, 1e-12);
  EXPECT_EQ(demand.orders, 3);
}

TEST(Demand, NothingWatchedIsThePriorAndNothingAtAllHasNoMean) {
  const Demand prior = learn({}, 0.0);
  EXPECT_DOUBLE_EQ(prior.rate(), 0.5);
  EXPECT_GT(prior.rate_95().high / std::max(prior.rate_95().low, 1e-12), 100.0);
  const Demand nothing = learn({}, 0.0, {0.5, 0.0, 30.0});
  EXPECT_EQ(nothing.rate(), infinity);
  EXPECT_EQ(nothing.odds_of_one(0.0), 0.0);
}

/// Orders that keep coming at one rate for ever weigh, with a half-life T, as those of T / ln 2
/// days; an order one half-life ago counts half.
TEST(Demand, ForgettingKeepsTheRateAndLimitsTheWeight) {
  std::vector<double> ago;
  for (int i = 0; i < 4'000; ++i) ago.push_back(0.25 + 0.5 * i);
  const Demand demand = learn(ago, 2'000.0, {0.5, 1.0, 30.0});
  EXPECT_NEAR(demand.days, 1.0 + 30.0 / std::log(2.0), 1e-6);
  EXPECT_NEAR(demand.rate(), 2.0, 0.05);  // the prior pulls by 1 day in 44
  const std::vector<double> one = {30.0};
  EXPECT_NEAR(learn(one, 60.0, {0.5, 1.0, 30.0}).shape, 1.0, 1e-12);
}

std::vector<double> poisson_days(support::Random& random, double rate, double days, int burst) {
  std::vector<double> ago;
  const double clusters = rate / burst;
  for (double t = -std::log(random.uniform()) / clusters; t < days;
       t -= std::log(random.uniform()) / clusters)
    for (int i = 0; i < burst; ++i) ago.push_back(t);
  return ago;
}

TEST(Demand, BurstsAreSeenAndRareWhereThereAreNone) {
  const std::uint64_t seed = 11;
  SCOPED_TRACE("seed " + std::to_string(seed));
  support::Random random(seed);
  const int runs = support::trials(1'000, 20'000);
  int false_alarms = 0, seen = 0;
  for (int i = 0; i < runs; ++i) {
    const auto even = poisson_days(random, 1.0, 60.0, 1);
    const auto uneven = poisson_days(random, 1.0, 60.0, 5);
    if (learn(even, 60.0).bursts) ++false_alarms;
    if (learn(uneven, 60.0).bursts) ++seen;
  }
  // One in a hundred is asked for. Counts of mean 2 are only roughly chi-squared: up to twice that.
  EXPECT_LT(false_alarms, 0.02 * runs + 3.0 * std::sqrt(0.02 * runs));
  EXPECT_GT(seen, 0.9 * runs);
}

/// 95 % intervals of the rate should hold the true rate; orders in fives would be told as five
/// times as much evidence as they are.
TEST(Demand, IntervalsHoldTheTrueRateAlsoWhereOrdersComeInBursts) {
  const std::uint64_t seed = 12;
  SCOPED_TRACE("seed " + std::to_string(seed));
  support::Random random(seed);
  const int runs = support::trials(1'000, 20'000);
  int even = 0, bursts = 0;
  for (int i = 0; i < runs; ++i) {
    const auto inside = [&](int burst) {
      const auto days = poisson_days(random, 2.0, 60.0, burst);
      const auto interval = learn(days, 60.0, {0.5, 1.0, infinity}).rate_95();
      return interval.low <= 2.0 && 2.0 <= interval.high ? 1 : 0;
    };
    even += inside(1);
    bursts += inside(5);
  }
  EXPECT_NEAR(even / static_cast<double>(runs), 0.95, 0.03);
  // With the dispersion estimated from some 30 windows; without widening it would be about 0.62.
  EXPECT_GT(bursts / static_cast<double>(runs), 0.88);
}

RC_GTEST_PROP(DemandProperty, SilenceOnlyLowersTheRateAndTimeOnlyRaisesTheOdds, ()) {
  Demand demand;
  demand.shape = 0.1 + *rc::gen::inRange(0, 1'000) / 50.0;
  demand.days = 0.1 + *rc::gen::inRange(0, 1'000) / 10.0;
  const double t = *rc::gen::inRange(0, 1'000) / 10.0;
  RC_ASSERT(demand.rate_after_silence(t + 1.0) < demand.rate_after_silence(t));
  RC_ASSERT(demand.odds_of_one(t + 1.0) >= demand.odds_of_one(t));
  RC_ASSERT(demand.odds_of_one(t + 1.0) <= 1.0);
  const auto interval = demand.rate_95();
  RC_ASSERT(interval.low < interval.high);
}

}  // namespace
}  // namespace vialwright::holding
