// Top-ups, holds, ends and demand in the fold. Lines and records are invented.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "line/fold_record.hpp"

namespace vialwright {
namespace {

using support::at;
using support::Record;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

const std::string advice = R"({"disposition":"rework","for_order":"L-7","odds":{"value":0.97}})";

/// A vial that was made, judged, topped up.
Record reworked() {
  Record record;
  record.add("office", 0, "", event::OrderPlaced{"L-7", "pond", {}, 4.0, 0, 1});
  record.registered(1, "V-1");
  record.commanded(10, "V-1", "d1", "base", 19.0);
  record.add("vialwright/engine", 20, "V-1", event::DecisionMade{"rework", advice}).event.id =
      "decision/V-1/3";
  record.commanded(30, "V-1", "d2", "base", 0.8);
  record.add("line", 35, "V-1", event::TopupApplied{"decision/V-1/3", {"d2"}});
  return record;
}

TEST(FoldTopups, ATopupKnowsItsDosesAndWhatWasAdvised) {
  const line::State state = reworked().folded();
  const line::VialRecord& vial = state.vials.at(0);
  ASSERT_THAT(vial.topups, SizeIs(1));
  EXPECT_EQ(vial.topups[0].decision, "decision/V-1/3");
  EXPECT_EQ(vial.topups[0].advised, advice);
  EXPECT_THAT(vial.topups[0].doses, ElementsAre("d2"));
  EXPECT_EQ(vial.topups[0].origin.time, at(35));
  ASSERT_THAT(vial.doses, SizeIs(2));
  EXPECT_FALSE(vial.doses[0].topup);
  EXPECT_TRUE(vial.doses[1].topup);
  EXPECT_THAT(state.unread, IsEmpty());
}

TEST(FoldTopups, AnAdviceThatComesLaterOrIsAnotherVialsIsFoundByItsIdAlone) {
  Record record;
  record.registered(0, "V-1");
  record.registered(0, "V-2");
  record.commanded(10, "V-1", "d1", "base", 19.0);
  record.add("line", 15, "V-1", event::TopupApplied{"late", {"d1"}});
  record.add("vialwright/engine", 60, "V-1", event::DecisionMade{"rework", R"({"a":1})"}).event.id =
      "late";
  record.add("vialwright/engine", 61, "V-1", event::DecisionMade{"release", R"({"b":2})"});
  EXPECT_EQ(record.folded().vials.at(0).topups.at(0).advised, R"({"a":1})");
}

TEST(FoldTopups, WithoutItsDecisionTheTopupStandsAndSaysNothing) {
  Record record;
  record.registered(0, "V-1");
  record.commanded(10, "V-1", "d1", "base", 19.0);
  record.add("line", 15, "V-1", event::TopupApplied{"", {"d1", "d9"}});
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).topups, SizeIs(1));
  EXPECT_EQ(state.vials[0].topups[0].advised, "");
  ASSERT_THAT(state.unread, SizeIs(1));
  EXPECT_THAT(state.unread[0].what, HasSubstr("dose 'd9', which was never made"));
}

TEST(FoldTopups, DecisionsMoveNoPosition) {
  Record record = reworked();
  const std::uint64_t before = record.folded().position;
  record.add("vialwright/engine", 90, "V-1", event::DecisionMade{"release", "{}"});
  EXPECT_EQ(record.folded().position, before);
}

TEST(FoldAdvice, TheOrderOfTheLatestDecision) {
  Record record = reworked();
  EXPECT_EQ(record.folded().vials.at(0).advised_order, "L-7");
  record.add("vialwright/engine", 90, "V-1", event::DecisionMade{"hold", R"({"for_order":""})"});
  EXPECT_EQ(record.folded().vials.at(0).advised_order, "");
  record.add("vialwright/engine", 91, "V-1",
             event::DecisionMade{"hold", R"({"inside":{"for_order":"L-9"},"for_order":7})"});
  EXPECT_EQ(record.folded().vials.at(0).advised_order, "") << "top level, and a text";
  record.add("vialwright/engine", 92, "V-1",
             event::DecisionMade{"rework", R"({"a":[1,{"b":2}],"for_order":"L-8"})"});
  EXPECT_EQ(record.folded().vials.at(0).advised_order, "L-8");
}

