// docs/formats.md against the table of keys that the reader uses.
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <sstream>
#include <string>

#include "line/line_file_keys.hpp"

namespace vialwright::line {
namespace {

const std::string begin_mark = "<!-- begin: keys of the line file -->\n";
const std::string end_mark = "<!-- end: keys of the line file -->";

std::string formats_page() { return std::string(VIALWRIGHT_SOURCE_DIR) + "/docs/formats.md"; }

std::string content_of(const std::string& path) {
  std::ifstream file(path);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

TEST(KeyReference, IsWhatTheFormatsPageShows) {
  const std::string page = content_of(formats_page());
  const auto begin = page.find(begin_mark), end = page.find(end_mark);
  ASSERT_NE(begin, std::string::npos) << "the page lost the mark " << begin_mark;
  ASSERT_NE(end, std::string::npos) << "the page lost the mark " << end_mark;
  const auto from = begin + begin_mark.size();
  const std::string wanted = "\n" + key_reference() + "\n";
  if (std::getenv("VIALWRIGHT_WRITE_REFERENCE") != nullptr) {
    std::ofstream(formats_page()) << page.substr(0, from) << wanted << page.substr(end);
    GTEST_SKIP() << "the reference was written into docs/formats.md";
  }
  EXPECT_EQ(page.substr(from, end - from), wanted)
      << "run this test once with VIALWRIGHT_WRITE_REFERENCE=1 and read what it changed";
}

TEST(FormatsPage, NamesEveryUnitThatIsTaken) {
  const std::string page = content_of(formats_page());
  for (const std::string_view unit : quantity::known_units())
    EXPECT_NE(page.find("`" + std::string(unit) + "`"), std::string::npos) << unit;
}

TEST(FormatsPage, ItsSmallLineAndItsTableAreRead) {
  const std::string page = content_of(formats_page());
  const auto block = [&page](const std::string& fence) {
    const auto from = page.find(fence) + fence.size();
    return page.substr(from, page.find("```", from) - from);
  };
  const auto line = parse_line_file(block("```toml\n"), "formats.md");
  ASSERT_TRUE(line.has_value()) << line.error().front().where << line.error().front().what;
  const auto recipes = parse_recipes_csv(block("```csv\n"), "formats.md", *line);
  ASSERT_TRUE(recipes.has_value()) << recipes.error().front().where << recipes.error().front().what;
  // The page gives one recipe in both forms.
  ASSERT_EQ(line->recipes.size(), 1u);
  ASSERT_EQ(recipes->size(), 1u);
  const auto& one = line->recipes.front();
  const auto& other = recipes->front();
  EXPECT_EQ(one.id, other.id);
  EXPECT_EQ(one.stocks, other.stocks);
  EXPECT_EQ(one.container, other.container);
  EXPECT_EQ(one.tolerances, other.tolerances);
}

}  // namespace
}  // namespace vialwright::line
