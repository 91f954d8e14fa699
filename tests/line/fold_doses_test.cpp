// Doses, meters and tanks in the fold. Lines and records are invented.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "line/fold_record.hpp"

namespace vialwright {
namespace {

using line::Quality;
using support::at;
using support::Record;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

TEST(FoldDoses, ADoseKnowsItsCommandItsMetersAndItsTankLoss) {
  Record record;
  record.add("doser", 0, "", event::LotLoaded{"B1", "base", "base station", {}});
  record.registered(0, "V-1");
  record.tank(9, "d1", true, 5000.0);
  record.commanded(10, "V-1", "d1", "base", 19.7);
  record.metered(14, "V-1", "d1", "base flow", 19.68);
  record.tank(16, "d1", false, 4980.3);
  const line::State state = record.folded();
  ASSERT_THAT(state.unread, IsEmpty());
  ASSERT_THAT(state.vials, SizeIs(1));
  ASSERT_THAT(state.vials[0].doses, SizeIs(1));
  const line::DoseRecord& dose = state.vials[0].doses[0];
  EXPECT_EQ(dose.id, "d1");
  EXPECT_EQ(dose.stock, 0);
  EXPECT_EQ(dose.station, 0);
  EXPECT_EQ(dose.lot, 0) << "the lot that the station was loaded with";
  EXPECT_EQ(dose.commanded_g, 19.7);
  ASSERT_THAT(dose.metered, SizeIs(1));
  EXPECT_EQ(dose.metered[0].instrument, 2);
  EXPECT_EQ(dose.metered[0].value, 19.68);
  EXPECT_EQ(dose.metered[0].counting_s, 2.0);
  ASSERT_TRUE(dose.tank_loss);
  // 5000.0 g before, 4980.3 g after; 1e-9 g is far above rounding at 5000 g.
  EXPECT_NEAR(dose.tank_loss->value, 19.7, 1e-9);
  EXPECT_EQ(dose.tank_loss->instrument, 5);
  EXPECT_THAT(state.vials[0].conflicts, IsEmpty());
}

TEST(FoldDoses, TheLotIsTheNamedOneElseTheLoadedOneElseUnknown) {
  Record record;
  record.registered(0, "V-1");
  record.commanded(1, "V-1", "before", "teal", 0.3);
  record.add("doser", 2, "", event::LotLoaded{"T1", "teal", "tint station", {}});
  record.commanded(3, "V-1", "after", "teal", 0.3);
  record.add("doser", 4, "V-1",
             event::DoseCommanded{"named", "base station", "base", "B1", 5.0, {}});
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).doses, SizeIs(3));
  EXPECT_EQ(state.vials[0].doses[0].lot, -1);
  EXPECT_EQ(state.vials[0].doses[1].lot, 1);
  EXPECT_EQ(state.vials[0].doses[2].lot, 0);
}

TEST(FoldDoses, ALotOfAnotherStockIsNotBelieved) {
  Record record;
  record.registered(0, "V-1");
  record.add("doser", 1, "V-1", event::DoseCommanded{"d1", "base station", "base", "T1", 5.0, {}});
  const line::State state = record.folded();
  EXPECT_EQ(state.vials.at(0).doses.at(0).lot, -1);
  ASSERT_THAT(state.unread, SizeIs(1));
  EXPECT_THAT(state.unread[0].what, HasSubstr("'T1' is a lot of 'teal', not of 'base'"));
  EXPECT_EQ(state.unread[0].where, "event doser-1 of doser");
}

TEST(FoldDoses, AMeteringBeforeItsCommandByTheClockStillBelongsToIt) {
  Record record;
  record.registered(0, "V-1");
  record.metered(5, "V-1", "d1", "base flow", 19.68);  // the meter's clock is behind
  record.commanded(10, "V-1", "d1", "base", 19.7);
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).doses, SizeIs(1));
  EXPECT_EQ(state.vials[0].doses[0].commanded_g, 19.7);
  EXPECT_THAT(state.vials[0].doses[0].metered, SizeIs(1));
}

TEST(FoldDoses, ATankLossNeedsThatNothingElseHappenedBetween) {
  const auto loss_with = [](const std::function<void(Record&)>& between) {
    Record record;
    record.registered(0, "V-1");
    record.registered(0, "V-2");
    record.commanded(10, "V-1", "d1", "base", 19.7);
    record.tank(11, "d1", true, 5000.0);
    between(record);
    record.tank(16, "d1", false, 4980.3);
    return record.folded().vials.at(0).doses.at(0).tank_loss.has_value();
  };
  EXPECT_TRUE(loss_with([](Record&) {}));
  EXPECT_TRUE(loss_with([](Record& r) { r.commanded(12, "V-2", "d2", "teal", 0.3); }))
      << "a dose from elsewhere is no disturbance";
  EXPECT_FALSE(loss_with([](Record& r) { r.commanded(12, "V-2", "d2", "base", 19.7); }));
  EXPECT_FALSE(loss_with([](Record& r) {
    r.add("store", 12, "", event::TankRefilled{"base tank", "B1", 2000.0});
  }));
  EXPECT_FALSE(loss_with([](Record& r) {
    r.add("store", 12, "", event::LineFlushed{"base station", "base"});
  }));
}

