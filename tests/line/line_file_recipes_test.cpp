// Recipes from a table: what is read, and what is said about a bad one.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <ostream>
#include <string>
#include <vector>

#include "line/line_file.hpp"
#include "support/long_form.hpp"

namespace vialwright::line {
namespace {

using recipe::ToleranceOn;
using testing::HasSubstr;

const LineFile& small_line() {
  static const auto line = parse_line_file(R"([line]
name = "Small"
[component.salt]
[component.water]
[stock.brine]
density = "1.07 g/mL"
[stock.water]
density = "0.998 g/mL"
[stock.syrup]
density = "1.3 g/mL"
[lot.b]
stock = "brine"
strength = { salt = "100 mg/g", water = "900 mg/g" }
[lot.w]
stock = "water"
strength = { water = "1000 mg/g" }
[compatibility]
may_meet = [["brine", "water"]]
[container.flask]
tare = "21.4 g, u 0.2 g"
brimful = "55 mL"
largest_fill = "50 mL"
)",
                                           "line.toml");
  return line.value();
}

const std::string good =
    R"(recipe,name,version,container,stocks,value,consumer_risk,on,of,low,target,high,within,unit
half,"Half, or so",2,flask,brine water,6.5,0.02,content,salt,,50.0,,2 %,mg/g
half,,,,,,,net_mass,,39.5,,40.5,,g
tenth,,1,flask,brine water,,,concentration,salt,,10,,0.4,mg/mL
tenth,,1,flask,,,,volume,,0.0398,0.04,0.0402,,L
tenth,,,,,,,stock_mass,brine,,,5,,g
)";

Checked<std::vector<recipe::Recipe>> read(const std::string& text) {
  return parse_recipes_csv(text, "recipes.csv", small_line());
}

std::string told(const Problems& problems) {
  std::string text;
  for (const Error& it : problems) text += it.where + " | " + it.what + " | " + it.mend + "\n";
  return text;
}

TEST(RecipeTable, IsReadAsItSays) {
  const auto recipes = read(good);
  ASSERT_TRUE(recipes.has_value()) << told(recipes.error());
  ASSERT_EQ(recipes->size(), 2u);
  const recipe::Recipe& half = recipes->at(0);
  EXPECT_EQ(half.id, "half");
  EXPECT_EQ(half.name, "Half, or so");
  EXPECT_EQ(half.version, 2);
  EXPECT_EQ(half.container, "flask");
  EXPECT_EQ(half.stocks, (std::vector<int>{0, 1}));
  EXPECT_EQ(half.value, 6.5);
  EXPECT_EQ(half.consumer_risk, 0.02);
  ASSERT_EQ(half.tolerances.size(), 2u);
  EXPECT_EQ(half.tolerances[0].on, ToleranceOn::content);
  EXPECT_EQ(half.tolerances[0].of, 0);
  // 2 % of 50.0 is 1.0; 1e-12 is rounding.
  EXPECT_NEAR(half.tolerances[0].low, 49.0, 1e-12);
  EXPECT_EQ(half.tolerances[0].target, 50.0);
  EXPECT_NEAR(half.tolerances[0].high, 51.0, 1e-12);
  EXPECT_EQ(half.tolerances[1].on, ToleranceOn::net_mass);
  EXPECT_EQ(half.tolerances[1].of, -1);
  EXPECT_EQ(half.tolerances[1].target, 40.0) << "the middle where none is given";
  const recipe::Recipe& tenth = recipes->at(1);
  EXPECT_EQ(tenth.name, "tenth");
  EXPECT_EQ(tenth.version, 1);
  ASSERT_EQ(tenth.tolerances.size(), 3u);
  EXPECT_NEAR(tenth.tolerances[0].low, 9.6, 1e-12) << "a bare width is in the row's unit";
  EXPECT_NEAR(tenth.tolerances[1].low, 39.8, 1e-12) << "0.0398 L";
  EXPECT_EQ(tenth.tolerances[2].low, -recipe::no_limit);
  EXPECT_EQ(tenth.tolerances[2].target, 0.0);
  EXPECT_EQ(tenth.tolerances[2].high, 5.0);
}

