// Readings of colour in the fold. Lines and records are invented.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <set>

#include "line/fold_record.hpp"

namespace vialwright {
namespace {

using plant::ColourGauge;
using support::Record;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

plant::Instrument gauge(const std::string& id, ColourGauge::Gives gives) {
  plant::Instrument made = support::instrument(id, plant::InstrumentKind::colour_gauge);
  made.colour.emplace();
  made.colour->gives = gives;
  made.colour->bands = {400.0, 700.0, 100.0};
  if (gives == ColourGauge::Gives::channels)
    made.colour->channels.assign(2, {{400.0, 700.0}, {1.0, 1.0}});
  return made;
}

line::LineFile colour_line() {
  line::LineFile line = support::fold_line();
  line.plant.instruments.push_back(gauge("camera", ColourGauge::Gives::lab));
  line.plant.instruments.push_back(gauge("bands", ColourGauge::Gives::spectrum));
  line.plant.instruments.push_back(gauge("counts", ColourGauge::Gives::channels));
  line.book.may_meet = {{0, 1}};
  line.book.components[0].absorptivity = {{380.0, 780.0}, {10.0, 20.0}};
  return line;
}

line::State folded(const Record& record) { return line::fold(colour_line(), record.facts()); }

event::ColourRead lab(double l, double a, double b) {
  event::ColourRead data;
  data.instrument = "camera";
  data.lab = {{l, a, b}};
  return data;
}

/// A vial with one dose at 100 s.
Record dosed() {
  Record record;
  record.registered(0, "V-1");
  record.commanded(100, "V-1", "d1", "base", 5.0);
  return record;
}

line::VialReading only_reading(const Record& record) {
  const line::State state = folded(record);
  EXPECT_THAT(state.unread, IsEmpty()) << (state.unread.empty() ? "" : state.unread[0].what);
  EXPECT_THAT(state.vials.at(0).readings, SizeIs(1));
  return state.vials.at(0).readings.at(0);
}

TEST(FoldColours, AReadingKeepsItsSessionAndWhatTheVialWasThen) {
  Record record = dosed();
  event::ColourRead data = lab(71.2, 4.0, 18.5);
  data.session = "morning";
  data.cloudy = true;
  record.add("eye", 100 + 86'400, "V-1", data);
  const line::VialReading seen = only_reading(record);
  EXPECT_EQ(seen.kind, line::Weighed::colour);
  EXPECT_EQ(seen.values, (std::vector<double>{71.2, 4.0, 18.5}));
  EXPECT_EQ(seen.session, "morning");
  EXPECT_TRUE(seen.cloudy);
  EXPECT_FALSE(seen.mixed) << "nobody mixed it";
  EXPECT_EQ(seen.after_doses, 1);
  EXPECT_NEAR(seen.days, 1.0, 1e-9) << "a day after its first dose";
}

TEST(FoldColours, MixingCountsUntilTheNextDose) {
  Record record = dosed();
  record.add("mixer", 110, "V-1", event::VialMixed{"mixer", 8.0});
  record.add("eye", 120, "V-1", lab(71.2, 4.0, 18.5));
  record.commanded(130, "V-1", "d2", "teal", 0.1);
  record.add("eye", 140, "V-1", lab(70.9, 4.0, 18.5));
  const line::VialRecord vial = folded(record).vials.at(0);
  ASSERT_THAT(vial.readings, SizeIs(2));
  EXPECT_TRUE(vial.readings[0].mixed);
  EXPECT_FALSE(vial.readings[1].mixed);
  EXPECT_NEAR(vial.doses[1].days, 30.0 / 86'400.0, 1e-12) << "from the first dose";
}

TEST(FoldColours, ReadingsOfOneGaugeInOneSessionShareItsNumber) {
  Record record = dosed();
  record.registered(101, "V-2");
  record.commanded(102, "V-2", "d2", "base", 5.0);
  double when = 200.0;
  for (const char* session : {"morning", "", "morning", "evening", ""}) {
    event::ColourRead data = lab(71.2, 4.0, 18.5);
    data.session = session;
    when += 1.0;
    record.add("eye", when, when < 204.0 ? "V-1" : "V-2", data);
  }
  const line::State state = folded(record);
  std::vector<int> numbers;
  for (const line::VialRecord& vial : state.vials)
    for (const line::VialReading& reading : vial.readings)
      numbers.push_back(reading.session_number);
  ASSERT_THAT(numbers, SizeIs(5));
  EXPECT_EQ(numbers[0], numbers[2]);
  EXPECT_EQ((std::set<int>(numbers.begin(), numbers.end()).size()), 4u)
      << "one without a name is by itself, whichever vial it is of";
}

TEST(FoldColours, CountsBecomeAbsorbances) {
  Record record = dosed();
  event::ColourRead data;
  data.instrument = "counts";
  data.channels = {{360.0, 60.0, 3060.0}, {1560.0, 60.0, 1560.0}};
  data.full_scale = 4095.0;
  record.add("eye", 200, "V-1", data);
  const line::VialReading seen = only_reading(record);
  ASSERT_THAT(seen.values, SizeIs(2));
  // A tenth of the light less the dark is absorbance 1; all of it is 0.
  EXPECT_NEAR(seen.values[0], 1.0, 1e-12);
  EXPECT_NEAR(seen.values[1], 0.0, 1e-12);
  EXPECT_EQ(seen.unusable, "");
}

struct Counts {
  std::string name;
  event::ChannelData counts;
  std::string why;
};
void PrintTo(const Counts& counts, std::ostream* out) { *out << counts.name; }
class FoldBadCounts : public testing::TestWithParam<Counts> {};
TEST_P(FoldBadCounts, AreKeptWithTheReasonAndSayNothing) {
  Record record = dosed();
  event::ColourRead data;
  data.instrument = "counts";
  data.channels = {{1560.0, 60.0, 3060.0}, GetParam().counts};
  data.full_scale = 4000.0;
  record.add("eye", 200, "V-1", data);
  const line::VialReading seen = only_reading(record);
  EXPECT_THAT(seen.values, IsEmpty());
  EXPECT_THAT(seen.unusable, HasSubstr(GetParam().why));
}
INSTANTIATE_TEST_SUITE_P(
    All, FoldBadCounts,
    testing::Values(
        Counts{"Clipped", {3801.0, 60.0, 3500.0}, "channel 2 is clipped (3801 counts, of 4000"},
        Counts{"BlankClipped", {900.0, 60.0, 3950.0}, "channel 2 is clipped (3950 counts"},
        Counts{"Dark", {79.0, 60.0, 3000.0}, "channel 2 is dark (79 counts, 60 without light)"},
        Counts{"BlankDark", {70.0, 60.0, 75.0}, "saw no light through the blank"}),
    [](const auto& info) { return info.param.name; });

TEST(FoldColours, WhatDoesNotFitItsGaugeIsToldAndIsNoReading) {
  const auto told = [](event::ColourRead data) {
    Record record = dosed();
    record.add("eye", 200, "V-1", std::move(data));
    const line::State state = folded(record);
    EXPECT_THAT(state.vials.at(0).readings, IsEmpty());
    return state.unread.empty() ? std::string("nothing") : state.unread[0].what;
  };
  event::ColourRead data = lab(71.2, 4.0, 18.5);
  data.instrument = "bands";
  EXPECT_THAT(told(data), HasSubstr("it gives 'lab', where the gauge gives 'spectrum'"));
  data.lab.reset();
  data.spectrum = {400.0, 100.0, {0.1, 0.2, 0.3}};
  EXPECT_THAT(told(data), HasSubstr("3 values from 400 nm by 100 nm, where the gauge has 4"));
  data.spectrum = {410.0, 100.0, {0.1, 0.2, 0.3, 0.4}};
  EXPECT_THAT(told(data), HasSubstr("from 410 nm"));
  data.instrument = "bench";
  EXPECT_THAT(told(data), HasSubstr("'bench' is a scale and gives no colour"));
  data.instrument = "counts";
  data.spectrum.reset();
  data.channels = {{1560.0, 60.0, 3060.0}};
  EXPECT_THAT(told(data), HasSubstr("1 channels, where the camera has 2"));
}

TEST(FoldColours, ImpossibleValuesSayNothing) {
  Record record = dosed();
  record.add("eye", 200, "V-1", lab(712.0, 4.0, 18.5));
  EXPECT_THAT(only_reading(record).unusable, HasSubstr("712 is no L*, a* or b*"));
}

TEST(FoldColours, APublishedRecipeBringsItsColours) {
  event::RecipePublished data;
  data.recipe = "mere";
  data.container = "vial 20";
  data.stocks = {"base", "teal"};
  data.tolerances = {{"net_mass", "", 19.0, 20.0, 21.0}};
  data.colours = {{{80.0, -40.0, 10.0}, "D65", "2", 2.0, 2.0},
                  {{82.0, -38.0, 12.0}, "A", "10", 2.0, 2.5}};
  Record record;
  record.add("office", 0, "", data);
  const line::State state = folded(record);
  ASSERT_THAT(state.unread, IsEmpty()) << state.unread[0].what;
  const recipe::Recipe* mere = line::find_recipe(state, "mere");
  ASSERT_NE(mere, nullptr);
  ASSERT_THAT(mere->colours, SizeIs(2));
  EXPECT_EQ(mere->colours[1],
            (recipe::ColourTarget{
                {82.0, -38.0, 12.0}, colour::Illuminant::a, colour::Observer::cie1964, 2.0}));
  EXPECT_EQ(mere->tolerances.at(2),
            recipe::tolerance(recipe::ToleranceOn::colour, 1, {{}, {}, 2.5}));
}

TEST(FoldColours, AnyOrderOfArrivalGivesTheSameState) {
  Record record = dosed();
  record.add("mixer", 110, "V-1", event::VialMixed{"mixer", 8.0});
  record.add("eye", 120, "V-1", lab(71.2, 4.0, 18.5));
  record.add("eye", 125, "V-1", lab(71.0, 4.1, 18.6));
  record.commanded(130, "V-1", "d2", "teal", 0.1);
  const std::string wanted = line::fingerprint(folded(record));
  EXPECT_THAT(wanted, HasSubstr("71.2"));
  support::Random random(20'261'125);
  for (int turn = 0; turn < 20; ++turn) {
    const auto facts = support::shuffled(record.facts(), random);
    EXPECT_EQ(line::fingerprint(line::fold(colour_line(), facts)), wanted);
  }
}

}  // namespace
}  // namespace vialwright
