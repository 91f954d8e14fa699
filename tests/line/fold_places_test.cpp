// Which vial is where: what disagrees is put to both vials, and nothing is guessed. Invented.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "line/fold_record.hpp"

namespace vialwright {
namespace {

using line::Quality;
using support::Record;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

/// Two vials on two carriers, at the base station and at the tint station.
Record two_vials() {
  Record record;
  record.registered(0, "V-1");
  record.registered(0, "V-2");
  record.add("carriers", 1, "V-1", event::CarrierBound{"C-1", false});
  record.add("carriers", 1, "V-2", event::CarrierBound{"C-2", false});
  record.add("carriers", 2, "V-1", event::VialMoved{"C-1", "base station"});
  record.add("carriers", 2, "V-2", event::VialMoved{"C-2", "tint station"});
  return record;
}

TEST(FoldPlaces, WhatAgreesIsNoConflict) {
  Record record = two_vials();
  record.gross(3, "V-1", 14.8, {"base station", "C-1", "V-1"});
  record.gross(4, "V-2", 14.8, {"tint station", "C-2", ""});
  record.commanded(5, "V-1", "d1", "base", 5.0);
  const line::State state = record.folded();
  for (const line::VialRecord& vial : state.vials) {
    EXPECT_THAT(vial.conflicts, IsEmpty()) << vial.conflicts.at(0).what;
    EXPECT_EQ(vial.readings.at(0).quality, Quality::clear);
  }
  EXPECT_EQ(state.vials[0].carrier, "C-1");
  EXPECT_EQ(state.vials[0].station, "base station");
}

TEST(FoldPlaces, AScannedCodeThatDisagreesMarksTheReadingAndBothVials) {
  Record record = two_vials();
  record.gross(3, "V-1", 14.8, {"", "", "V-2"});
  const line::State state = record.folded();
  EXPECT_EQ(state.vials.at(0).readings.at(0).quality, Quality::wrong_vial);
  for (const line::VialRecord& vial : state.vials) {
    ASSERT_THAT(vial.conflicts, SizeIs(1)) << vial.serial;
    EXPECT_EQ(vial.conflicts[0].what,
              "filed under vial V-1, but the code read from the vial was V-2");
  }
}

TEST(FoldPlaces, AScannedCodeOfAVialRegisteredLaterConcernsItToo) {
  Record record;
  record.registered(0, "V-1");
  record.gross(3, "V-1", 14.8, {"", "", "V-9"});
  record.registered(10, "V-9");
  const line::State state = record.folded();
  EXPECT_THAT(state.vials.at(1).conflicts, SizeIs(1));
}

TEST(FoldPlaces, AReadingOnAnotherVialsCarrierConcernsBoth) {
  Record record = two_vials();
  record.gross(3, "V-1", 14.8, {"", "C-2", "V-1"});
  const line::State state = record.folded();
  EXPECT_EQ(state.vials.at(0).readings.at(0).quality, Quality::clear) << "the scan agrees";
  for (const line::VialRecord& vial : state.vials) {
    ASSERT_THAT(vial.conflicts, SizeIs(1)) << vial.serial;
    EXPECT_THAT(vial.conflicts[0].what, HasSubstr("carrier C-2 was bound to vial V-2"));
    EXPECT_THAT(vial.conflicts[0].between, SizeIs(2));
  }
}

TEST(FoldPlaces, ACarrierGivenToASecondVialConcernsBothUntilTheFirstIsDone) {
  Record record = two_vials();
  record.registered(3, "V-3");
  record.add("carriers", 4, "V-3", event::CarrierBound{"C-1", false});
  line::State state = record.folded();
  EXPECT_THAT(state.vials.at(0).conflicts, SizeIs(1));
  EXPECT_THAT(state.vials.at(2).conflicts, SizeIs(1));

  Record done = two_vials();
  done.registered(3, "V-3");
  done.add("line", 3.5, "V-1", event::VialReleased{""});
  done.add("carriers", 4, "V-3", event::CarrierBound{"C-1", false});
  state = done.folded();
  EXPECT_THAT(state.vials.at(0).conflicts, IsEmpty());
  EXPECT_THAT(state.vials.at(2).conflicts, IsEmpty());

  Record freed = two_vials();
  freed.registered(3, "V-3");
  freed.add("carriers", 3.5, "V-1", event::CarrierBound{"C-1", true});
  freed.add("carriers", 4, "V-3", event::CarrierBound{"C-1", false});
  state = freed.folded();
  EXPECT_THAT(state.vials.at(0).conflicts, IsEmpty());
  EXPECT_THAT(state.vials.at(2).conflicts, IsEmpty());
}

TEST(FoldPlaces, AStationOutOfTurnConcernsTheVialThatIsThereToo) {
  Record record = two_vials();
  record.gross(3, "V-1", 14.8, {"tint station", "", ""});
  const line::State state = record.folded();
  for (const line::VialRecord& vial : state.vials) {
    ASSERT_THAT(vial.conflicts, SizeIs(1)) << vial.serial;
    EXPECT_EQ(vial.conflicts[0].what,
              "vial V-1 is said to be at tint station, but was last moved to base station");
  }
}

TEST(FoldPlaces, ADoseAtAStationWhereTheVialIsNotIsAConflict) {
  Record record = two_vials();
  record.commanded(3, "V-1", "d1", "teal", 0.3);
  const line::State state = record.folded();
  EXPECT_THAT(state.vials.at(0).conflicts, SizeIs(1));
  EXPECT_THAT(state.vials.at(1).conflicts, SizeIs(1));
}

TEST(FoldPlaces, WhereNothingIsKnownNothingIsCompared) {
  Record record;
  record.registered(0, "V-1");
  record.gross(3, "V-1", 14.8, {"bench room", "C-7", ""});
  EXPECT_THAT(record.folded().vials.at(0).conflicts, IsEmpty());
}

TEST(FoldPlaces, ASerialRegisteredTwiceIsAConflict) {
  Record record;
  record.registered(0, "V-1");
  record.registered(9, "V-1");
  ASSERT_THAT(record.folded().vials, SizeIs(1));
  ASSERT_THAT(record.folded().vials[0].conflicts, SizeIs(1));
  EXPECT_EQ(record.folded().vials[0].conflicts[0].what, "serial V-1 was registered more than once");
}

TEST(FoldPlaces, DosingAReleasedOrCappedVialIsAConflict) {
  Record record;
  record.registered(0, "V-1");
  record.add("capper", 1, "V-1", event::VialCapped{"capper"});
  record.commanded(2, "V-1", "d1", "base", 5.0);
  record.add("line", 3, "V-1", event::VialReleased{""});
  record.commanded(4, "V-1", "d2", "base", 5.0);
  const auto conflicts = record.folded().vials.at(0).conflicts;
  ASSERT_THAT(conflicts, SizeIs(3));
  EXPECT_THAT(conflicts[0].what, HasSubstr("while its cap was on"));
  EXPECT_THAT(conflicts[2].what, HasSubstr("after it had been released"));
}

}  // namespace
}  // namespace vialwright
