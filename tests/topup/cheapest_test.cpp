#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "support/random.hpp"
#include "topup/d0.hpp"

namespace vialwright::topup::testing {
namespace {

using recipe::ToleranceOn;
using ::testing::HasSubstr;

/// Amount of a stock in a top-up, 0 when it is not added.
double grams_of(const Topup& topup, int stock) {
  for (const Addition& each : topup.additions)
    if (each.stock == stock) return each.amount_g;
  return 0.0;
}

Topup asked(const D0& d0, const contents::Belief& vial, const recipe::Recipe& recipe) {
  return cheapest(vial, recipe, d0.means, d0.plant, d0.book);
}

// The worked cases are computed for this project by hand, inputs as in D0;
// each printed digit follows by hand from target, tolerance and mass.
TEST(WorkedCases, TealEightPercentOverNeedsMoreLiquidThanTwentyGramsAllow) {
  const D0 d0;
  const Topup topup = asked(d0, d0.vial(0.160, 0.0648), d0.green(19.5, 20.5));
  EXPECT_EQ(topup.outcome, Outcome::impossible);
  // 0.0648 mg / (0.0030 mg/g x 1.03) = 20.971 g
  EXPECT_EQ(topup.because, "teal: needs at least 20.97 g of liquid, the recipe allows 20.50 g");
  EXPECT_TRUE(topup.additions.empty());
}

TEST(WorkedCases, AnOrderOfTwentyOneGramsTakesItWithSixMilligramsOfYellow) {
  const D0 d0;
  const Topup topup = asked(d0, d0.vial(0.160, 0.0648), d0.green(20.5, 21.5));
  ASSERT_EQ(topup.outcome, Outcome::found);
  // Half of the last printed digit: 20.971 g, 5.5 mg of yellow stock.
  EXPECT_NEAR(topup.total_g, 20.971, 5e-4);
  EXPECT_NEAR(grams_of(topup, D0::yellow), 0.0055, 5e-5);
  EXPECT_NEAR(grams_of(topup, D0::base), 20.971 - 20.0 - 0.0055, 6e-4);
  EXPECT_EQ(grams_of(topup, D0::teal), 0.0);
  EXPECT_EQ(topup.binding,
            "content of yellow at its lower limit and content of teal at its upper limit");
}

TEST(WorkedCases, TealFortyPercentOverDoesNotFitTheVial) {
  const D0 d0;
  const Topup topup = asked(d0, d0.vial(0.160, 0.084), d0.green(19.5, 40.0));
  EXPECT_EQ(topup.outcome, Outcome::impossible);
  EXPECT_EQ(topup.because, "teal: needs at least 27.18 g of liquid, the container allows 24.00 g");
}

TEST(WorkedCases, RejectionForOneProductIsStockForAnother) {
  const D0 d0;
  const Topup topup = asked(d0, d0.vial(0.160, 0.084), d0.green(20.5, 21.5, 0.03, 0.0100, 0.0042));
  EXPECT_EQ(topup.outcome, Outcome::found);
}

// Odds of stated plans, same source; "exact (quadrature)", so half of the last printed digit plus
// the 1e-3 that the integral promises at most. The net mass is left out of the recipe as there.
double odds_percent(const D0& d0, const contents::Belief& vial, recipe::Recipe recipe,
                    const std::vector<Addition>& plan) {
  std::erase_if(recipe.tolerances, [](const recipe::Tolerance& line) {
    return line.on == ToleranceOn::net_mass || line.of == D0::rose_dye;
  });
  return 100.0 * odds_of(vial, recipe, plan, d0.plant, d0.book).value;
}

TEST(WorkedCases, TheLeastMassPlanSucceedsTwentyEightTimesInAHundredAndTheMiddleOneNinetySeven) {
  const D0 d0;
  const auto vial = d0.vial(0.160, 0.0648);
  const auto recipe = d0.green(20.5, 21.5);
  EXPECT_NEAR(
      odds_percent(d0, vial, recipe, {d0.dose(D0::base, 0.94587), d0.dose(D0::yellow, 0.025)}),
      27.9, 0.15);
  EXPECT_NEAR(odds_percent(d0, vial, recipe, {d0.dose(D0::base, 1.40), d0.dose(D0::yellow, 0.025)}),
              97.1, 0.15);
}

TEST(WorkedCases, DarkGreenFromTheFortyPercentVialSucceedsAlmostAlways) {
  const D0 d0;
  const double odds = odds_percent(
      d0, d0.vial(0.160, 0.084), d0.green(20.5, 21.5, 0.03, 0.0100, 0.0042),
      {d0.dose(D0::yellow, 0.108), d0.dose(D0::teal, 0.030), d0.dose(D0::base, 1.262)});
  EXPECT_NEAR(odds, 99.5, 0.15);
}

TEST(WorkedCases, UnderStrengthIsEasy) {
  const D0 d0;
  EXPECT_NEAR(
      odds_percent(d0, d0.vial(0.160, 0.054), d0.green(19.5, 20.5), {d0.dose(D0::teal, 0.030)}),
      98.3, 0.15);
}

// ---- what may be added -------------------------------------------------------------------------

TEST(Cheapest, NothingIsNeededWhereTheRecipeHolds) {
  const D0 d0;
  const Topup topup = asked(d0, d0.vial(0.160, 0.060), d0.green(19.5, 20.5));
  EXPECT_EQ(topup.outcome, Outcome::nothing_needed);
  EXPECT_TRUE(topup.additions.empty());
  EXPECT_EQ(topup.cost, 0.0);
  EXPECT_GT(topup.odds.value,
            0.99);  // 3 % are 3.5 standard uncertainties of 0.85 %, twice two-sided
}

TEST(Cheapest, AStockThatIsNotLoadedIsNamed) {
  D0 d0;
  std::erase_if(d0.means.loaded, [](const Addition& each) { return each.stock == D0::teal; });
  const Topup topup = asked(d0, d0.vial(0.160, 0.050), d0.green(19.5, 20.5));
  EXPECT_EQ(topup.outcome, Outcome::not_permitted);
  EXPECT_THAT(topup.because, HasSubstr("no lot of teal is loaded"));
}

TEST(Cheapest, AStockThatTheRecipeDoesNotPermitIsNamed) {
  const D0 d0;
  recipe::Recipe green = d0.green(19.5, 20.5);
  std::erase(green.stocks, static_cast<int>(D0::teal));
  const Topup topup = asked(d0, d0.vial(0.160, 0.050), green);
  EXPECT_EQ(topup.outcome, Outcome::not_permitted);
  EXPECT_THAT(topup.because, HasSubstr("the recipe does not permit teal"));
}

TEST(Cheapest, StocksMayNotMeetUnlessTheBookSaysSo) {
  D0 d0;
  std::erase_if(d0.book.may_meet, [](const recipe::MayMeet& pair) {
    return pair.one == D0::yellow && pair.other == D0::teal;
  });
  const Topup topup = asked(d0, d0.vial(0.160, 0.050), d0.green(19.5, 20.5));
  EXPECT_EQ(topup.outcome, Outcome::not_permitted);
  EXPECT_THAT(topup.because, HasSubstr("teal may not meet yellow, which is in the vial"));
}

TEST(Cheapest, AdditionsMayNotMeetEachOtherEither) {
  D0 d0;
  std::erase_if(d0.book.may_meet, [](const recipe::MayMeet& pair) {
    return pair.one == D0::yellow && pair.other == D0::teal;
  });
  // A vial of base alone: either dye may be added, not both.
  contents::Belief vial = d0.vial(0.0, 0.0);
  const Topup both = asked(d0, vial, d0.green(20.0, 23.0));
  EXPECT_EQ(both.outcome, Outcome::not_permitted);
  EXPECT_THAT(both.because, HasSubstr("may not meet each other"));
  recipe::Recipe one = d0.green(20.0, 23.0);
  std::erase_if(one.tolerances, [](const recipe::Tolerance& line) {
    return line.on == ToleranceOn::content && line.of == D0::teal_dye;
  });
  EXPECT_EQ(asked(d0, vial, one).outcome, Outcome::found);
}

TEST(Cheapest, WhatTheRecipeDoesNotKnowMayNotBeInTheVial) {
  const D0 d0;
  recipe::Recipe yellow_only = d0.green(19.5, 20.5);
  std::erase_if(yellow_only.tolerances,
                [](const recipe::Tolerance& line) { return line.of == D0::teal_dye; });
  yellow_only.stocks = {D0::base, D0::yellow};
  const Topup topup = asked(d0, d0.vial(0.160, 0.060), yellow_only);
  EXPECT_EQ(topup.outcome, Outcome::not_permitted);
  EXPECT_THAT(topup.because, HasSubstr("0.06 mg of teal is in the vial"));
}

TEST(Cheapest, AnotherContainerIsNotPermitted) {
  D0 d0;
  d0.plant.containers.push_back({});
  d0.plant.containers.back().id = "vial 10";
  d0.means.container = 1;
  const Topup topup = asked(d0, d0.vial(0.160, 0.0648), d0.green(20.5, 21.5));
  EXPECT_EQ(topup.outcome, Outcome::not_permitted);
  EXPECT_THAT(topup.because, HasSubstr("vial 24"));
}

TEST(Cheapest, TheLargestDoseBinds) {
  D0 d0;
  d0.plant.stations[D0::base].largest_dose_g = 0.5;
  const Topup topup = asked(d0, d0.vial(0.160, 0.0648), d0.green(20.5, 21.5));
  EXPECT_EQ(topup.outcome, Outcome::impossible);
  d0.plant.stations[D0::base].largest_dose_g = 1.0;
  const Topup wider = asked(d0, d0.vial(0.160, 0.0648), d0.green(20.99, 21.5));
  ASSERT_EQ(wider.outcome, Outcome::found);
  EXPECT_LE(grams_of(wider, D0::base), 1.0 + 1e-9);
}

TEST(Cheapest, VolumeOfTheContainerBinds) {
  D0 d0;
  d0.plant.containers[0].largest_fill_ml = 20.9;
  const Topup topup = asked(d0, d0.vial(0.160, 0.0648), d0.green(20.5, 21.5));
  EXPECT_EQ(topup.outcome, Outcome::impossible);
  EXPECT_EQ(topup.because,
            "teal: needs at least 20.97 g of liquid, the container's volume allows 20.90 g");
}

TEST(Cheapest, VisitsAreCountedInTheCost) {
  D0 d0;
  const auto vial = d0.vial(0.160, 0.0648);
  const Topup free = asked(d0, vial, d0.green(20.5, 21.5));
  d0.plant.prices.visit = 0.25;
  const Topup paid = asked(d0, vial, d0.green(20.5, 21.5));
  ASSERT_EQ(paid.additions.size(), 2u);
  EXPECT_NEAR(paid.cost, free.cost + 2 * 0.25, 1e-12);
}

TEST(Cheapest, AMissingComponentThatNothingBringsIsSaidSo) {
  D0 d0;
  recipe::Recipe rosy = d0.green(19.5, 23.0);
  rosy.tolerances[2] = {ToleranceOn::content, D0::rose_dye, 0.001, 0.001, 0.002};
  for (auto& strength : d0.book.lots[D0::rose].strengths) strength.mg_per_g = 0.0;
  const Topup topup = asked(d0, d0.vial(0.160, 0.060), rosy);
  EXPECT_EQ(topup.outcome, Outcome::impossible);
  EXPECT_THAT(topup.because, HasSubstr("content of rose: 0 mg/g is in it"));
  EXPECT_THAT(topup.because, HasSubstr("no stock that can be added brings it"));
}

TEST(Cheapest, TooHeavyCannotBeMended) {
  const D0 d0;
  const Topup topup = asked(d0, d0.vial(0.160, 0.060), d0.green(18.0, 19.5));
  EXPECT_EQ(topup.outcome, Outcome::impossible);
  EXPECT_EQ(topup.because,
            "net mass: 20.00 g is in it, the recipe allows 19.50 g, and nothing can be taken out");
}

// ---- lines that only the general programme knows -----------------------------------------------

/// Every line of the recipe at the mean after the additions; 1e-9 of the line's size.
void expect_all_lines_hold(const D0& d0, const contents::Belief& vial, const recipe::Recipe& recipe,
                           const Topup& topup) {
  const contents::Belief then = after(vial, topup.additions, d0.plant, d0.book);
  const double net = then.mean[then.net()], volume = then.mean[then.volume()];
  for (const recipe::Tolerance& line : recipe.tolerances) {
    double value = 0.0;
    switch (line.on) {
      case ToleranceOn::content:
        value = then.mean[then.component(line.of)] / net;
        break;
      case ToleranceOn::concentration:
        value = then.mean[then.component(line.of)] / volume;
        break;
      case ToleranceOn::component_mass:
        value = then.mean[then.component(line.of)];
        break;
      case ToleranceOn::stock_mass:
        value = then.mean[then.stock(line.of)];
        break;
      case ToleranceOn::net_mass:
        value = net;
        break;
      case ToleranceOn::volume:
        value = volume;
        break;
      case ToleranceOn::colour:
        FAIL() << "these recipes have no colours";
    }
    const double slack = 1e-9 * std::abs(value);
    EXPECT_GE(value, line.low - slack) << recipe::name_of(line, d0.book);
    EXPECT_LE(value, line.high + slack) << recipe::name_of(line, d0.book);
  }
}

TEST(Cheapest, EveryKindOfLineHoldsAfterTheAdditions) {
  const D0 d0;
  const auto vial = d0.vial(0.150, 0.0648);
  recipe::Recipe recipe = d0.green(20.5, 22.0);
  recipe.tolerances.push_back({ToleranceOn::volume, -1, 21.2, 21.4, 21.6});
  recipe.tolerances.push_back({ToleranceOn::concentration, D0::yellow_dye, 0.0079, 0.008, 0.0081});
  recipe.tolerances.push_back({ToleranceOn::component_mass, D0::teal_dye, 0.0640, 0.065, 0.0660});
  recipe.tolerances.push_back({ToleranceOn::stock_mass, D0::yellow, 0.33, 0.34, 0.36});
  const Topup topup = asked(d0, vial, recipe);
  ASSERT_EQ(topup.outcome, Outcome::found);
  expect_all_lines_hold(d0, vial, recipe, topup);
}

TEST(Cheapest, TwoStocksOfOneComponentShareTheWork) {
  D0 d0;
  // A second, weaker and cheaper teal: it brings its own liquid, which the net mass limits.
  recipe::Stock weak = d0.book.stocks[D0::teal];
  weak.id = "weak teal";
  weak.price_per_g = 0.01;
  d0.book.stocks.push_back(weak);
  recipe::Lot lot = d0.book.lots[D0::teal];
  lot.stock = 4;
  lot.strengths[D0::teal_dye].mg_per_g = 0.02;
  d0.book.lots.push_back(lot);
  for (int other = 0; other < 4; ++other) d0.book.may_meet.push_back({other, 4});
  d0.means.loaded.push_back({4, 4, D0::base, 0.0});
  contents::Belief vial = d0.vial(0.160, 0.0450);
  contents::Belief wider = vial;
  wider.stocks = 5;
  wider.mean.setZero(10);
  wider.covariance.setZero(10, 10);
  wider.mean.head(7) = vial.mean.head(7);
  wider.mean.tail(2) = vial.mean.tail(2);
  recipe::Recipe green = d0.green(19.5, 20.5);
  green.stocks.push_back(4);
  const Topup topup = asked(d0, wider, green);
  ASSERT_EQ(topup.outcome, Outcome::found);
  EXPECT_GT(grams_of(topup, D0::teal), 0.0);
  EXPECT_GT(grams_of(topup, 4), 0.0);
  expect_all_lines_hold(d0, wider, green, topup);
  // By hand: a teal, b weak, T = 20.5; 0.045 + 0.2 a + 0.02 b = 0.00291 T with a + b = 0.5 needs
  // 0.18 a = 0.014655 - 0.01, so a = 0.02586 g, unless less liquid is cheaper: weak teal costs
  // 0.01 and saves 0.02 / 0.2 x 0.20 = 0.02 of teal a gram, so liquid pays up to the limit, less
  // the yellow that it then takes (0.16 mg are enough for 20.62 g).
  EXPECT_NEAR(grams_of(topup, D0::teal), (0.00291 * 20.5 - 0.045 - 0.01) / 0.18, 1e-9);
}

TEST(Cheapest, AConflictThatNoSingleLineExplainsNamesTheLines) {
  const D0 d0;
  recipe::Recipe recipe = d0.green(20.5, 22.0);
  recipe.tolerances.push_back({ToleranceOn::component_mass, D0::teal_dye, 0.0, 0.05, 0.0650});
  recipe.tolerances.push_back({ToleranceOn::volume, -1, 23.0, 23.5, 24.0});
  const Topup topup = asked(d0, d0.vial(0.160, 0.0648), recipe);
  EXPECT_EQ(topup.outcome, Outcome::impossible);
  EXPECT_THAT(topup.because, HasSubstr("volume"));
}

// ---- what is told is not what falls
// --------------------------------------------------------------

/// The base station gets a meter that this vial's evidence has shown to read 2 % high and 0.01 g
/// too much.
contents::Belief with_biased_meter(D0& d0, contents::Belief vial) {
  plant::Instrument meter;
  meter.id = "meter of base";
  meter.kind = plant::InstrumentKind::mass_meter;
  meter.u_gain = 0.01;
  meter.u_offset = 0.005;
  d0.plant.instruments.push_back(meter);
  d0.plant.stations[D0::base].meters = {meter.id};
  vial.effects = {{contents::Effect::Kind::gain, 0, -1}, {contents::Effect::Kind::offset, 0, -1}};
  vial.mean.conservativeResize(11);
  vial.mean.tail(2) << 0.02, 0.01;
  const Eigen::MatrixXd known = vial.covariance;
  vial.covariance.setZero(11, 11);
  vial.covariance.topLeftCorner(9, 9) = known;
  vial.covariance.diagonal().tail(2) << 1e-6, 1e-6;
  return vial;
}

TEST(Cheapest, TellsTheStationMoreWhereItsMeterReadsHigh) {
  D0 d0;
  const contents::Belief plain = d0.vial(0.160, 0.0648);
  const recipe::Recipe recipe = d0.green(20.5, 21.5);
  const double straight = grams_of(asked(d0, plain, recipe), D0::base);
  const contents::Belief biased = with_biased_meter(d0, plain);
  const Topup topup = asked(d0, biased, recipe);
  ASSERT_EQ(topup.outcome, Outcome::found);
  // The meter shows x (1 + 0.02) + 0.01 when x is in the vial, and stops there.
  EXPECT_NEAR(grams_of(topup, D0::base), straight * 1.02 + 0.01, 1e-9);
  expect_all_lines_hold(d0, biased, recipe, topup);
}

TEST(Cheapest, EveryFoundTopupMeetsEveryLineOnPaper) {
  support::Random random(20281);
  D0 d0;
  const contents::Belief shape = with_biased_meter(d0, d0.vial(0.160, 0.060));
  int found = 0;
  for (int i = 0; i < 3'000; ++i) {
    SCOPED_TRACE("vial " + std::to_string(i));
    contents::Belief vial = shape;
    const contents::Belief dyes = d0.vial(random.uniform(0.08, 0.2), random.uniform(0.02, 0.08));
    vial.mean.head(9) = dyes.mean;
    const double low = random.uniform(19.5, 23.0);
    recipe::Recipe recipe = d0.green(low, low + random.uniform(0.0, 2.0), random.uniform(0.0, 0.1));
    if (random.below(2) == 0) {
      const double ml = random.uniform(19.5, 23.0);
      recipe.tolerances.push_back({ToleranceOn::volume, -1, ml, ml + 0.5, ml + 1.0});
    }
    const Topup topup = asked(d0, vial, recipe);
    if (topup.outcome == Outcome::found) {
      ++found;
      expect_all_lines_hold(d0, vial, recipe, topup);
    } else if (topup.outcome == Outcome::impossible) {
      EXPECT_FALSE(topup.because.empty());
    }
  }
  EXPECT_GT(found, 300);
}

// 0.00291 x 20.02 - 0.054 = 0.00426 mg of teal, 0.0213 g of stock: what the paper asks for.
TEST(Cheapest, NamesTheDoseThatIsTooSmall) {
  D0 d0;
  d0.plant.stations[D0::teal].least_dose_g = 0.025;
  const Topup topup =
      cheapest(d0.vial(0.160, 0.054), d0.green(19.5, 20.5), d0.means, d0.plant, d0.book);
  EXPECT_EQ(topup.outcome, Outcome::found);
  EXPECT_FALSE(topup.dosable);
  EXPECT_EQ(topup.because, "0.0213 g of teal is less than teal station can dose (0.0250 g)");
}

}  // namespace
}  // namespace vialwright::topup::testing
