/// What holds of any recorded shift.

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <set>
#include <string>

#include "twin/small_line.hpp"

namespace vialwright::twin {
namespace {

using small::Heard;

TEST(TwinShift, SameSeedSameBytesOtherSeedOthers) {
  const Shift one = small::record(small::plan(11, 40));
  const Shift again = small::record(small::plan(11, 40));
  const Shift other = small::record(small::plan(12, 40));
  EXPECT_EQ(one.lines, again.lines);
  EXPECT_EQ(one.received, again.received);
  EXPECT_EQ(one.truth_json, again.truth_json);
  EXPECT_NE(one.lines, other.lines);
  EXPECT_NE(one.truth_json, other.truth_json);
}

TEST(TwinShift, EveryLineReadsBackAndIsCanonical) {
  const Shift shift = small::record(small::plan(13, 60));
  ASSERT_EQ(small::heard(shift).size(), shift.lines.size());
  for (const std::string& line : shift.lines) {
    const auto canonical = event::canonical(line, "line");
    ASSERT_TRUE(canonical.has_value());
    ASSERT_EQ(*canonical, line);
  }
  EXPECT_TRUE(event::canonical(shift.truth_json, "truth").has_value());
}

TEST(TwinShift, WithoutFaultsSourcesCountWithoutGapsAndArriveInOrder) {
  std::map<std::string, std::uint64_t> last;
  std::map<std::string, Instant> last_time;
  std::set<std::pair<std::string, std::string>> ids;
  const Shift shift = small::record(small::plan(14, 80));
  Instant before{0};
  for (const Heard& one : small::heard(shift)) {
    ASSERT_EQ(one.event.sequence, ++last[one.event.source]) << one.line;
    ASSERT_TRUE(ids.insert({one.event.source, one.event.id}).second) << one.line;
    ASSERT_GE(one.event.time, last_time[one.event.source]) << one.line;
    ASSERT_GE(one.received, before) << one.line;
    // Links take 200 ms at the most on average, clocks are 50 ms fast at the most and drift little.
    const double late = quantity::seconds_between(one.event.time, one.received);
    ASSERT_GT(late, -0.15) << one.line;
    ASSERT_LT(late, 5.0) << one.line;
    last_time[one.event.source] = one.event.time;
    before = one.received;
  }
  EXPECT_GE(last.size(), 10U);  // sources
}

TEST(TwinShift, AVialIsMadeStepByStep) {
  const Shift shift = small::record(small::plan(15, 30));
  const auto all = small::heard(shift);
  const VialTruth& vial = shift.truth[7];
  EXPECT_EQ(small::about<event::VialRegistered>(all, vial.serial).size(), 1U);
  const auto bound = small::about<event::VialBound>(all, vial.serial);
  ASSERT_EQ(bound.size(), 1U);
  EXPECT_EQ(bound[0].order, "O-8");
  EXPECT_EQ(bound[0].recipe, "pale");
  EXPECT_EQ(small::about<event::CarrierBound>(all, vial.serial).size(), 2U);  // on and off
  EXPECT_EQ(small::about<event::VialMoved>(all, vial.serial).size(), 2U);
  ASSERT_EQ(small::about<event::DoseCommanded>(all, vial.serial).size(), 2U);
  EXPECT_NEAR(small::about<event::DoseCommanded>(all, vial.serial)[0].amount_g, 18.0, 1e-9);
  EXPECT_EQ(small::about<event::DoseMetered>(all, vial.serial).size(), 3U);
  EXPECT_EQ(small::about<event::TankRead>(all, vial.serial).size(), 2U);
  EXPECT_EQ(small::about<event::VialMixed>(all, vial.serial).size(), 1U);
  EXPECT_EQ(small::about<event::LevelRead>(all, vial.serial).size(), 1U);
  ASSERT_EQ(small::about<event::TareRead>(all, vial.serial).size(), 1U);
  EXPECT_EQ(small::about<event::TareRead>(all, vial.serial)[0].instrument, "empties");
  ASSERT_GE(small::about<event::GrossRead>(all, vial.serial).size(), 1U);
  EXPECT_EQ(small::about<event::GrossRead>(all, vial.serial)[0].instrument, "fulls");
  EXPECT_EQ(small::about<event::VialCapped>(all, vial.serial).size(), 1U);
}

TEST(TwinShift, AVialTakesTwoToThreeMinutesAndOthersAreMadeMeanwhile) {
  const auto all = small::heard(small::record(small::plan(16, 60)));
  std::map<std::string, Instant> from, to;
  for (const Heard& one : all) {
    if (std::holds_alternative<event::VialRegistered>(one.event.data)) {
      from[one.event.subject] = one.event.time;
    }
    if (std::holds_alternative<event::VialCapped>(one.event.data)) {
      to[one.event.subject] = one.event.time;
    }
  }
  ASSERT_EQ(to.size(), 60U);
  for (const auto& [serial, end] : to) {
    const double minutes = quantity::seconds_between(from[serial], end) / 60.0;
    EXPECT_GT(minutes, 0.8) << serial;  // two stations are few
    EXPECT_LT(minutes, 3.5) << serial;
  }
  EXPECT_LT(from["V00002"], to["V00001"]);
}

TEST(TwinShift, RecipesOrdersLotsAndCalibrationsComeBeforeTheirUse) {
  const auto all = small::heard(small::record(small::plan(17, 30)));
  std::set<std::string> recipes, orders, lots, calibrated;
  for (const Heard& one : all) {
    const event::Data& data = one.event.data;
    if (const auto* is = std::get_if<event::RecipePublished>(&data)) recipes.insert(is->recipe);
    if (const auto* is = std::get_if<event::OrderPlaced>(&data)) {
      EXPECT_TRUE(recipes.count(is->recipe)) << one.line;
      orders.insert(is->order);
    }
    if (const auto* is = std::get_if<event::LotLoaded>(&data)) lots.insert(is->lot);
    if (const auto* is = std::get_if<event::CalibrationMade>(&data)) {
      calibrated.insert(is->instrument);
    }
    if (const auto* is = std::get_if<event::VialBound>(&data)) {
      EXPECT_TRUE(orders.count(is->order)) << one.line;
    }
    if (const auto* is = std::get_if<event::DoseCommanded>(&data)) {
      EXPECT_TRUE(lots.count(is->lot)) << one.line;
    }
    if (const auto* is = std::get_if<event::DoseMetered>(&data)) {
      EXPECT_TRUE(calibrated.count(is->instrument)) << one.line;
    }
  }
  EXPECT_EQ(orders.size(), 30U);
}

TEST(TwinShift, TheTruthBalances) {
  for (const double hardness : {0.0, 1.0}) {
    const Shift shift = small::record(small::plan(18, 100, hardness));
    for (const VialTruth& vial : shift.truth) {
      SCOPED_TRACE(vial.serial);
      EXPECT_NEAR(vial.stock_g[0] + vial.stock_g[1] - vial.evaporated_g, vial.net_g, 1e-9);
      EXPECT_GT(vial.evaporated_g, 0.0);
      EXPECT_LT(vial.evaporated_g, 0.01);  // minutes open at 9 mg/h, then capped
      // Every gram of stock is 998.0 or 994.5 mg of what the book lists, to 4 u of the lots.
      const double listed_mg = vial.component_mg[0] + vial.component_mg[1];
      const double told_mg = 998.0 * vial.stock_g[0] + 994.5 * vial.stock_g[1];
      EXPECT_NEAR(listed_mg, told_mg - 1000.0 * vial.evaporated_g, 20.0 * 5.0);
    }
  }
}

// The net from two scales, corrected by (1 - a / 8000) / (1 - a / s), OIML R 111, is the truth but
// for the scales' own errors: offsets 4.5 mg, repeatability and rounding 4.5 mg.
TEST(TwinShift, ReadingsTellTheTruthWithinTheirUncertainty) {
  const int worlds = 60;
  double sum = 0.0, squares = 0.0;
  for (int seed = 0; seed < worlds; ++seed) {
    const Shift shift = small::record(small::plan(static_cast<std::uint64_t>(seed), 1, 0.0));
    const auto all = small::heard(shift);
    const VialTruth& vial = shift.truth[0];
    const double tare = small::about<event::TareRead>(all, vial.serial)[0].mass_g;
    const double gross = small::about<event::GrossRead>(all, vial.serial)[0].mass_g;
    const double factor = (1.0 - 1.19 / 8000.0) / (1.0 - 1.19 / 1001.0);  // air to 1 %: 0.2 mg
    // By the gross reading minutes of evaporation are over; the cap and the end lose 0.1 mg more.
    const double error = (gross - tare) * factor - vial.net_g;
    sum += error;
    squares += error * error;
  }
  const double u = std::sqrt(0.002 * 0.002 + 0.004 * 0.004 + 0.001 * 0.001 + 0.004 * 0.004 +
                             (0.001 * 0.001 + 0.005 * 0.005) / 12.0);
  EXPECT_NEAR(sum / worlds, 0.0, 4.0 * u / std::sqrt(worlds));
  EXPECT_NEAR(std::sqrt(squares / worlds) / u, 1.0, 4.0 / std::sqrt(2.0 * worlds));
}

TEST(TwinShift, VialsBeyondTheOrdersAreBoundToNone) {
  const ShiftPlan plan = small::plan(19, 5);
  const Shift shift =
      record_shift(small::plant(), small::book(), small::recipes(), small::orders(3), plan);
  const auto all = small::heard(shift);
  EXPECT_EQ(small::about<event::VialBound>(all, "V00003").size(), 1U);
  EXPECT_EQ(small::about<event::VialBound>(all, "V00004").size(), 0U);
  EXPECT_EQ(small::about<event::GrossRead>(all, "V00004").empty(), false);
  EXPECT_TRUE(shift.truth[3].order.empty());
}

TEST(TwinShift, MeetsIsTheRecipesOwnLimits) {
  const Shift shift = small::record(small::plan(20, 1, 0.0));
  VialTruth vial = shift.truth[0];
  recipe::Recipe recipe = small::recipes()[1];
  vial.net_g = 20.0;
  vial.component_mg[0] = 3.0;  // 0.15 mg/g
  EXPECT_TRUE(meets(vial, recipe));
  vial.component_mg[0] = 3.1;  // 3.3 % over
  EXPECT_FALSE(meets(vial, recipe));
  vial.component_mg[0] = 3.0;
  vial.net_g = 20.31;
  EXPECT_FALSE(meets(vial, recipe));
}

}  // namespace
}  // namespace vialwright::twin