TEST(RecipeTable, IsTheSameWithOtherSeparatorsLineEndsAndMark) {
  const auto plain = read(good);
  ASSERT_TRUE(plain.has_value());
  std::string other = "\xEF\xBB\xBF";
  bool quoted = false;
  for (const char c : good) {
    if (c == '"') quoted = !quoted;
    if (c == '\n')
      other += "\r\n;;;\r\n";  // and rows without a word between
    else
      other += c == ',' && !quoted ? ';' : c;
  }
  const auto again = read(other);
  ASSERT_TRUE(again.has_value()) << told(again.error());
  ASSERT_EQ(again->size(), plain->size());
  for (std::size_t i = 0; i < plain->size(); ++i) {
    EXPECT_EQ(again->at(i).id, plain->at(i).id);
    EXPECT_EQ(again->at(i).name, plain->at(i).name);
    EXPECT_EQ(again->at(i).tolerances, plain->at(i).tolerances);
  }
}

TEST(RecipeTable, ALowerLimitOfZeroIsNone) {
  // No content is below zero, so the limit must not cost odds where doubt reaches below it.
  std::string text = good;
  text.replace(text.find(",,,5,,g"), 7, ",0,,5,,g");
  const auto recipes = read(text);
  ASSERT_TRUE(recipes.has_value()) << told(recipes.error());
  EXPECT_EQ(recipes->at(1).tolerances[2].low, -recipe::no_limit);
}

// ---- bad tables -----------------------------------------------------------------------------

struct Bad {
  std::string name, from, to;
  std::string where, what, mend;  ///< where is whole, the others are fragments
};
void PrintTo(const Bad& bad, std::ostream* out) { *out << bad.name; }

class BadRecipeTable : public testing::TestWithParam<Bad> {};

TEST_P(BadRecipeTable, SaysWhereWhatAndHowToMendIt) {
  const Bad& bad = GetParam();
  std::string text = good;
  const auto at = text.find(bad.from);
  ASSERT_NE(at, std::string::npos) << "the case replaces what is not there";
  text.replace(at, bad.from.size(), bad.to);
  const auto recipes = read(text);
  ASSERT_FALSE(recipes.has_value());
  ASSERT_EQ(recipes.error().size(), 1u) << "one slip is one problem\n" << told(recipes.error());
  EXPECT_EQ(recipes.error()[0].where, bad.where) << told(recipes.error());
  EXPECT_THAT(recipes.error()[0].what, HasSubstr(bad.what));
  EXPECT_THAT(recipes.error()[0].mend, HasSubstr(bad.mend));
}

