// Odds as history corrects them: near the predicted while little has been seen, right once much
// has.
#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

#include "outcomes/margin_world.hpp"
#include "support/long_form.hpp"

namespace vialwright::outcomes {
namespace {

using testing::Aim;
using testing::made_topups;
using testing::normal_share;
using testing::Tenths;

constexpr int stocks = 4;

Outcome asked(double odds) {
  Outcome made;
  made.odds = odds;
  made.margin_sd = 2.0;
  made.least_dose_ratio = 2.0;
  made.stock = 1;
  return made;
}

TEST(Recalibration, WithoutOutcomesTheOddsAreThosePredicted) {
  const Recalibration none = learn({}, stocks);
  for (const double odds : {0.0, 0.01, 0.3, 0.5, 0.77, 0.95, 0.999, 1.0}) {
    const Corrected corrected = correct(asked(odds), none);
    EXPECT_EQ(corrected.odds, odds);
    EXPECT_EQ(corrected.n, 0);
    if (odds > 0.0 && odds < 1.0) {
      EXPECT_LT(corrected.low, odds);  // nobody knows yet whether they are right
      EXPECT_GT(corrected.high, odds);
    }
  }
  EXPECT_EQ(correct(asked(0.6), Recalibration{}).odds, 0.6);
}

TEST(Recalibration, AFewOutcomesMoveTheOddsLittleAndTheRightWay) {
  for (const double odds : {0.6, 0.9, 0.99}) {
    Outcome one = asked(odds);
    one.good = 1.0;
    const Corrected up = correct(asked(odds), learn(std::vector{one}, stocks));
    one.good = 0.0;
    const Corrected down = correct(asked(odds), learn(std::vector{one}, stocks));
    EXPECT_GE(up.odds,
              odds - 0.002);  // averaging over what one outcome brought costs next to nothing
    EXPECT_LT(up.odds, odds + 0.05);
    EXPECT_LT(down.odds, odds);
    // A failure where one in a hundred was told shakes the odds, but one is one.
    EXPECT_GT(down.odds, odds - 0.12);
    EXPECT_EQ(up.n, 1);
  }
}

TEST(Recalibration, ManyOutcomesOutweighThePrior) {
  std::vector<Outcome> seen;
  for (int i = 0; i < 2'000; ++i) {
    seen.push_back(asked(0.5));
    seen.back().good = i % 5 == 0 ? 0.0 : 1.0;
  }
  Options options;
  options.covariates = false;
  const Recalibration learned = learn(seen, stocks, options);
  // 2000 outcomes bring a precision of 2000 x 0.49 (phi^2 / p q on the normal scale) beside the
  // prior's 11: the score 0.84 is held back by about one in a hundred, 0.3 points.
  EXPECT_NEAR(correct(asked(0.5), learned).odds, 0.8, 0.004);
  EXPECT_EQ(learned.names, (std::vector<std::string>{"level", "slope"}));
}

/// The interval by an independent route: the posterior of the level alone on a dense grid.
TEST(Recalibration, IntervalOfTheLevelAgainstADenseGrid) {
  std::vector<Outcome> seen;
  for (int i = 0; i < 60; ++i) {
    seen.push_back(asked(0.5));
    seen.back().good = i < 39 ? 1.0 : 0.0;
  }
  Options options;
  options.covariates = false;  // at even odds the slope has nothing to say
  const Corrected corrected = correct(asked(0.5), learn(seen, stocks, options));
  std::vector<double> mass;
  double sum = 0.0;
  constexpr double step = 1e-4;
  for (double w = -3.0; w < 3.0; w += step) {
    const double p = normal_share(w);
    const double log_mass =
        39.0 * std::log(p) + 21.0 * std::log(1.0 - p) - 0.5 * w * w / (0.3 * 0.3);
    mass.push_back(std::exp(log_mass + 40.0));
    sum += mass.back();
  }
  double low = 0.0, high = 0.0, below = 0.0;
  for (std::size_t i = 0; i < mass.size(); ++i) {
    const double before = below / sum, after = (below += mass[i]) / sum;
    const double w = -3.0 + step * static_cast<double>(i);
    if (before < 0.025 && after >= 0.025) low = normal_share(w);
    if (before < 0.975 && after >= 0.975) high = normal_share(w);
  }
  // A Gaussian of 60 outcomes: its skew moves the ends by less than one point.
  EXPECT_NEAR(corrected.low, low, 0.01);
  EXPECT_NEAR(corrected.high, high, 0.01);
}

/// The page's worked example: 14 of 20 at even odds. The level solves, by hand,
/// w / 0.09 = 14 phi/Phi(w) - 6 phi/Phi(-w), so w = 0.2707; its doubt is 0.2062. The odds are
/// averaged over the scatter that the level would have had other twenty outcomes come: here by
/// drawing them. Without that averaging they would be 0.0012 higher.
TEST(Recalibration, OddsAreAveragedOverWhatOtherOutcomesWouldHaveTaught) {
  Options options;
  options.covariates = false;
  const auto level_of = [&](const std::vector<Outcome>& seen) {
    return learn(seen, stocks, options).weight[0];
  };
  support::Random random(928);
  const int count = 4'000;
  double squares = 0.0;
  for (int n = 0; n < count; ++n) {
    std::vector<Outcome> other(20, asked(0.5));
    for (Outcome& each : other) each.good = random.below(2);
    squares += std::pow(level_of(other), 2);
  }
  std::vector<Outcome> seen(20, asked(0.5));
  for (std::size_t i = 0; i < 14; ++i) seen[i].good = 1.0;
  const Recalibration learned = learn(seen, stocks, options);
  EXPECT_NEAR(learned.weight[0], 0.2707, 5e-5);
  EXPECT_NEAR(learned.u[0], 0.2062, 5e-5);
  // The scatter's own doubt of one in ninety moves the odds by 3e-5; that it is taken at even odds
  // and not at 0.6, by about as much.
  EXPECT_NEAR(correct(asked(0.5), learned).odds,
              normal_share(0.2707 / std::sqrt(1.0 + squares / count)), 2e-4)
      << "seed 928";
}

TEST(Recalibration, OldOutcomesFade) {
  std::vector<Outcome> seen(50, asked(0.9));  // all failed
  const double fresh = correct(asked(0.9), learn(seen, stocks)).odds;
  for (Outcome& each : seen) each.days_ago = 90.0;  // half as much as 50 of today: as 25
  const double faded = correct(asked(0.9), learn(seen, stocks)).odds;
  const double half = correct(asked(0.9), learn(std::vector<Outcome>(25, asked(0.9)), stocks)).odds;
  EXPECT_NEAR(faded, half, 1e-9);
  EXPECT_LT(fresh, faded);
  for (Outcome& each : seen) each.days_ago = 90.0 * 30.0;
  EXPECT_NEAR(correct(asked(0.9), learn(seen, stocks)).odds, 0.9, 1e-6);
}

TEST(Recalibration, AnOutcomeInDoubtCountsAsItsShare) {
  std::vector<Outcome> doubtful(40, asked(0.7)), sure(40, asked(0.7));
  for (std::size_t i = 0; i < sure.size(); ++i) {
    doubtful[i].good = 0.75;
    sure[i].good = i % 4 == 0 ? 0.0 : 1.0;
  }
  const Recalibration one = learn(doubtful, stocks), other = learn(sure, stocks);
  for (std::size_t i = 0; i < one.weight.size(); ++i)
    EXPECT_NEAR(one.weight[i], other.weight[i], 1e-9);
}

TEST(Recalibration, AStockThatFailsMoreIsTold) {
  std::vector<Outcome> seen;
  for (int i = 0; i < 400; ++i) {
    seen.push_back(asked(0.9));
    seen.back().stock = i % stocks;
    // Nine in ten, but every other one with stock 2.
    seen.back().good = i % stocks == 2 ? (i / stocks) % 2 : (i / stocks) % 10 != 0;
  }
  const Recalibration learned = learn(seen, stocks);
  Outcome with_two = asked(0.9), with_one = asked(0.9);
  with_two.stock = 2;
  EXPECT_LT(correct(with_two, learned).odds + 0.1, correct(with_one, learned).odds);
}

TEST(Recalibration, SurestOddsAreNoTrouble) {
  std::vector<Outcome> seen;
  for (int i = 0; i < 30; ++i) {
    seen.push_back(asked(i % 2));
    seen.back().margin_sd = 1e9;
    seen.back().age_days = 1e6;
    seen.back().least_dose_ratio = 1e9;
    seen.back().good = 1.0 - i % 2;  // always the other way
  }
  const Recalibration learned = learn(seen, stocks);
  for (const double odds : {0.0, 0.5, 1.0}) {
    const Corrected corrected = correct(asked(odds), learned);
    EXPECT_TRUE(corrected.low >= 0.0 && corrected.low <= corrected.odds);
    EXPECT_TRUE(corrected.high <= 1.0 && corrected.high >= corrected.odds);
  }
}

// ---- worlds
// --------------------------------------------------------------------------------------

struct Judged {
  Tenths corrected, predicted;
};

/// Learns in each world from so many top-ups of a policy that takes odds of at least `least`, then
/// judges a hundred more.
Judged worlds(int count, std::uint64_t seed, double times, int outcomes, double least, Aim aim) {
  support::Random random(seed);
  Judged judged;
  for (int world = 0; world < count; ++world) {
    const Recalibration learned = learn(made_topups(random, times, outcomes, least, aim), stocks);
    judged.corrected.begin_world();
    judged.predicted.begin_world();
    for (const Outcome& each : made_topups(random, times, 100, least, aim)) {
      judged.corrected.add(correct(each, learned).odds, each.good);
      judged.predicted.add(each.odds, each.good);
    }
  }
  return judged;
}

std::string told(const Tenths& tenths) {
  std::string text;
  for (std::size_t t = 0; t < 10; ++t)
    text += std::to_string(t) + ": " + std::to_string(tenths.gap(t)) + " +- " +
            std::to_string(tenths.u_gap(t)) + " of " + std::to_string(tenths.count(t)) + "\n";
  return text;
}

/// Of tenths with 2,500 top-ups or more, whose gap is known to one point or so.
void expect_within_three_points(const Tenths& tenths) {
  for (std::size_t t = 0; t < 10; ++t)
    if (tenths.count(t) >= 2'500) {
      EXPECT_LT(std::abs(tenths.gap(t)), 0.03) << "tenth " << t << "\n" << told(tenths);
    }
}

/// 100 worlds see a gap of two points in the surest tenth. About one point of hope is left there:
/// 200 outcomes do not quite outweigh the prior. It is known, written down in
/// docs/method/learning.md, and bounded by the next test, which sees it and holds it to the three
/// points that are allowed.
TEST(RecalibrationInWorlds, OfASpreadHalfAsWideAgainOddsAreRightAfterTwoHundredOutcomes) {
  const Judged judged = worlds(100, 921, 1.5, 200, 0.0, Aim::middle);
  EXPECT_TRUE(judged.predicted.some_is_off()) << told(judged.predicted);
  EXPECT_GT(judged.predicted.gap(9), 0.05);  // too hopeful
  EXPECT_FALSE(judged.corrected.some_is_off()) << "seed 921\n" << told(judged.corrected);
}

TEST(RecalibrationInWorlds, OfASpreadHalfAsWideAgainWithinThreePoints) {
  const Judged judged = worlds(support::trials(300, 1'500), 927, 1.5, 200, 0.0, Aim::middle);
  expect_within_three_points(judged.corrected);
  EXPECT_LT(judged.corrected.gap(9), 0.02) << "seed 927\n" << told(judged.corrected);
}

/// With limits anywhere the same odds stand for one limit near or for two, and a wider spread moves
/// them apart by more than odds and margin can tell: what is left is within three points.
TEST(RecalibrationInWorlds, OfAimsAnywhereWithinThreePoints) {
  const Judged judged = worlds(support::trials(200, 1'000), 922, 1.5, 200, 0.0, Aim::anywhere);
  EXPECT_GT(judged.predicted.gap(8), 0.09);
  expect_within_three_points(judged.corrected);
}

TEST(RecalibrationInWorlds, OfTheStatedSpreadOddsStayRight) {
  for (const int outcomes : {5, 20, 200}) {
    SCOPED_TRACE("seed 923, outcomes " + std::to_string(outcomes));
    const Judged judged = worlds(100, 923, 1.0, outcomes, 0.0, Aim::middle);
    EXPECT_FALSE(judged.predicted.some_is_off()) << told(judged.predicted);
    EXPECT_FALSE(judged.corrected.some_is_off()) << told(judged.corrected);
    expect_within_three_points(judged.corrected);
  }
}

/// Only vials that were topped up show whether the odds were right. Which ones those were was
/// chosen by their odds, and the odds are what the regression holds fixed: given the odds the
/// choice says nothing more about success, so that it does not tilt what is learned.
TEST(RecalibrationInWorlds, ChoosingByOddsDoesNotTiltWhatIsLearned) {
  const Judged judged = worlds(100, 924, 1.5, 200, 0.7, Aim::middle);
  EXPECT_TRUE(judged.predicted.some_is_off());
  EXPECT_FALSE(judged.corrected.some_is_off()) << "seed 924\n" << told(judged.corrected);
  expect_within_three_points(judged.corrected);
}

/// What choosing would do if vials that were never topped up counted as failures: the test of the
/// test above.
TEST(RecalibrationInWorlds, CountingWhatWasNotTriedWouldTilt) {
  support::Random random(926);
  Tenths tenths;
  for (int world = 0; world < 50; ++world) {
    std::vector<Outcome> all = made_topups(random, 1.0, 300, 0.0, Aim::middle);
    for (Outcome& each : all)
      if (each.odds < 0.7) each.good = 0.0;
    const Recalibration learned = learn(all, stocks);
    tenths.begin_world();
    for (const Outcome& each : made_topups(random, 1.0, 100, 0.0, Aim::middle))
      tenths.add(correct(each, learned).odds, each.good);
  }
  EXPECT_TRUE(tenths.some_is_off());
}

/// The 95 % interval holds the true chance of success about as often as it says.
TEST(RecalibrationInWorlds, IntervalsHoldTheTruth) {
  support::Random random(925);
  const int count = support::trials(300, 1'500);
  int held = 0, asked_of = 0;
  for (int world = 0; world < count; ++world) {
    const double times = std::exp(0.25 * random.normal());  // worlds as the prior has them
    const Recalibration learned = learn(made_topups(random, times, 100, 0.5, Aim::middle), stocks);
    const double below = random.uniform(0.5, 3.0), above = random.uniform(0.5, 3.0);
    Outcome now = asked(normal_share(above) - normal_share(-below));
    now.margin_sd = std::min(below, above);
    const double truth = normal_share(above / times) - normal_share(-below / times);
    const Corrected corrected = correct(now, learned);
    held += truth >= corrected.low && truth <= corrected.high ? 1 : 0;
    ++asked_of;
  }
  // 95 % less three standard errors (1.3 points) as the floor; covariates that these worlds do not
  // have only widen it.
  EXPECT_GT(static_cast<double>(held) / asked_of, 0.95 - 3.0 * std::sqrt(0.95 * 0.05 / asked_of))
      << "seed 925";
}

}  // namespace
}  // namespace vialwright::outcomes
