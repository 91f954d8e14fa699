/// One world, a vial at a time: the record folds, the truth balances, worlds differ.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "line/line.hpp"
#include "twin/small_line.hpp"

namespace vialwright::twin {
namespace {

using testing::IsEmpty;
using testing::SizeIs;

Trial trial(std::uint64_t seed, int vials, double hardness = 1.0) {
  return {small::plant(), small::book(), small::recipes(), small::plan(seed, vials, hardness)};
}

void keep(const Trial::Heard& heard, std::vector<line::Fact>& facts) {
  ASSERT_EQ(heard.lines.size(), heard.received.size());
  for (std::size_t i = 0; i < heard.lines.size(); ++i) {
    const auto read = event::parse(heard.lines[i], "trial");
    ASSERT_TRUE(read.has_value()) << heard.lines[i];
    facts.push_back({*read, facts.size() + 1, heard.received[i]});
  }
}

line::State folded(std::vector<line::Fact> facts) {
  line::LineFile line;
  line.plant = small::plant();
  line.book = small::book();
  line.recipes = small::recipes();
  return line::fold(line, std::move(facts));
}

TEST(TwinTrial, WhatIsMadeAndAddedIsHeardAndTrue) {
  Trial world = trial(51, 20);
  std::vector<line::Fact> facts;
  const recipe::Recipe pale = small::recipes()[0];
  for (int v = 0; v < 20; ++v) {
    std::vector<Told> doses = world.planned(pale);
    ASSERT_THAT(doses, SizeIs(2));
    EXPECT_NEAR(doses[0].amount_g, 18.0, 1e-9);  // by alligation, as in TwinTargets
    doses[1].amount_g *= 0.9;
    const std::string serial = world.make(pale, doses);
    keep(world.heard(), facts);
    const VialTruth before = world.truth();
    EXPECT_EQ(before.serial, serial);
    const TopupTruth done = world.top_up("advice", {{"dye", "dye", 0.21}});
    keep(world.heard(), facts);
    const VialTruth after = world.truth();
    ASSERT_THAT(done.delivered_g, SizeIs(1));
    EXPECT_NEAR(after.stock_g[1] - before.stock_g[1], done.delivered_g[0], 1e-12);
    EXPECT_NEAR(done.delivered_g[0], 0.21, 0.06);  // five of the spread and a drop
    EXPECT_EQ(done.met_before, meets(before, pale));
    EXPECT_EQ(done.met, meets(after, pale));
  }
  const line::State state = folded(std::move(facts));
  EXPECT_THAT(state.unread, IsEmpty());
  ASSERT_THAT(state.vials, SizeIs(20));
  for (const line::VialRecord& vial : state.vials) {
    EXPECT_THAT(vial.conflicts, IsEmpty()) << vial.conflicts.front().what;
    ASSERT_THAT(vial.doses, SizeIs(3));
    EXPECT_TRUE(vial.doses[2].topup);
    EXPECT_EQ(vial.doses[2].lot, 1);
    EXPECT_THAT(vial.topups, SizeIs(1));
    EXPECT_GE(vial.readings.size(), 5U);  // tare, level and gross, level and gross
    for (const line::VialReading& reading : vial.readings) {
      EXPECT_EQ(reading.quality, line::Quality::clear);
    }
  }
}

TEST(TwinTrial, SameSeedSameBytesOtherSeedsOtherWorlds) {
  const auto lines = [](std::uint64_t seed) {
    Trial world = trial(seed, 2);
    (void)world.make(small::recipes()[1], world.planned(small::recipes()[1]));
    (void)world.top_up("x", {{"clear", "clear", 0.3}});
    return world.heard().lines;
  };
  EXPECT_EQ(lines(52), lines(52));
  EXPECT_NE(lines(52), lines(53));
}

}  // namespace
}  // namespace vialwright::twin