const std::vector<Bad> columns = {
    {"UnknownColumn", ",within,", ",withn,", "recipes.csv:1:80", "unknown column 'withn'",
     "did you mean 'within'?"},
    {"MissingColumn", ",unit\n", "\n", "recipes.csv:1:1", "column 'unit' is missing", "first row"},
    {"ColumnTwice", "recipe,name", "recipe,recipe", "recipes.csv:1:8", "'recipe' stands twice",
     "delete one"},
    {"TooManyCells", "39.5,,40.5,,g", "39,5,,40,5,,g", "recipes.csv:3:33", "more cells",
     "decimals with a point"},
    {"QuoteNotClosed", "\"Half, or so\"", "\"Half, or so", "recipes.csv:2:6", "never closed",
     "close it"},
};
const std::vector<Bad> cells = {
    {"DecimalComma", ",,50.0,,", R"(,,"50,0",,)", "recipes.csv:2:63, column target",
     "'50,0' is not a number", "with a point"},
    {"NotANumber", ",39.5,", ",much,", "recipes.csv:3:22, column low", "'much' is not a number",
     "decimal number"},
    {"NaN", ",39.5,", ",nan,", "recipes.csv:3:22, column low", "'nan' is not a number", "finite"},
    {"Infinity", ",39.5,", ",inf,", "recipes.csv:3:22, column low", "'inf' is not a number",
     "finite"},
    {"TooLarge", ",39.5,", ",1e999,", "recipes.csv:3:22, column low", "'1e999' is not a number",
     "finite"},
    {"UnknownUnit", "40.5,,g", "40.5,,gm", "recipes.csv:3:34, column unit", "unit 'gm'",
     "did you mean 'g'?"},
    {"NoUnit", "40.5,,g", "40.5,,", "recipes.csv:3:34, column unit", "unit '' is not known",
     "UCUM"},
    {"WrongDimension", "40.5,,g", "40.5,,mL", "recipes.csv:3:34, column unit",
     "unit 'mL' does not fit here", "kg, g, mg"},
    {"UnknownSubject", "net_mass", "nett_mass", "recipes.csv:3:12, column on",
     "'nett_mass' is nothing that a line can be on", "did you mean 'net_mass'?"},
    {"NoSubject", "content,salt", "content,", "recipes.csv:2:57, column of",
     "does not say what it is of", "name a component"},
    {"SubjectTooMany", "net_mass,,", "net_mass,salt,", "recipes.csv:3:21, column of",
     "of the whole vial, not of 'salt'", "leave the cell empty"},
    {"NoId", "half,,,,,,,net_mass", ",,,,,,,net_mass", "recipes.csv:3:1, column recipe",
     "'' is no usable id", "letters, digits"},
    {"VersionZero", "\"Half, or so\",2,", "\"Half, or so\",0,", "recipes.csv:2:20, column version",
     "version '0' is no whole number", "from 1"},
    {"VersionDiffers", "tenth,,1,flask,,", "tenth,,3,flask,,", "recipes.csv:5:8, column version",
     "'3' differs from '1'", "another table"},
    {"WithinBesideLimits", ",,50.0,,2 %,", ",49,50.0,,2 %,", "recipes.csv:2:71, column within",
     "not beside low or high", "target and within"},
    {"WithinAlone", ",,50.0,,2 %,", ",,,,2 %,", "recipes.csv:2:65, column within",
     "beside a target", "target and within"},
    {"WithinInAWrongUnit", "2 %", "2 mL", "recipes.csv:2:69, column within",
     "unit 'mL' does not fit here", "mg/g"},
};
const std::vector<Bad> meanings = {
    {"NoSuchComponent", "content,salt", "content,sald",
     "recipes.csv:2:49, recipe.half.content.sald", "there is no component 'sald'",
     "did you mean 'salt'?"},
    {"NoSuchStock", "flask,brine water,6.5", "flask,brine watr,6.5",
     "recipes.csv:2:28, recipe.half.stocks", "there is no stock 'watr'", "did you mean 'water'?"},
    {"NoSuchContainer", "2,flask", "2,flusk", "recipes.csv:2:22, recipe.half.container",
     "there is no container 'flusk'", "did you mean 'flask'?"},
    {"MayNotMeet", "brine water,,,conc", "water syrup,,,conc",
     "recipes.csv:4:16, recipe.tenth.stocks",
     "'water' and 'syrup' are not listed as stocks that may meet", "compatibility.may_meet"},
    {"LimitsCrossed", "39.5,,40.5", "40.5,,39.5", "recipes.csv:3:12, recipe.half.net_mass",
     "is not below the upper limit 39.5 g", "leave room"},
    {"TargetOutside", "39.5,,40.5", "39.5,41,40.5", "recipes.csv:3:12, recipe.half.net_mass",
     "the target 41 g is outside", "between"},
    {"BoundsNothing", "39.5,,40.5", ",40,", "recipes.csv:3:12, recipe.half.net_mass",
     "bounds nothing", "limit"},
    {"BeyondTheContainer", "39.5,,40.5", "79.5,,80.5", "recipes.csv:3:12, recipe.half.net_mass",
     "container 'flask' takes at most 50 mL", "larger container"},
    {"TwoLinesOnOneThing", "net_mass,,39.5,,40.5,,g", "content,salt,49,,50,,mg/g",
     "recipes.csv:2:49, recipe.half.content.salt", "two lines on the content of salt", "one line"},
    {"RiskTooLarge", "6.5,0.02", "6.5,0.9", "recipes.csv:2:44, recipe.half.consumer_risk",
     "0.9 is no usable probability", "below 0.5"},
    {"NegativeLimit", "stock_mass,brine,,,5", "stock_mass,brine,,,-5",
     "recipes.csv:6:13, recipe.tenth.stock_mass.brine", "below 0 g", "0 or more"},
};

std::string name_of(const testing::TestParamInfo<Bad>& info) { return info.param.name; }
INSTANTIATE_TEST_SUITE_P(Columns, BadRecipeTable, testing::ValuesIn(columns), name_of);
INSTANTIATE_TEST_SUITE_P(Cells, BadRecipeTable, testing::ValuesIn(cells), name_of);
INSTANTIATE_TEST_SUITE_P(Meanings, BadRecipeTable, testing::ValuesIn(meanings), name_of);

