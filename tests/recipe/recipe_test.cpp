// What a book and a recipe may not be.
#include "recipe/recipe.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>
#include <limits>
#include <ostream>
#include <string>
#include <vector>

namespace vialwright::recipe {
namespace {

using testing::HasSubstr;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

Book sound_book() {
  Book book;
  Component dye, salt, water;
  dye.id = "dye";
  dye.name = "teal dye";
  salt.id = "salt";
  water.id = "water";
  water.evaporates = true;
  book.components = {dye, salt, water};
  Stock base, teal, brine;
  base.id = "base";
  teal.id = "teal";
  teal.name = "teal stock";
  brine.id = "brine";
  book.stocks = {base, teal, brine};
  book.lots = {{"b1", 0, {{0, 0}, {0, 0}, {997, 0.5}}, {}},
               {"t1", 1, {{0.2, 0.002}, {0, 0}, {995, 0.5}}, {}},
               {"t2", 1, {{0.21, 0.002}, {0, 0}, {995, 0.5}}, {}},
               {"s1", 2, {{0, 0}, {100, 1}, {900, 1}}, {}}};
  book.may_meet = {{0, 1}, {2, 0}};
  return book;
}

Recipe sound_recipe() {
  Recipe recipe;
  recipe.id = "R";
  recipe.container = "vial";
  recipe.stocks = {0, 1};
  recipe.tolerances = {tolerance(ToleranceOn::content, 0, {0.0029, 0.003, 0.0031}),
                       tolerance(ToleranceOn::content, 1, {{}, {}, 0.2}),
                       tolerance(ToleranceOn::net_mass, -1, {19.7, {}, 20.3})};
  return recipe;
}

TEST(RecipeProblems, SoundOnesHaveNone) {
  EXPECT_TRUE(problems(sound_book()).empty());
  const Problems found = problems(sound_recipe(), sound_book());
  EXPECT_TRUE(found.empty()) << found.front().where << found.front().what;
}

struct BadBook {
  std::string name;
  std::function<void(Book&)> spoil;
  std::string where, what, mend;
};
void PrintTo(const BadBook& bad, std::ostream* out) { *out << bad.name; }
class BadBooks : public testing::TestWithParam<BadBook> {};
TEST_P(BadBooks, SaysWhereWhatAndHowToMendIt) {
  Book book = sound_book();
  GetParam().spoil(book);
  const Problems found = problems(book);
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(found[0].where, GetParam().where);
  EXPECT_THAT(found[0].what, HasSubstr(GetParam().what));
  EXPECT_THAT(found[0].mend, HasSubstr(GetParam().mend));
}
const std::vector<BadBook> books = {
    {"ComponentTwice", [](Book& b) { b.components[1].id = "dye"; }, "component.dye",
     "described twice", "another id"},
    {"TwoEvaporate", [](Book& b) { b.components[0].evaporates = true; },
     "component.water.evaporates", "'water' and 'dye' both evaporate", "one component"},
    {"FadeNegative", [](Book& b) { b.components[0].fade_per_day = -0.01; },
     "component.dye.fade_per_day", "-0.01", "from 0 to 1 a day"},
    {"FadeDoubtNaN", [](Book& b) { b.components[0].u_fade_per_day = nan; },
     "component.dye.fade_per_day", "u of fade_per_day = NaN", "u 0.05 %"},
    {"SolventFades", [](Book& b) { b.components[2].fade_per_day = 0.01; },
     "component.water.fade_per_day", "'water' is the solvent", "capped_loss"},
    {"StockWithoutId", [](Book& b) { b.stocks[0].id = ""; }, "stock.", "no id", "an id"},
    {"DensityZero", [](Book& b) { b.stocks[1].density_g_per_ml = 0.0; }, "stock.teal.density",
     "density = 0 g/mL", "from 0.1 to 25"},
    {"DensityNaN", [](Book& b) { b.stocks[1].density_g_per_ml = nan; }, "stock.teal.density", "NaN",
     "from 0.1 to 25"},
    {"DensityDoubt", [](Book& b) { b.stocks[1].u_density_g_per_ml = 0.6; }, "stock.teal.density",
     "u of density = 0.6", "u 0.001"},
    {"PriceNegative", [](Book& b) { b.stocks[1].price_per_g = -1e-3; }, "stock.teal.price_per_kg",
     "price_per_kg = -1 a kg", "0 a kg or more"},
    {"DisplayNoColour", [](Book& b) { b.stocks[1].display = "teal"; }, "stock.teal.display",
     "'teal' is no colour", "#rrggbb"},
    {"LotTwice", [](Book& b) { b.lots[2].id = "t1"; }, "lot.t1", "described twice", "another id"},
    {"LotOfNoStock", [](Book& b) { b.lots[2].stock = 3; }, "lot.t2.stock", "no stock", "its stock"},
    {"StrengthMissing", [](Book& b) { b.lots[2].strengths.pop_back(); }, "lot.t2.strength",
     "2 strengths for 3 components", "one strength a component"},
    {"StrengthNegative", [](Book& b) { b.lots[2].strengths[0].mg_per_g = -0.1; },
     "lot.t2.strength.dye", "-0.1 mg/g", "from 0 to 1000 mg/g"},
    {"StrengthDoubtNaN", [](Book& b) { b.lots[2].strengths[0].u_mg_per_g = nan; },
     "lot.t2.strength.dye", "NaN", "from 0 to 500"},
    // 900 + 110 is 10 over, and three u of sqrt(1 + 1) are 4.2.
    {"StrengthsAboveTheWhole", [](Book& b) { b.lots[3].strengths[1].mg_per_g = 110; },
     "lot.s1.strength", "sum to 1010 mg/g", "at most 1000 mg"},
    {"MeetsNothing",
     [](Book& b) {
       b.may_meet.push_back({0, 9});
     },
     "compatibility.may_meet", "does not have", "two of the stocks"},
};
std::string name_of_book(const testing::TestParamInfo<BadBook>& info) { return info.param.name; }
INSTANTIATE_TEST_SUITE_P(All, BadBooks, testing::ValuesIn(books), name_of_book);

TEST(BookProblems, StrengthsMayPassTheWholeByTheirDoubt) {
  Book book = sound_book();
  book.lots[3].strengths[1].mg_per_g = 104;  // 4 over, three u are 4.2
  EXPECT_TRUE(problems(book).empty());
}

struct BadRecipe {
  std::string name;
  std::function<void(Recipe&)> spoil;
  std::string where, what, mend;
};
void PrintTo(const BadRecipe& bad, std::ostream* out) { *out << bad.name; }
class BadRecipes : public testing::TestWithParam<BadRecipe> {};
TEST_P(BadRecipes, SaysWhereWhatAndHowToMendIt) {
  Recipe recipe = sound_recipe();
  GetParam().spoil(recipe);
  const Problems found = problems(recipe, sound_book());
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(found[0].where, GetParam().where);
  EXPECT_THAT(found[0].what, HasSubstr(GetParam().what));
  EXPECT_THAT(found[0].mend, HasSubstr(GetParam().mend));
}
const std::vector<BadRecipe> recipes = {
    {"NoId", [](Recipe& r) { r.id = ""; }, "recipe.", "no id", "one"},
    {"VersionZero", [](Recipe& r) { r.version = 0; }, "recipe.R.version", "version 0", "from 1"},
    {"NoContainer", [](Recipe& r) { r.container = ""; }, "recipe.R.container", "no container",
     "container"},
    {"NoLines", [](Recipe& r) { r.tolerances.clear(); }, "recipe.R", "every vial would meet it",
     "net_mass"},
    {"NoStocks", [](Recipe& r) { r.stocks.clear(), r.tolerances.erase(r.tolerances.begin()); },
     "recipe.R.stocks", "permits no stock", "name the stocks"},
    {"StockOutOfRange", [](Recipe& r) { r.stocks.push_back(7); }, "recipe.R.stocks",
     "does not have", "stocks of the book"},
    {"StockTwice", [](Recipe& r) { r.stocks.push_back(1); }, "recipe.R.stocks",
     "'teal' is named twice", "once"},
    {"MayNotMeet", [](Recipe& r) { r.stocks.push_back(2); }, "recipe.R.stocks",
     "'teal' and 'brine' are not listed", "compatibility.may_meet"},
    {"LineTwice", [](Recipe& r) { r.tolerances.push_back(r.tolerances[2]); }, "recipe.R.net_mass",
     "two lines on the net mass", "both limits"},
    {"LineOnNothing", [](Recipe& r) { r.tolerances[0].of = 5; }, "recipe.R.content",
     "does not have", "name a component"},
    {"WholeWithSubject", [](Recipe& r) { r.tolerances[2].of = 0; }, "recipe.R.net_mass",
     "does not have", "nothing where"},
    {"LimitNaN", [](Recipe& r) { r.tolerances[0].low = nan; }, "recipe.R.content.dye",
     "is no number", "finite"},
    {"TargetInfinite", [](Recipe& r) { r.tolerances[0].target = no_limit; }, "recipe.R.content.dye",
     "is no number", "finite"},
    {"BoundsNothing", [](Recipe& r) { r.tolerances[1].high = no_limit; }, "recipe.R.content.salt",
     "bounds nothing", "limit"},
    {"NegativeUpper", [](Recipe& r) { r.tolerances[1].high = -1.0; }, "recipe.R.content.salt",
     "below 0 mg/g", "0 or more"},
    {"Crossed", [](Recipe& r) { r.tolerances[2].low = 21.0; }, "recipe.R.net_mass",
     "21 g is not below the upper limit 20.3 g", "leave room"},
    {"TargetOutside", [](Recipe& r) { r.tolerances[2].target = 21.0; }, "recipe.R.net_mass",
     "the target 21 g is outside its own limits 19.7 to 20.3 g", "between"},
    {"AbsentComponent",
     [](Recipe& r) {
       r.tolerances[1] = tolerance(ToleranceOn::content, 1, {1, {}, 2});
     },
     "recipe.R.content.salt", "'salt', which no lot of a permitted stock holds", "permit a stock"},
    {"AbsentComponentByMass",
     [](Recipe& r) {
       r.tolerances[1] = tolerance(ToleranceOn::component_mass, 1, {1, {}, 2});
     },
     "recipe.R.component_mass.salt", "no lot of a permitted stock", "permit a stock"},
    {"TooStrong",
     [](Recipe& r) {
       r.tolerances[0] = tolerance(ToleranceOn::content, 0, {0.22, {}, 0.3});
     },
     "recipe.R.content.dye", "strongest permitted lot holds 0.21 mg/g", "stronger stock"},
    {"ForbiddenStock",
     [](Recipe& r) {
       r.tolerances.push_back(tolerance(ToleranceOn::stock_mass, 2, {1, {}, {}}));
     },
     "recipe.R.stock_mass.brine", "'brine', which the recipe does not permit", "add it"},
    {"Risk", [](Recipe& r) { r.consumer_risk = 0.0; }, "recipe.R.consumer_risk", "0",
     "above 0 and below 0.5"},
    {"ValueNegative", [](Recipe& r) { r.value = -1.0; }, "recipe.R.value", "-1", "or more"},
};
std::string name_of_recipe(const testing::TestParamInfo<BadRecipe>& info) {
  return info.param.name;
}
INSTANTIATE_TEST_SUITE_P(All, BadRecipes, testing::ValuesIn(recipes), name_of_recipe);

TEST(RecipeProblems, AStockWithoutALotMayHoldAnything) {
  // Lots also come as events, after the recipe: what nobody knows yet is no problem.
  Book book = sound_book();
  book.lots.erase(book.lots.begin() + 1, book.lots.begin() + 3);
  EXPECT_TRUE(problems(sound_recipe(), book).empty());
}

TEST(RecipeProblems, ContentsCannotSumAboveTheWhole) {
  Recipe recipe = sound_recipe();
  recipe.tolerances = {tolerance(ToleranceOn::content, 2, {990, {}, 1000}),
                       tolerance(ToleranceOn::content, 1, {20, {}, 30})};
  recipe.stocks = {0, 2};
  const Problems found = problems(recipe, sound_book());
  ASSERT_EQ(found.size(), 1u);
  EXPECT_EQ(found[0].where, "recipe.R.content");
  EXPECT_THAT(found[0].what, HasSubstr("sum to 1010 mg/g"));
}

TEST(MayMeet, IsDeniedUnlessListedEitherWayRound) {
  const Book book = sound_book();
  EXPECT_TRUE(may_meet(book, 0, 1));
  EXPECT_TRUE(may_meet(book, 1, 0));
  EXPECT_TRUE(may_meet(book, 0, 2)) << "listed the other way round";
  EXPECT_FALSE(may_meet(book, 1, 2)) << "not listed";
  EXPECT_TRUE(may_meet(book, 1, 1)) << "with itself always";
  EXPECT_FALSE(may_meet(Book{}, 0, 1));
}

TEST(Tolerance, IsCompletedFromWhatIsGiven) {
  const auto net = [](const Limits& limits) {
    return tolerance(ToleranceOn::net_mass, -1, limits);
  };
  EXPECT_EQ(net({19.0, {}, 21.0}), (Tolerance{ToleranceOn::net_mass, -1, 19.0, 20.0, 21.0}));
  EXPECT_EQ(net({19.0, 19.5, 21.0}).target, 19.5);
  EXPECT_EQ(net({19.0, {}, {}}), (Tolerance{ToleranceOn::net_mass, -1, 19.0, 19.0, no_limit}));
  EXPECT_EQ(net({{}, {}, 21.0}), (Tolerance{ToleranceOn::net_mass, -1, -no_limit, 0.0, 21.0}));
  EXPECT_EQ(net({0.0, {}, 21.0}), net({{}, {}, 21.0})) << "a lower limit of 0 always holds";
}

TEST(Tolerance, IsNamedToAPerson) {
  const Book book = sound_book();
  EXPECT_EQ(name_of({ToleranceOn::content, 0}, book), "content of teal dye");
  EXPECT_EQ(name_of({ToleranceOn::content, 1}, book), "content of salt") << "the id without a name";
  EXPECT_EQ(name_of({ToleranceOn::component_mass, 2}, book), "mass of water");
  EXPECT_EQ(name_of({ToleranceOn::concentration, 2}, book), "concentration of water");
  EXPECT_EQ(name_of({ToleranceOn::stock_mass, 1}, book), "dosed mass of teal stock");
  EXPECT_EQ(name_of({ToleranceOn::net_mass}, book), "net mass");
  EXPECT_EQ(name_of({ToleranceOn::volume}, book), "volume");
  EXPECT_EQ(name_of({ToleranceOn::colour, 0}, book), "colour");
  EXPECT_EQ(name_of({ToleranceOn::colour, 1}, book), "colour 2");
}

TEST(Tolerance, EveryWordIsReadBackAndEveryUnitIsKnown) {
  for (int i = 0; i <= static_cast<int>(ToleranceOn::colour); ++i) {
    const auto on = static_cast<ToleranceOn>(i);
    EXPECT_EQ(tolerance_on(word(on)), on);
    EXPECT_TRUE(quantity::convert(1.0, unit_of(on), unit_of(on), "").has_value());
  }
  EXPECT_FALSE(tolerance_on("shade").has_value());
  EXPECT_EQ(unit_of(ToleranceOn::colour), "1");
  EXPECT_EQ(shown_unit(ToleranceOn::colour), "\u0394E00") << "a bare 1 says nothing to a person";
  EXPECT_EQ(shown_unit(ToleranceOn::net_mass), "g");
}

}  // namespace
}  // namespace vialwright::recipe
