// The life of a vial, its readings and its orders in the fold. Lines and records are invented.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "line/fold_record.hpp"

namespace vialwright {
namespace {

using line::OrderRecord;
using line::Quality;
using support::at;
using support::Record;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

TEST(FoldVials, VapourIsLostFromTheFirstDoseUntilTheCapAndAgainWithoutIt) {
  Record record;
  record.registered(0, "V-1");
  record.gross(50, "V-1", 14.8);
  record.commanded(100, "V-1", "d1", "base", 5.0);
  record.commanded(120, "V-1", "d2", "teal", 0.1);
  record.gross(160, "V-1", 19.9);
  record.add("capper", 200, "V-1", event::VialCapped{"capper"});
  record.gross(300, "V-1", 20.0);
  record.add("capper", 1000, "V-1", event::VialUncapped{"capper"});
  record.gross(1030, "V-1", 19.9);
  record.gross(1100, "V-1", 19.9);
  const line::VialRecord vial = record.folded().vials.at(0);
  ASSERT_THAT(vial.readings, SizeIs(5));
  // Open from 100 s to 200 s and from 1000 s on; counted to a microsecond.
  EXPECT_NEAR(vial.readings[0].open_s, 0.0, 1e-6);
  EXPECT_NEAR(vial.readings[1].open_s, 60.0, 1e-6);
  EXPECT_NEAR(vial.readings[2].open_s, 100.0, 1e-6);
  EXPECT_NEAR(vial.readings[3].open_s, 130.0, 1e-6);
  EXPECT_NEAR(vial.open_s, 200.0, 1e-6) << "as of the last fact, at 1100 s";
  EXPECT_EQ(vial.readings[0].after_doses, 0);
  EXPECT_EQ(vial.readings[1].after_doses, 2);
  EXPECT_FALSE(vial.readings[1].capped);
  EXPECT_TRUE(vial.readings[2].capped);
  EXPECT_EQ(vial.last_event, at(1100));
}

TEST(FoldVials, MixingCountsUntilTheNextDose) {
  Record record;
  record.registered(0, "V-1");
  record.commanded(1, "V-1", "d1", "base", 5.0);
  record.add("mixer", 2, "V-1", event::VialMixed{"mixer", 8.0});
  EXPECT_TRUE(record.folded().vials.at(0).mixed_since_last_dose);
  record.commanded(3, "V-1", "d2", "teal", 0.1);
  EXPECT_FALSE(record.folded().vials.at(0).mixed_since_last_dose);
}

TEST(FoldVials, ReadingsCarryTheClimateBeforeThem) {
  Record record;
  record.registered(0, "V-1");
  record.gross(1, "V-1", 14.8);
  record.add("roof", 2, "", event::EnvironmentRead{"roof", 23.5, 990.0, {}});
  record.gross(3, "V-1", 14.8);
  const line::VialRecord vial = record.folded().vials.at(0);
  EXPECT_FALSE(vial.readings.at(0).climate);
  ASSERT_TRUE(vial.readings.at(1).climate);
  EXPECT_EQ(vial.readings[1].climate->celsius, 23.5);
  EXPECT_EQ(vial.readings[1].climate->pressure_hpa, 990.0);
}

TEST(FoldVials, ATimeBeyondTheReceiveTimeIsKeptAndNotBelieved) {
  Record record;
  record.registered(0, "V-1");
  record.gross(10, "V-1", 14.8).event.time = at(86'400);
  record.gross(20, "V-1", 14.9);
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).readings, SizeIs(2));
  EXPECT_EQ(state.vials[0].readings[0].quality, Quality::future);
  EXPECT_EQ(state.vials[0].readings[1].quality, Quality::clear);
  EXPECT_EQ(state.as_of, at(20)) << "the newest time that is believed";
}

TEST(FoldVials, AClockThatGoesBackIsNotSynchronised) {
  Record record;
  record.registered(0, "V-1");
  record.gross(100, "V-1", 14.8);
  record.gross(40, "V-1", 14.8);  // 60 s back in one sequence
  record.gross(98, "V-1", 14.8);  // within the 5 s that are let pass
  record.gross(101, "V-1", 14.8);
  const auto readings = record.folded().vials.at(0).readings;
  ASSERT_THAT(readings, SizeIs(4));
  EXPECT_EQ(readings[0].quality, Quality::clear);
  EXPECT_EQ(readings[1].quality, Quality::unsynchronised);
  EXPECT_EQ(readings[2].quality, Quality::clear);
  EXPECT_EQ(readings[3].quality, Quality::clear);
}

TEST(FoldVials, AReadingLongAfterTheLastCalibrationIsMarked) {
  line::LineFile line = support::fold_line();
  line.plant.instruments[0].oldest_calibration_s = 3600.0;
  Record record;
  record.registered(0, "V-1");
  record.gross(3000, "V-1", 14.8);
  record.gross(4000, "V-1", 14.8);  // the record began more than an hour before
  record.add("lab", 4100, "", event::CalibrationMade{"bench", "g", {}, {}, {}, {}});
  record.gross(4200, "V-1", 14.8);
  const auto readings = line::fold(line, record.facts()).vials.at(0).readings;
  ASSERT_THAT(readings, SizeIs(3));
  EXPECT_EQ(readings[0].quality, Quality::clear);
  EXPECT_EQ(readings[1].quality, Quality::uncalibrated);
  EXPECT_EQ(readings[2].quality, Quality::clear);
}

TEST(FoldVials, ACalibrationHoldsForLaterReadingsAndEarlierOnesKeepTheirOwn) {
  Record record;
  record.registered(0, "V-1");
  record.gross(1, "V-1", 14.8);
  record.add("lab", 2, "", event::CalibrationMade{"bench", "g", 0.003, 0.0005, 1e-5, 2e-6});
  record.gross(3, "V-1", 14.8);
  const line::State state = record.folded();
  const auto& readings = state.vials.at(0).readings;
  const auto of = [&](const line::VialReading& reading) {
    return state.plant.instruments.at(static_cast<std::size_t>(reading.instrument));
  };
  EXPECT_EQ(of(readings.at(0)).id, "bench");
  EXPECT_EQ(of(readings.at(1)).id, "bench");
  EXPECT_NE(readings[0].instrument, readings[1].instrument) << "they share no unknown error";
  EXPECT_EQ(of(readings[0]).offset, 0.0);
  EXPECT_EQ(of(readings[1]).offset, 0.003);
  EXPECT_EQ(of(readings[1]).u_gain, 2e-6);
  EXPECT_EQ(plant::find_instrument(state.plant, "bench"), readings[1].instrument);
}

TEST(FoldVials, ACalibrationInAnotherUnitIsRefused) {
  Record record;
  record.add("lab", 0, "", event::CalibrationMade{"bench", "mL", 0.003, {}, {}, {}});
  const line::State state = record.folded();
  ASSERT_THAT(state.unread, SizeIs(1));
  EXPECT_THAT(state.unread[0].what, HasSubstr("given in mL, not in g"));
  EXPECT_EQ(state.plant.instruments[0].offset, 0.0);
}

TEST(FoldVials, TheWrongKindOfInstrumentIsUnread) {
  Record record;
  record.registered(0, "V-1");
  record.add("bench", 1, "V-1", event::GrossRead{"gauge", 14.8, {}});
  record.add("bench", 2, "V-1", event::GrossRead{"bnech", 14.8, {}});
  record.gross(3, "V-9", 14.8);
  const line::State state = record.folded();
  ASSERT_THAT(state.unread, SizeIs(3));
  EXPECT_THAT(state.unread[0].what, HasSubstr("'gauge' is a level_gauge and gives no gross"));
  EXPECT_THAT(state.unread[1].mend, HasSubstr("did you mean 'bench'?"));
  EXPECT_EQ(state.unread[2].what, "vial 'V-9' was never registered");
  EXPECT_THAT(state.vials.at(0).readings, IsEmpty());
}

TEST(FoldVials, BindingFreezesTheVersionOfTheRecipe) {
  Record record;
  const auto version = [](int number, double low) {
    event::RecipePublished data;
    data.recipe = data.name = "fen";
    data.container = "vial 20";
    data.version = number;
    data.stocks = {"base"};
    data.tolerances = {{"net_mass", "", low, 20.0, 21.0}};
    return data;
  };
  record.add("office", 0, "", version(1, 19.0));
  record.registered(1, "V-1");
  record.add("line", 2, "V-1", event::VialBound{"", "fen", 1});
  record.add("office", 3, "", version(2, 19.5));
  const line::State state = record.folded();
  ASSERT_TRUE(state.vials.at(0).recipe);
  EXPECT_EQ(state.vials[0].recipe->version, 1);
  EXPECT_EQ(state.vials[0].recipe->tolerances.at(0).low, 19.0);
  ASSERT_NE(line::find_recipe(state, "fen"), nullptr);
  EXPECT_EQ(line::find_recipe(state, "fen")->version, 2);
}

TEST(FoldVials, AVialMayBeMadeToARecipeAndForNoOrder) {
  Record record;
  record.add("office", 0, "", event::OrderPlaced{"o", "pond", {}, 4.0, 0, 1});
  record.registered(0, "V-1");
  record.add("line", 1, "V-1", event::VialBound{"o", "pond", 1});
  record.add("line", 2, "V-1", event::VialBound{"", "pond", 1});
  const line::State state = record.folded();
  EXPECT_EQ(state.vials.at(0).recipe->id, "pond");
  EXPECT_EQ(state.vials[0].order, "");
  EXPECT_EQ(state.orders.at(0).state, OrderRecord::State::open) << "given back";
  EXPECT_THAT(state.unread, IsEmpty());
  EXPECT_THAT(state.vials[0].conflicts, IsEmpty());
}

TEST(FoldVials, ARecipeWithALineThatIsNotUnderstoodIsNotTaken) {
  Record record;
  event::RecipePublished data;
  data.recipe = "fen";
  data.container = "vial 20";
  data.stocks = {"base"};
  data.tolerances = {{"net_mass", "", 19.0, 20.0, 21.0}, {"content", "rose dey", 0.1, 0.2, 0.3}};
  record.add("office", 0, "", data);
  const line::State state = record.folded();
  EXPECT_EQ(line::find_recipe(state, "fen"), nullptr);
  ASSERT_FALSE(state.unread.empty());
  EXPECT_THAT(state.unread[0].what, HasSubstr("'rose dey'"));
}

TEST(FoldOrders, AQuantityIsSplitAndEachPartGoesItsWay) {
  Record record;
  record.add("office", 0, "", event::OrderPlaced{"o", "pond", at(900), 4.0, 1, 3});
  record.registered(1, "V-1");
  record.add("line", 2, "V-1", event::VialBound{"o/2", "pond", 1});
  record.add("line", 3, "V-1", event::VialReleased{""});
  record.add("office", 4, "", event::OrderChanged{"o", {}, 5.0, {}});
  record.add("office", 5, "", event::OrderCancelled{"o/3", "not wanted"});
  const line::State state = record.folded();
  ASSERT_THAT(state.orders, SizeIs(3));
  EXPECT_EQ(line::find_order(state, "o")->state, OrderRecord::State::open);
  EXPECT_EQ(line::find_order(state, "o/2")->state, OrderRecord::State::filled);
  EXPECT_EQ(line::find_order(state, "o/2")->vial, "V-1");
  EXPECT_EQ(line::find_order(state, "o/3")->state, OrderRecord::State::cancelled);
  EXPECT_EQ(line::find_order(state, "o/3")->value, 5.0);
  EXPECT_EQ(state.vials.at(0).fate, line::Fate::released);
  EXPECT_THAT(state.unread, IsEmpty());
}

TEST(FoldOrders, OneOrderForTwoVialsPutsBothInDoubt) {
  Record record;
  record.add("office", 0, "", event::OrderPlaced{"o", "pond", {}, 4.0, 1, 1});
  record.registered(1, "V-1");
  record.registered(1, "V-2");
  record.add("line", 2, "V-1", event::VialBound{"o", "pond", 1});
  record.add("line", 3, "V-2", event::VialBound{"o", "pond", 1});
  const line::State state = record.folded();
  EXPECT_THAT(state.vials.at(0).conflicts, SizeIs(1));
  EXPECT_THAT(state.vials.at(1).conflicts, SizeIs(1));
  EXPECT_EQ(line::find_order(state, "o")->vial, "V-1");
}

TEST(FoldOrders, AScrappedVialGivesItsOrderBack) {
  Record record;
  record.add("office", 0, "", event::OrderPlaced{"o", "pond", {}, 4.0, 1, 1});
  record.registered(1, "V-1");
  record.add("line", 2, "V-1", event::VialBound{"o", "pond", 1});
  EXPECT_EQ(line::find_order(record.folded(), "o")->state, OrderRecord::State::bound);
  record.add("line", 3, "V-1", event::VialScrapped{"broken"});
  const line::State state = record.folded();
  EXPECT_EQ(line::find_order(state, "o")->state, OrderRecord::State::open);
  EXPECT_EQ(state.vials.at(0).fate, line::Fate::scrapped);
}

TEST(FoldOrders, AnAbsurdQuantityIsRefused) {
  Record record;
  record.add("office", 0, "", event::OrderPlaced{"o", "pond", {}, 4.0, 1, 2'000'000'000});
  const line::State state = record.folded();
  EXPECT_THAT(state.orders, IsEmpty());
  ASSERT_THAT(state.unread, SizeIs(1));
  EXPECT_THAT(state.unread[0].mend, HasSubstr("1 to 10000"));
}

TEST(FoldVials, HoldsStartAndEndAndDecisionsAreRemembered) {
  Record record;
  record.registered(0, "V-1");
  record.add("rack", 1, "V-1", event::HoldStarted{"rack 3", "waits for an order"});
  record.add("vialwright/engine", 500, "V-1", event::DecisionMade{"hold", "{}"});
  record.add("operator", 2, "V-1", event::DecisionOverruled{"d", "release", "keeper", "seen"});
  line::State state = record.folded();
  EXPECT_EQ(state.vials.at(0).hold_place, "rack 3");
  EXPECT_EQ(state.vials[0].held_since, at(1));
  EXPECT_EQ(state.vials[0].last_decision, "hold");
  ASSERT_TRUE(state.vials[0].overruled);
  EXPECT_EQ(state.vials[0].overruled->disposition, "release");
  EXPECT_EQ(state.vials[0].last_event, at(2)) << "an advice is no event of the vial";
  record.add("rack", 3, "V-1", event::HoldEnded{"rack 3"});
  state = record.folded();
  EXPECT_EQ(state.vials.at(0).hold_place, "");
  EXPECT_FALSE(state.vials[0].held_since);
}

TEST(FoldVials, AnAssayOfLaterHoldsForTheDosesBefore) {
  Record record;
  record.registered(0, "V-1");
  record.add("doser", 1, "V-1", event::DoseCommanded{"d1", "tint station", "rose", "R7", 0.3, {}});
  record.add("lab", 5000, "", event::LotAssayed{"R7", "rose", {{"rose dye", 0.41, 0.004}}});
  const line::State state = record.folded();
  const int lot = state.vials.at(0).doses.at(0).lot;
  ASSERT_EQ(lot, 2);
  EXPECT_EQ(state.book.lots[2].id, "R7");
  EXPECT_EQ(state.book.lots[2].strengths.at(1).mg_per_g, 0.41);
  EXPECT_EQ(state.book.lots[2].strengths.at(1).u_mg_per_g, 0.004);
}

TEST(FoldVials, AsOfLeavesLaterFactsOut) {
  Record record;
  record.registered(0, "V-1");
  record.gross(10, "V-1", 14.8);
  record.gross(20, "V-1", 14.9);
  const line::State state = line::fold(support::fold_line(), record.facts(), at(15));
  EXPECT_THAT(state.vials.at(0).readings, SizeIs(1));
  EXPECT_EQ(state.as_of, at(15));
  EXPECT_EQ(state.facts, 2u);
}

}  // namespace
}  // namespace vialwright