TEST(RecipeTable, SaysEveryProblemInOneRun) {
  const auto recipes = read(R"(recipe,container,stocks,on,of,low,high,unit
a,flask,brine water,content,salt,40,x,mg/g
a,,,net_mass,,39,41,kilos
b,flusk,brine water,content,salt,40,60,mg/g
c d,flask,water,net_mass,,39,41,g
)");
  ASSERT_FALSE(recipes.has_value());
  std::vector<std::string> where;
  for (const Error& it : recipes.error()) where.push_back(it.where);
  EXPECT_EQ(where, (std::vector<std::string>{
                       "recipes.csv:2:37, column high",
                       "recipes.csv:3:21, column unit",
                       "recipes.csv:4:3, recipe.b.container",
                       "recipes.csv:5:1, column recipe",
                   }))
      << told(recipes.error());
}

TEST(RecipeTable, RefusesWhatIsNoTable) {
  const auto said = [](const std::string& text) {
    const auto recipes = read(text);
    return recipes ? "" : recipes.error()[0].where + " " + recipes.error()[0].what;
  };
  EXPECT_EQ(said(""), "recipes.csv the table is empty");
  EXPECT_EQ(said(good.substr(0, good.find('\n') + 1)), "recipes.csv the table has no recipe");
  EXPECT_EQ(said(good + "a\xFF"), "recipes.csv:7:2 a byte that is not UTF-8");
  EXPECT_EQ(said(good + std::string(1, '\0')), "recipes.csv:7:1 a byte 0 in the text");
  EXPECT_EQ(said(good + std::string(100000, 'x')),
            "recipes.csv:7:1 a line of more than 65536 bytes");
}

TEST(RecipeTable, CutShortAnywhereItIsRefusedOrReadWithoutACrash) {
  for (std::size_t length = 0; length < good.size(); ++length) {
    const auto recipes = read(good.substr(0, length));
    EXPECT_TRUE(recipes || !recipes.error().empty());
  }
}

/// A file that goes away with the test.
class TemporaryFile {
 public:
  explicit TemporaryFile(const std::string& name)
      : path_(testing::TempDir() + "vialwright_" + std::to_string(::getpid()) + "_" + name) {}
  ~TemporaryFile() { std::filesystem::remove(path_); }
  TemporaryFile(const TemporaryFile&) = delete;
  TemporaryFile& operator=(const TemporaryFile&) = delete;
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  std::string path_;
};

TEST(RecipeTable, RefusesAHundredMegabyteLineWithoutHoldingIt) {
  const TemporaryFile file("large.csv");
  {
    std::ofstream out(file.path(), std::ios::binary);
    const std::string part(1 << 20, 'x');
    for (int i = 0; i < 100; ++i) out << part;
  }
  rusage before{}, after{};
  getrusage(RUSAGE_SELF, &before);
  const auto recipes = read_recipes_csv(file.path(), small_line());
  getrusage(RUSAGE_SELF, &after);
  ASSERT_FALSE(recipes.has_value());
  EXPECT_EQ(recipes.error()[0].where, file.path());
  EXPECT_THAT(recipes.error()[0].what, HasSubstr("larger than 16777216 bytes"));
  // 16 MiB of text, twice while it grows; holding the 100 MiB would raise the peak by more.
  EXPECT_LT(after.ru_maxrss - before.ru_maxrss, 64 * 1024) << "KiB";
}

TEST(RecipeTable, RefusesMoreRecipesThanItHolds) {
  if (!support::long_form()) GTEST_SKIP() << "200,001 recipes take their time under a sanitizer";
  std::string text = "recipe,container,stocks,on,of,low,unit\n";
  for (int i = 0; i <= 200'000; ++i) text += std::to_string(i) + ",flask,water,net_mass,,1,g\n";
  const auto recipes = read(text);
  ASSERT_FALSE(recipes.has_value());
  ASSERT_EQ(recipes.error().size(), 1u) << told(recipes.error());
  EXPECT_EQ(recipes.error()[0].where, "recipes.csv:200002:1, column recipe");
  EXPECT_THAT(recipes.error()[0].what, HasSubstr("more than 200000 recipes"));
}

TEST(RecipeTable, SaysWhenTheFileIsNotThere) {
  const auto recipes = read_recipes_csv("/nowhere/recipes.csv", small_line());
  ASSERT_FALSE(recipes.has_value());
  EXPECT_EQ(recipes.error()[0].kind, Error::Kind::missing);
  EXPECT_EQ(recipes.error()[0].where, "/nowhere/recipes.csv");
}

}  // namespace
}  // namespace vialwright::line