TEST(FoldHolds, EachStayIsKeptWithItsEnd) {
  Record record;
  record.registered(0, "V-1");
  record.add("rack", 10, "V-1", event::HoldStarted{"place 1", "waits"});
  record.add("rack", 50, "V-1", event::HoldStarted{"place 4", "moved"});
  record.add("rack", 90, "V-1", event::HoldEnded{"place 4"});
  record.add("rack", 95, "V-1", event::HoldEnded{"place 4"});  // told again: nothing to end
  record.add("rack", 200, "V-1", event::HoldStarted{"place 2", "waits"});
  line::VialRecord vial = record.folded().vials.at(0);
  ASSERT_THAT(vial.holds, SizeIs(3));
  EXPECT_EQ(vial.holds[0].place, "place 1");
  EXPECT_EQ(vial.holds[0].reason, "waits");
  EXPECT_EQ(vial.holds[0].since, at(10));
  EXPECT_EQ(vial.holds[0].until, at(50)) << "it was moved";
  EXPECT_EQ(vial.holds[1].until, at(90));
  EXPECT_FALSE(vial.holds[2].until);
  EXPECT_EQ(vial.held_since, at(200));
  EXPECT_FALSE(vial.ended);
  record.add("line", 300, "V-1", event::VialScrapped{"too old"});
  vial = record.folded().vials.at(0);
  EXPECT_EQ(vial.holds[2].until, at(300)) << "a scrapped vial takes no place";
  EXPECT_EQ(vial.ended, at(300));
}

TEST(FoldHolds, AReleasedVialEndsWhenItWasReleased) {
  Record record = reworked();
  record.add("line", 400, "V-1", event::VialReleased{"L-7"});
  record.add("line", 500, "V-1", event::VialScrapped{""});  // a contradiction, the first stands
  const line::State state = record.folded();
  EXPECT_EQ(state.vials.at(0).ended, at(400));
  EXPECT_EQ(state.vials[0].fate, line::Fate::released);
  EXPECT_EQ(state.orders.at(0).state, line::OrderRecord::State::filled);
}

TEST(FoldOrders, EveryPartKnowsWhenItWasPlaced) {
  Record record;
  record.add("office", 7, "", event::OrderPlaced{"L-1", "pond", {}, 4.0, 0, 3});
  record.add("office", 70, "", event::OrderPlaced{"L-2", "pond", {}, 4.0, 0, 1});
  record.add("office", 80, "", event::OrderCancelled{"L-2", ""});
  const auto orders = record.folded().orders;
  ASSERT_THAT(orders, SizeIs(4));
  for (const line::OrderRecord& order : orders) {
    EXPECT_EQ(order.placed, at(order.id == "L-2" ? 70 : 7)) << order.id;
  }
}

// A certificate of last year, a recipe or an assay says nothing of how long orders were watched.
TEST(FoldWatch, BeginsWithTheFirstFactOfTheLineItself) {
  Record record;
  EXPECT_FALSE(record.folded().first_fact);
  record.add("lab", -3e7, "", event::CalibrationMade{"bench", "g", 0.0, 0.001, {}, {}});
  record.add("lab", -2e7, "", event::LotAssayed{"T1", "teal", {{"teal dye", 0.2, 0.001}}});
  EXPECT_FALSE(record.folded().first_fact);
  record.add("office", -500, "", event::OrderPlaced{"L-1", "pond", {}, 4.0, 0, 1});
  record.registered(3, "V-1");
  record.add("rack", 9e5, "V-1", event::HoldStarted{"place 1", ""}).received =
      at(4);  // not believed
  EXPECT_EQ(record.folded().first_fact, at(-500));
}

TEST(FoldRework, TheFingerprintSeesEveryPartOfIt) {
  const line::State whole = [] {
    Record record = reworked();
    record.add("rack", 40, "V-1", event::HoldStarted{"place 1", "waits"});
    record.add("rack", 50, "V-1", event::HoldEnded{"place 1"});
    record.add("line", 60, "V-1", event::VialScrapped{""});
    return record.folded();
  }();
  const std::string told = line::fingerprint(whole);
  const std::vector<std::function<void(line::State&)>> changes = {
      [](line::State& s) { s.vials[0].topups[0].advised = ""; },
      [](line::State& s) { s.vials[0].topups[0].decision = "other"; },
      [](line::State& s) { s.vials[0].topups[0].doses.clear(); },
      [](line::State& s) { s.vials[0].holds[0].until.reset(); },
      [](line::State& s) { s.vials[0].holds[0].place = "place 9"; },
      [](line::State& s) { s.vials[0].ended.reset(); },
      [](line::State& s) { s.vials[0].advised_order = ""; },
      [](line::State& s) { s.vials[0].doses[1].topup = false; },
      [](line::State& s) { s.orders[0].placed = at(1); },
      [](line::State& s) { s.first_fact.reset(); },
  };
  for (std::size_t i = 0; i < changes.size(); ++i) {
    line::State changed = whole;
    changes[i](changed);
    EXPECT_NE(line::fingerprint(changed), told) << "change " << i;
  }
}

}  // namespace
}  // namespace vialwright