TEST(FoldDoses, ARefillWithAnotherLotMakesTheLotUnknown) {
  Record record;
  record.add("doser", 0, "", event::LotLoaded{"B1", "base", "base station", {}});
  record.registered(0, "V-1");
  record.add("store", 1, "", event::TankRefilled{"base tank", "B1", 2000.0});
  record.commanded(2, "V-1", "same", "base", 5.0);
  record.add("lab", 0, "", event::LotAssayed{"B2", "base", {{"teal dye", 0.0, 0.0}}});
  record.add("store", 3, "", event::TankRefilled{"base tank", "B2", 2000.0});
  record.commanded(4, "V-1", "mixed", "base", 5.0);
  const line::State state = record.folded();
  EXPECT_EQ(state.vials.at(0).doses.at(0).lot, 0);
  EXPECT_EQ(state.vials.at(0).doses.at(1).lot, -1);
}

TEST(FoldDoses, WithoutACommandTheMeterSaysWhatItWasOnlyIfItCanBeNothingElse) {
  Record record;
  record.registered(0, "V-1");
  record.metered(5, "V-1", "d1", "base flow", 19.68);
  record.metered(6, "V-1", "d2", "tint flow", 0.3);  // teal or rose
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).doses, SizeIs(1));
  EXPECT_EQ(state.vials[0].doses[0].stock, 0);
  EXPECT_FALSE(state.vials[0].doses[0].commanded_g);
  ASSERT_THAT(state.unread, SizeIs(1));
  EXPECT_THAT(state.unread[0].what, HasSubstr("'d2' was metered but never commanded"));
  ASSERT_THAT(state.vials[0].conflicts, SizeIs(1));
  EXPECT_EQ(state.vials[0].conflicts[0].what, "nobody says what stock dose d2 was");
}

TEST(FoldDoses, ADoseOfAnUnknownStockIsNotForgotten) {
  Record record;
  record.registered(0, "V-1");
  record.add("doser", 1, "V-1", event::DoseCommanded{"d1", "tint station", "tael", "", 0.3, {}});
  const line::State state = record.folded();
  ASSERT_THAT(state.unread, SizeIs(1));
  EXPECT_EQ(state.unread[0].what, "stock 'tael' is not in the line file");
  EXPECT_THAT(state.unread[0].mend, HasSubstr("did you mean 'teal'?"));
  EXPECT_THAT(state.vials.at(0).conflicts, SizeIs(1)) << "the vial holds something unknown";
}

TEST(FoldDoses, OneDoseForTwoVialsPutsBothInDoubt) {
  Record record;
  record.registered(0, "V-1");
  record.registered(0, "V-2");
  record.commanded(1, "V-1", "d1", "base", 5.0);
  record.commanded(2, "V-2", "d1", "base", 5.0);
  const line::State state = record.folded();
  for (const line::VialRecord& vial : state.vials) {
    ASSERT_THAT(vial.conflicts, SizeIs(1)) << vial.serial;
    EXPECT_EQ(vial.conflicts[0].what, "dose d1 was commanded for vial V-1 and for vial V-2");
    EXPECT_THAT(vial.conflicts[0].between, SizeIs(2));
  }
}

TEST(FoldDoses, AMeteringForAnotherVialIsMarkedAndPutToBoth) {
  Record record;
  record.registered(0, "V-1");
  record.commanded(1, "V-1", "d1", "base", 5.0);
  record.metered(2, "V-2", "d1", "base flow", 5.0);
  record.registered(0.5, "V-2");
  const line::State state = record.folded();
  ASSERT_THAT(state.vials.at(0).doses.at(0).metered, SizeIs(1));
  EXPECT_EQ(state.vials[0].doses[0].metered[0].quality, Quality::wrong_vial);
  EXPECT_THAT(state.vials[0].conflicts, SizeIs(1));
  EXPECT_THAT(state.vials[1].conflicts, SizeIs(1));
}

TEST(FoldDoses, ATopupMarksTheDosesItNames) {
  Record record;
  record.registered(0, "V-1");
  record.commanded(1, "V-1", "d1", "base", 5.0);
  record.add("operator", 1.5, "V-1", event::TopupApplied{"decision/V-1/7", {"d2"}});
  record.commanded(2, "V-1", "d2", "teal", 0.1);
  const line::State state = record.folded();
  EXPECT_FALSE(state.vials.at(0).doses.at(0).topup);
  EXPECT_TRUE(state.vials.at(0).doses.at(1).topup);
  EXPECT_THAT(state.unread, IsEmpty());
}

TEST(FoldDoses, AnAbortedMeteringAbortsTheDose) {
  Record record;
  record.registered(0, "V-1");
  record.commanded(1, "V-1", "d1", "base", 5.0);
  record.add("meters", 2, "V-1", event::DoseMetered{"d1", "base pulse", {}, 2.1, 1.0, true});
  const line::State state = record.folded();
  EXPECT_TRUE(state.vials.at(0).doses.at(0).aborted);
  EXPECT_EQ(state.vials[0].doses[0].metered.at(0).value, 2.1);
}

}  // namespace
}  // namespace vialwright
