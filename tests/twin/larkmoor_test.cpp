/// The demo line on the twin: a decent shift, and one that the fold takes without a complaint.

#include <gtest/gtest.h>

#include <fstream>
#include <iostream>
#include <string>

#include "line/line.hpp"
#include "twin/twin.hpp"

namespace vialwright::twin {
namespace {

const std::string folder = VIALWRIGHT_SOURCE_DIR "/examples/larkmoor/";

std::vector<OrderWanted> larkmoor_orders() {
  std::vector<OrderWanted> orders;
  std::ifstream file(folder + "orders.jsonl");
  std::string text;
  while (std::getline(file, text)) {
    const auto read = event::parse(text, "orders.jsonl");
    EXPECT_TRUE(read.has_value()) << text;
    if (!read) continue;
    const auto& placed = std::get<event::OrderPlaced>(read->data);
    orders.push_back(
        {placed.order, placed.recipe, placed.due.value_or(read->time), placed.value, 0});
  }
  return orders;
}

struct Larkmoor {
  line::LineFile line;
  std::vector<OrderWanted> orders = larkmoor_orders();
};

Larkmoor larkmoor() {
  auto line = line::read_line_file(folder + "line.toml");
  EXPECT_TRUE(line.has_value());
  Larkmoor made{std::move(*line)};
  auto recipes = line::read_recipes_csv(folder + "recipes.csv", made.line);
  EXPECT_TRUE(recipes.has_value());
  made.line.recipes = std::move(*recipes);
  return made;
}

ShiftPlan plan(std::uint64_t seed, int vials) {
  ShiftPlan made;
  made.seed = seed;
  made.vials = vials;
  made.start = Instant{1795500000000000};
  return made;
}

FaultRates moderate() {
  FaultRates rates;
  rates.over_dose = rates.under_dose = 0.015;
  rates.swapped_vials = 0.004;
  rates.gross_blunder = rates.open_too_long = 0.006;
  rates.missing_event = rates.late_event = rates.duplicate_event = 0.01;
  rates.out_of_order = 0.02;
  rates.conflicting_event = 0.004;
  rates.drifting_meter = rates.wrong_lot = 1;
  return rates;
}

int good(const Shift& shift, const std::vector<recipe::Recipe>& recipes) {
  int number = 0;
  for (const VialTruth& vial : shift.truth) {
    for (const recipe::Recipe& recipe : recipes) {
      if (recipe.id == vial.recipe && meets(vial, recipe)) ++number;
    }
  }
  return number;
}

TEST(TwinLarkmoor, ThereAreOrdersForAShiftAndSomeToSpare) {
  EXPECT_GE(larkmoor_orders().size(), 620U);
}

TEST(TwinLarkmoor, AboutNineteenVialsInTwentyAreGood) {
  const Larkmoor demo = larkmoor();
  int all = 0;
  constexpr int worlds = 10;
  for (int seed = 1; seed <= worlds; ++seed) {
    ShiftPlan wanted = plan(static_cast<std::uint64_t>(seed), 600);
    wanted.faults = moderate();
    const Shift shift =
        record_shift(demo.line.plant, demo.line.book, demo.line.recipes, demo.orders, wanted);
    const int number = good(shift, demo.line.recipes);
    RecordProperty("good with seed " + std::to_string(seed), number);
    std::cout << "seed " << seed << ": " << number << " of 600 good, " << shift.lines.size()
              << " events\n";
    all += number;
  }
  // The demo's own aim, 93 to 96 in 100 in most worlds; a lot off by 2 u can cost a tenth of one.
  EXPECT_GT(all, 0.92 * 600 * worlds);
  EXPECT_LT(all, 0.97 * 600 * worlds);
}

line::State folded(const Larkmoor& demo, const Shift& shift) {
  std::vector<line::Fact> facts;
  for (std::size_t i = 0; i < shift.lines.size(); ++i) {
    auto read = event::parse(shift.lines[i], "shift");
    EXPECT_TRUE(read.has_value());
    facts.push_back({std::move(*read), i + 1, shift.received[i]});
  }
  const Instant end = quantity::later_by(shift.received.back(), 60.0);
  return line::fold(demo.line, std::move(facts), end);
}

TEST(TwinLarkmoor, AShiftWithoutFaultsFoldsWithoutAConflict) {
  const Larkmoor demo = larkmoor();
  const Shift shift =
      record_shift(demo.line.plant, demo.line.book, demo.line.recipes, demo.orders, plan(3, 120));
  const line::State state = folded(demo, shift);
  EXPECT_TRUE(state.conflicts.empty()) << state.conflicts.front().what;
  EXPECT_TRUE(state.unread.empty()) << state.unread.front().what;
  ASSERT_EQ(state.vials.size(), 120U);
  for (const line::VialRecord& vial : state.vials) {
    SCOPED_TRACE(vial.serial);
    EXPECT_TRUE(vial.conflicts.empty()) << vial.conflicts.front().what;
    EXPECT_TRUE(vial.recipe.has_value());
    EXPECT_TRUE(vial.capped);
    EXPECT_GE(vial.readings.size(), 3U);  // tare, level, gross
    for (const line::VialReading& reading : vial.readings) {
      EXPECT_EQ(reading.quality, line::Quality::clear);
      EXPECT_TRUE(reading.climate.has_value());
    }
    for (const line::DoseRecord& dose : vial.doses) {
      EXPECT_TRUE(dose.commanded_g.has_value());
      EXPECT_GE(dose.lot, 0);
      EXPECT_TRUE(dose.tank_loss.has_value());
    }
  }
}

TEST(TwinLarkmoor, ASwapThatTheScannerSeesIsAConflictOfBothVials) {
  const Larkmoor demo = larkmoor();
  ShiftPlan wanted = plan(4, 120);
  wanted.faults.swapped_vials = 0.2;
  const Shift shift =
      record_shift(demo.line.plant, demo.line.book, demo.line.recipes, demo.orders, wanted);
  const line::State state = folded(demo, shift);
  int seen = 0;
  for (const VialTruth& vial : shift.truth) {
    const line::VialRecord* record = line::find_vial(state, vial.serial);
    ASSERT_NE(record, nullptr);
    if (vial.faults.empty()) {
      EXPECT_TRUE(record->conflicts.empty()) << vial.serial << record->conflicts.front().what;
    } else if (!record->conflicts.empty()) {
      ++seen;
    }
  }
  EXPECT_GE(seen, 4);
}

}  // namespace
}  // namespace vialwright::twin
