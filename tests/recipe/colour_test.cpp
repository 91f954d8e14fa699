// What a colour in a book or a recipe may not be.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>
#include <limits>
#include <ostream>
#include <string>
#include <vector>

#include "recipe/recipe.hpp"

namespace vialwright::recipe {
namespace {

using testing::HasSubstr;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

Book sound_book() {
  Book book;
  Component dye, salt, water;
  dye.id = "dye";
  dye.fade_per_day = 0.002;
  dye.absorptivity = {{380.0, 500.0, 630.0, 780.0}, {2.0, 10.0, 163.0, 0.0}};
  dye.u_absorptivity_rel = 0.005;
  salt.id = "salt";
  water.id = "water";
  water.evaporates = true;
  book.components = {dye, salt, water};
  Stock base, teal, milk;
  base.id = "base";
  teal.id = "teal";
  milk.id = "milk";
  milk.scatters = true;
  book.stocks = {base, teal, milk};
  book.lots = {{"b1", 0, {{0, 0}, {0, 0}, {997, 0.5}}, {}},
               {"t1", 1, {{0.2, 0.002}, {0, 0}, {995, 0.5}}, {}}};
  book.may_meet = {{0, 1}, {0, 2}, {1, 2}};
  return book;
}

Recipe sound_recipe() {
  Recipe recipe;
  recipe.id = "R";
  recipe.container = "vial";
  recipe.stocks = {0, 1};
  recipe.colours = {{{86.9, -56.7, 50.8}, colour::Illuminant::d65, colour::Observer::cie1931, 2.0},
                    {{88.0, -60.1, 48.2}, colour::Illuminant::a, colour::Observer::cie1931, 2.0}};
  recipe.tolerances = {tolerance(ToleranceOn::net_mass, -1, {19.7, {}, 20.3}),
                       tolerance(ToleranceOn::colour, 0, {{}, {}, 2.0}),
                       tolerance(ToleranceOn::colour, 1, {{}, {}, 2.5})};
  return recipe;
}

TEST(ColourProblems, SoundOnesHaveNone) {
  EXPECT_TRUE(problems(sound_book()).empty());
  const Problems found = problems(sound_recipe(), sound_book());
  EXPECT_TRUE(found.empty()) << found.front().where << found.front().what;
}

struct Bad {
  std::string name;
  std::function<void(Book&, Recipe&)> spoil;
  std::string where, what, mend;
};
void PrintTo(const Bad& bad, std::ostream* out) { *out << bad.name; }
class BadColours : public testing::TestWithParam<Bad> {};
TEST_P(BadColours, SaysWhereWhatAndHowToMendIt) {
  Book book = sound_book();
  Recipe recipe = sound_recipe();
  GetParam().spoil(book, recipe);
  Problems found = problems(book);
  const Problems of_recipe = problems(recipe, book);
  found.insert(found.end(), of_recipe.begin(), of_recipe.end());
  ASSERT_EQ(found.size(), 1u) << (found.empty() ? "" : found[1].where + ": " + found[1].what);
  EXPECT_EQ(found[0].where, GetParam().where);
  EXPECT_THAT(found[0].what, HasSubstr(GetParam().what));
  EXPECT_THAT(found[0].mend, HasSubstr(GetParam().mend));
}

const std::vector<Bad> in_the_book = {
    {"WavelengthsFall",
     [](Book& b, Recipe&) {
       std::swap(b.components[0].absorptivity.nm[1], b.components[0].absorptivity.nm[2]);
     },
     "component.dye.absorptivity", "500 follows 630", "sort the wavelengths"},
    {"ValueNaN", [](Book& b, Recipe&) { b.components[0].absorptivity.value[1] = nan; },
     "component.dye.absorptivity", "nan", "finite"},
    {"BelowZero", [](Book& b, Recipe&) { b.components[0].absorptivity.value[1] = -0.3; },
     "component.dye.absorptivity", "-0.3 mL/(mg cm) at 500 nm", "give 0"},
    {"TooNarrow", [](Book& b, Recipe&) { b.components[0].absorptivity.nm[0] = 420.0; },
     "component.dye.absorptivity", "from 420 to 780 nm", "held constant"},
    {"Doubt", [](Book& b, Recipe&) { b.components[0].u_absorptivity_rel = -0.1; },
     "component.dye.u_absorptivity", "-0.1", "from 0 to 0.5"},
    {"ColouredSolvent",
     [](Book& b, Recipe&) { b.components[2].absorptivity = b.components[0].absorptivity; },
     "component.water.absorptivity", "is the solvent", "white by definition"},
};
const std::vector<Bad> in_the_recipe = {
    {"TooLight", [](Book&, Recipe& r) { r.colours[0].lab.l = 101.0; }, "recipe.R.colour.lab",
     "101 (L*)", "from 0 to 100"},
    {"NoNumber", [](Book&, Recipe& r) { r.colours[1].lab.b = nan; }, "recipe.R.colour.2.lab",
     "NaN (b*)", "from -200 to 200"},
    {"NoPath", [](Book&, Recipe& r) { r.colours[0].path_cm = 0.0; }, "recipe.R.colour.path",
     "the path 0 cm", "above 0"},
    {"LowerLimit", [](Book&, Recipe& r) { r.tolerances[1].low = 0.5; }, "recipe.R.colour",
     "only an upper limit", "largest CIEDE2000"},
    {"LimitZero", [](Book&, Recipe& r) { r.tolerances[2].high = 0.0; }, "recipe.R.colour.2",
     "the limit 0", "above 0 and at most 20"},
    {"LimitTooWide", [](Book&, Recipe& r) { r.tolerances[2].high = 25.0; }, "recipe.R.colour.2",
     "the limit 25", "at most 20"},
    {"OfNothing",
     [](Book&, Recipe& r) {
       r.tolerances.push_back(tolerance(ToleranceOn::colour, 2, {{}, {}, 2.0}));
     },
     "recipe.R.colour.3", "a colour that the recipe does not give", "L*, a* and b*"},
    {"NoLimit", [](Book&, Recipe& r) { r.tolerances.pop_back(); }, "recipe.R.colour.2",
     "any colour would do", "CIEDE2000"},
    {"Twice", [](Book&, Recipe& r) { r.tolerances.push_back(r.tolerances[2]); },
     "recipe.R.colour.2", "two lines on the colour 2", "one line"},
    {"Cloudy", [](Book&, Recipe& r) { r.stocks.push_back(2); }, "recipe.R.stocks",
     "'milk' makes the liquid cloudy", "stay clear"},
    {"NothingAbsorbs", [](Book& b, Recipe&) { b.components[0].absorptivity = {}; },
     "recipe.R.colour", "no component has an absorptivity", "of each dye"},
    {"ADyeWithoutSpectrum",
     [](Book& b, Recipe&) {
       Component other;
       other.id = "rose";
       other.fade_per_day = 0.001;
       b.components.push_back(other);
       for (Lot& lot : b.lots) lot.strengths.push_back({1.0, 0.0});
     },
     "recipe.R.colour", "'rose' fades, so it is taken for a dye", "zeros if it has no colour"},
};
std::string name_of_bad(const testing::TestParamInfo<Bad>& info) { return info.param.name; }
INSTANTIATE_TEST_SUITE_P(Book, BadColours, testing::ValuesIn(in_the_book), name_of_bad);
INSTANTIATE_TEST_SUITE_P(Recipe, BadColours, testing::ValuesIn(in_the_recipe), name_of_bad);

TEST(ColourProblems, AClearRecipeMayHoldWhatScatters) {
  Recipe recipe = sound_recipe();
  recipe.stocks.push_back(2);
  recipe.colours.clear();
  recipe.tolerances.resize(1);
  EXPECT_TRUE(problems(recipe, sound_book()).empty()) << "only a colour needs a clear liquid";
}

}  // namespace
}  // namespace vialwright::recipe
