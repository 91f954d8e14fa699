/// Shifts of a line that looks at colours: what is planted shows, and everything else stays.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "twin/colour_line.hpp"

namespace vialwright::twin {
namespace {

using coloured::looked_at;
using coloured::tinted;
using small::about;
using small::Heard;
using small::heard;
using testing::IsEmpty;
using testing::SizeIs;

bool has(const VialTruth& vial, Fault fault) {
  return std::find(vial.faults.begin(), vial.faults.end(), fault) != vial.faults.end();
}

int count(const Shift& shift, Fault fault) {
  return static_cast<int>(std::count_if(shift.truth.begin(), shift.truth.end(),
                                        [&](const VialTruth& one) { return has(one, fault); }));
}

Shift record(const ShiftPlan& plan, const plant::Plant& plant, const recipe::Book& book) {
  return record_shift(plant, book, small::recipes(), small::orders(plan.vials), plan);
}

ShiftPlan all_colour_faults(int vials) {
  ShiftPlan plan = small::plan(71, vials);
  plan.faults.contaminated = plan.faults.faded = plan.faults.colour_glare =
      plan.faults.read_unmixed = 0.5;
  return plan;
}

TEST(TwinColourFaults, ALineWithoutGaugesRecordsTheSameBytes) {
  const Shift plain = record(small::plan(71, 40), small::plant(), small::book());
  EXPECT_EQ(record(all_colour_faults(40), small::plant(), small::book()).lines, plain.lines);
  EXPECT_EQ(record(all_colour_faults(40), small::plant(), tinted()).lines, plain.lines);
}

TEST(TwinColourFaults, AGaugeAddsItsReadingsAndChangesNothingElse) {
  const Shift plain = record(small::plan(72, 40), small::plant(), small::book());
  const Shift seen = record(small::plan(72, 40), looked_at(), tinted());
  // Links carry every message with a jitter of its own, in the order of sending: the bodies and
  // times are the same, what arrives when is not.
  std::multiset<std::string> without, rest;
  int looks = 0;
  for (const std::string& line : plain.lines) without.insert(line);
  for (const std::string& line : seen.lines) {
    const bool look = line.find("vialwright.colour.read") != std::string::npos;
    looks += look ? 1 : 0;
    if (!look) rest.insert(line);
  }
  EXPECT_EQ(looks, 40);
  EXPECT_EQ(without, rest);
}

TEST(TwinColourFaults, EachIsPlantedAtItsRateAndMarked) {
  ShiftPlan plan = small::plan(73, 600);
  plan.faults.contaminated = 0.1;
  plan.faults.faded = 0.08;
  plan.faults.colour_glare = 0.06;
  plan.faults.read_unmixed = 0.04;
  const Shift shift = record(plan, looked_at(), tinted());
  // Binomial, four standard deviations.
  EXPECT_NEAR(count(shift, Fault::contaminated), 60, 30);
  EXPECT_NEAR(count(shift, Fault::faded), 48, 27);
  EXPECT_NEAR(count(shift, Fault::colour_glare), 36, 24);
  EXPECT_NEAR(count(shift, Fault::read_unmixed), 24, 20);
  const auto all = heard(shift);
  ASSERT_EQ(all.size(), shift.lines.size());
  std::map<std::string, Instant> mixed, looked;
  for (const Heard& one : all) {
    if (std::holds_alternative<event::VialMixed>(one.event.data)) {
      mixed[one.event.subject] = one.event.time;
    }
    if (std::holds_alternative<event::ColourRead>(one.event.data)) {
      looked[one.event.subject] = one.event.time;
    }
  }
  for (const VialTruth& vial : shift.truth) {
    SCOPED_TRACE(vial.serial);
    ASSERT_TRUE(looked.contains(vial.serial));
    EXPECT_EQ(looked[vial.serial] < mixed[vial.serial], has(vial, Fault::read_unmixed));
  }
}

/// Reading less what an eye on that vial would see, as a difference in colour.
double off(const VialTruth& vial, const event::ColourRead& read) {
  recipe::ColourTarget as_seen;
  as_seen.path_cm = 2.0;
  const auto& lab = *read.lab;
  return colour::difference_76({lab[0], lab[1], lab[2]}, colour_of(vial, as_seen));
}

TEST(TwinColourFaults, GlareAndUnmixedReadingsAreFarOffAndOthersAreNot) {
  ShiftPlan plan = small::plan(74, 300);
  plan.faults.colour_glare = plan.faults.read_unmixed = 0.1;
  const Shift shift = record(plan, looked_at(), tinted());
  const auto all = heard(shift);
  int far_glare = 0, far_unmixed = 0;
  for (const VialTruth& vial : shift.truth) {
    SCOPED_TRACE(vial.serial);
    const auto reads = about<event::ColourRead>(all, vial.serial);
    ASSERT_THAT(reads, SizeIs(1));
    const double by = off(vial, reads[0]);
    if (has(vial, Fault::colour_glare) && !has(vial, Fault::read_unmixed)) {
      far_glare += by > 2.0 ? 1 : 0;
    } else if (has(vial, Fault::read_unmixed)) {
      far_unmixed += by > 2.0 ? 1 : 0;
    } else {
      // Noise of 0.3 an axis with heavy tails; path and bands 1 % and half a nanometre of a chroma
      // of 30.
      EXPECT_LT(by, 3.0);
    }
  }
  EXPECT_EQ(
      far_glare, count(shift, Fault::colour_glare) - [&] {
        return static_cast<int>(
            std::count_if(shift.truth.begin(), shift.truth.end(), [](const VialTruth& vial) {
              return has(vial, Fault::colour_glare) && has(vial, Fault::read_unmixed);
            }));
      }());
  EXPECT_GT(far_unmixed, count(shift, Fault::read_unmixed) / 2);
}

TEST(TwinColourFaults, AShareOfTheVialsGoesToTheBench) {
  ShiftPlan plan = small::plan(75, 400);
  plan.bench_colour = 0.1;
  plant::Plant plant = looked_at();
  plant::ColourGauge spectrometer;
  spectrometer.gives = plant::ColourGauge::Gives::spectrum;
  plant.instruments.push_back(coloured::gauge("bench", spectrometer, 0.002));
  const Shift shift = record(plan, plant, tinted());
  const auto all = heard(shift);
  int at_bench = 0;
  for (const VialTruth& vial : shift.truth) {
    const auto reads = about<event::ColourRead>(all, vial.serial);
    ASSERT_FALSE(reads.empty());
    EXPECT_EQ(reads[0].instrument, "eye");
    ASSERT_LE(reads.size(), 2U);
    if (reads.size() < 2) continue;
    ++at_bench;
    EXPECT_EQ(reads[1].instrument, "bench");
    EXPECT_THAT(reads[1].spectrum->values, SizeIs(31));
  }
  EXPECT_NEAR(at_bench, 40, 24);  // binomial, four standard deviations
}

TEST(TwinColourFaults, TheTruthTellsTheColourAndWhetherItIsRight) {
  ShiftPlan plan = small::plan(76, 20);
  std::vector<recipe::Recipe> recipes = {coloured::green()};
  const Shift shift = record_shift(coloured::plant(), coloured::book(), recipes, {}, plan);
  for (const VialTruth& vial : shift.truth) {
    const double from =
        colour::difference_00(colour_of(vial, recipes[0].colours[0]), recipes[0].colours[0].lab);
    EXPECT_NE(shift.truth_json.find("\"difference\":" + quantity::shortest(from)),
              std::string::npos);
    if (from > 1.0) {
      EXPECT_FALSE(meets(vial, recipes[0]));
    }
  }
  EXPECT_NE(shift.truth_json.find("\"dyes\""), std::string::npos);
  EXPECT_NE(shift.truth_json.find("\"colour_gauges\""), std::string::npos);
}

TEST(TwinColourFaults, APublishedRecipeTellsItsColour) {
  const Shift shift = record_shift(coloured::plant(), coloured::book(), {coloured::green()}, {},
                                   small::plan(77, 2));
  const auto all = heard(shift);
  const auto found = std::find_if(all.begin(), all.end(), [](const Heard& one) {
    return std::holds_alternative<event::RecipePublished>(one.event.data);
  });
  ASSERT_NE(found, all.end());
  const auto& data = std::get<event::RecipePublished>(found->event.data);
  EXPECT_THAT(data.tolerances, SizeIs(3));
  ASSERT_THAT(data.colours, SizeIs(1));
  EXPECT_DOUBLE_EQ(data.colours[0].lab[1], -56.6516);
  EXPECT_DOUBLE_EQ(data.colours[0].limit, 1.0);
  EXPECT_DOUBLE_EQ(data.colours[0].path_cm, 2.0);
}

// Hardness is meant to lie within 0 and 1; beyond, departures grow, and what is recorded stays
// finite (an event refuses what is not).
TEST(TwinColourFaults, HardnessBeyondItsRangeStaysFinite) {
  for (const double hardness : {2.0, 4.0, 10.0}) {
    ShiftPlan plan = small::plan(78, 60, hardness);
    plan.faults.open_too_long = 0.3;
    const Shift shift = record(plan, looked_at(), tinted());
    EXPECT_THAT(heard(shift), SizeIs(shift.lines.size()));
    for (const VialTruth& vial : shift.truth) EXPECT_GE(vial.evaporated_g, 0.0) << vial.serial;
  }
}

}  // namespace
}  // namespace vialwright::twin
