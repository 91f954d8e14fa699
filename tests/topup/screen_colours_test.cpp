// Screening by colour: the answers of single searches, and never without a recipe that some amounts
// meet.
#include <gtest/gtest.h>

#include <set>

#include "support/long_form.hpp"
#include "topup/colour_reach.hpp"
#include "topup/colour_recipes.hpp"

namespace vialwright::topup::testing {
namespace {

TEST(ColourReach, HoldsWhateverCanBeReached) {
  support::Random random(40501);
  const int palettes = support::long_form() ? 200 : 12;
  int ruled_out = 0, looked = 0;
  for (int i = 0; i < palettes; ++i) {
    SCOPED_TRACE("palette " + std::to_string(i));
    const Palette palette = any_palette(random, 1 + random.below(5));
    const mixing::View view = palette.view();
    const ColourReach reach(palette.vial, view);
    for (int k = 0; k < 2000; ++k) {
      const colour::Lab lab = palette.after(any_grams(palette.vial, random));
      ASSERT_TRUE(reach.may_reach(lab, 1e-9));
    }
    const ColourTable far = any_recipes(palette, 500, 0.0, random);
    for (std::size_t r = 0; r < far.target.size(); ++r, ++looked)
      ruled_out += reach.may_reach(far.target[r], far.high[r]) ? 0 : 1;
  }
  EXPECT_GT(ruled_out, looked / 4);  // and it is of some use
}

TEST(ScreenColours, FindsWhatBruteForceFinds) {
  support::Random random(40502);
  const int palettes = support::long_form() ? 60 : 8,
            samples = support::long_form() ? 100000 : 20000;
  int met = 0, met_by_both = 0;
  for (int i = 0; i < palettes; ++i) {
    SCOPED_TRACE("palette " + std::to_string(i));
    const Palette palette = any_palette(random, 1 + random.below(4));
    const ColourTable recipes = any_recipes(palette, 300, 0.6, random);
    const mixing::View view = palette.view();
    std::vector<std::vector<double>> grams;
    std::vector<double> l, a, b, total;
    for (int s = 0; s < samples; ++s) {
      grams.push_back(any_grams(palette.vial, random));
      const colour::Lab lab = palette.after(grams.back());
      l.push_back(lab.l);
      a.push_back(lab.a);
      b.push_back(lab.b);
      total.push_back(palette.vial.total);
      for (const double each : grams.back()) total.back() += each;
    }
    std::set<int> found;
    for (const QuickColour& each : screen_colours(recipes, palette.vial, view)) {
      found.insert(each.recipe);
      const auto r = static_cast<std::size_t>(each.recipe);
      // What it says is so: the colour, and the limits of the vial and the recipe.
      const colour::Lab is = palette.after(each.grams);
      EXPECT_NEAR(colour::difference_00(is, recipes.target[r]), each.difference, 1e-6);
      EXPECT_LE(each.difference, recipes.high[r]);
      double g = palette.vial.total, ml = 0.0;
      for (std::size_t j = 0; j < each.grams.size(); ++j) {
        EXPECT_GE(each.grams[j], -1e-12);
        EXPECT_LE(each.grams[j], palette.vial.cap[j] + 1e-12);
        g += each.grams[j];
        ml += each.grams[j] * palette.vial.ml_per_g[j];
      }
      EXPECT_LE(g - palette.vial.total, palette.vial.room_g + 1e-9);
      EXPECT_LE(ml, palette.vial.room_ml + 1e-9);
      EXPECT_GE(g, recipes.total_low[r] - 1e-9);
      EXPECT_LE(g, recipes.total_high[r] + 1e-9);
    }
    std::vector<double> difference(l.size());
    for (int r = 0; r < 300; ++r) {
      const auto recipe = static_cast<std::size_t>(r);
      colour::difference_00({l, a, b}, recipes.target[recipe], difference);
      bool possible = false;
      for (std::size_t s = 0; s < difference.size(); ++s)
        possible = possible || (difference[s] <= recipes.high[recipe] &&
                                total[s] >= recipes.total_low[recipe] &&
                                total[s] <= recipes.total_high[recipe]);
      met += possible ? 1 : 0;
      met_by_both += possible && found.contains(r) ? 1 : 0;
    }
  }
  EXPECT_EQ(met_by_both, met);
  EXPECT_GT(met, 100);
}

TEST(ScreenColours, AnswersAreThoseOfSingleSearches) {
  support::Random random(40503);
  const Palette palette = any_palette(random, 3);
  const ColourTable recipes = any_recipes(palette, 60, 0.5, random);
  const mixing::View view = palette.view();
  const std::vector<QuickColour> many = screen_colours(recipes, palette.vial, view);
  std::size_t next = 0;
  for (int r = 0; r < 60; ++r) {
    const QuickColour one = quick_colour(recipes, r, palette.vial, view);
    if (one.difference > recipes.high[static_cast<std::size_t>(r)]) continue;
    ASSERT_LT(next, many.size());
    EXPECT_EQ(many[next].recipe, r);
    EXPECT_EQ(many[next].difference, one.difference);  // bit for bit
    EXPECT_EQ(many[next++].grams, one.grams);
  }
  EXPECT_EQ(next, many.size());
  EXPECT_GT(next, 5u);
}

}  // namespace
}  // namespace vialwright::topup::testing
