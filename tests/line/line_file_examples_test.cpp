// The lines we ship load without a problem, and say what their files say.
#include <gtest/gtest.h>

#include <algorithm>
#include <string>

#include "line/line_file.hpp"

namespace vialwright::line {
namespace {

std::string example(const std::string& name) {
  return std::string(VIALWRIGHT_SOURCE_DIR) + "/examples/" + name;
}

std::string told(const Problems& problems) {
  std::string text;
  for (const Error& it : problems) text += it.where + ": " + it.what + "; " + it.mend + "\n";
  return text;
}

TEST(Examples, LarkmoorLoadsWithoutAProblem) {
  const auto line = read_line_file(example("larkmoor/line.toml"));
  ASSERT_TRUE(line.has_value()) << told(line.error());
  EXPECT_EQ(line->name, "Larkmoor, line 1");
  ASSERT_EQ(line->book.components.size(), 6u);
  EXPECT_EQ(line->book.components[0].id, "yellow") << "the order is the file's";
  EXPECT_EQ(line->book.components[5].id, "water");
  EXPECT_EQ(line->plant.holding.places, 6);
  EXPECT_EQ(line->plant.holding.longest_days, 5.0);
  EXPECT_DOUBLE_EQ(line->book.components[1].fade_per_day, 0.005);
  const auto recipes = read_recipes_csv(example("larkmoor/recipes.csv"), *line);
  ASSERT_TRUE(recipes.has_value()) << told(recipes.error());
  EXPECT_GE(recipes->size(), 40u);
}

TEST(Examples, QuillbeckLoadsWithoutAProblemAndIsQuiteAnotherLine) {
  const auto line = read_line_file(example("quillbeck/line.toml"));
  ASSERT_TRUE(line.has_value()) << told(line.error());
  EXPECT_FALSE(line->plant.command_is_evidence);
  EXPECT_TRUE(line->plant.tanks.empty());
  EXPECT_EQ(std::ranges::count(line->plant.instruments, plant::InstrumentKind::scale,
                               &plant::Instrument::kind),
            1);
  for (const plant::Station& station : line->plant.stations) EXPECT_EQ(station.meters.size(), 1u);
  EXPECT_GE(line->recipes.size(), 5u);
}

TEST(Examples, QuillbeckSaysWhatItsFileSays) {
  const auto line = read_line_file(example("quillbeck/line.toml"));
  ASSERT_TRUE(line.has_value()) << told(line.error());
  // 1e-12 relative is rounding of the conversion.
  const recipe::Lot& lot = line->book.lots.at(0);
  EXPECT_NEAR(lot.strengths.at(0).mg_per_g, 250.8, 1e-9);
  EXPECT_NEAR(lot.strengths.at(0).u_mg_per_g, 0.6, 1e-12) << "1.2 g/kg at k = 2";
  EXPECT_EQ(lot.strengths.at(1).mg_per_g, 0.0) << "left out is absent";
  EXPECT_EQ(quantity::to_text(lot.expires.value()), "2027-09-30T16:00:00.000Z");
  EXPECT_NEAR(line->book.stocks.at(2).density_g_per_ml, 0.9982, 1e-12) << "998.2 kg/m3";
  const auto& mix = line->recipes.at(3);
  EXPECT_EQ(mix.version, 2);
  EXPECT_EQ(mix.consumer_risk, 0.02);
  ASSERT_EQ(mix.tolerances.size(), 3u);
  EXPECT_NEAR(mix.tolerances[1].low, 11.64, 1e-12) << "12.0 less 3 %";
  EXPECT_NEAR(mix.tolerances[1].high, 12.36, 1e-12);
  EXPECT_EQ(mix.tolerances[2].target, 45.0);
}

}  // namespace
}  // namespace vialwright::line
