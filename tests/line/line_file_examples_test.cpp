// The lines we ship load without a problem, and say what their files say.
#include <gtest/gtest.h>

#include <set>
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
  const auto recipes = read_recipes_csv(example("larkmoor/recipes.csv"), *line);
  ASSERT_TRUE(recipes.has_value()) << told(recipes.error());
  EXPECT_GE(recipes->size(), 40u);
}

}  // namespace
}  // namespace vialwright::line
