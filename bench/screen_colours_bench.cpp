// Ten thousand colour recipes for one vial, a sample of them compared with single searches first.
// Recipes of all dyes of a house, most of them out of reach; and the hard case, where all are tints
// of the very dyes that are loaded and a third of them can be met.
#include <benchmark/benchmark.h>

#include <set>

#include "timing.hpp"
#include "topup/colour_recipes.hpp"

namespace {

using vialwright::bench::seconds;
using namespace vialwright;
using namespace vialwright::topup;
using topup::testing::Palette;

/// A finished tint of two or three of six dyes, for which the base and three dyes are loaded.
Palette tint_of_a_house(support::Random& random) {
  Palette made = topup::testing::any_palette(random, 6);
  made.vial.now.setZero();
  const int first = random.below(4);
  for (int k = first; k < first + 2 + random.below(2); ++k)
    made.vial.now[k] = std::pow(10.0, random.uniform(-2.6, -1.8));
  Eigen::MatrixXd loaded(made.vial.per_g.rows(), 4);
  loaded << made.vial.per_g.col(0), made.vial.per_g.middleCols(first + 1, 3);
  made.vial.per_g = loaded;
  made.vial.cap.resize(4);
  made.vial.ml_per_g.resize(4);
  return made;
}

/// @param own  recipes are tints of the very dyes that are loaded; else of all dyes of the house.
void ten_thousand(benchmark::State& state, bool own) {
  support::Random random(63);
  std::vector<double> taken;
  double met = 0.0;
  for (int i = 0; i < 9; ++i) {  // nine vials
    const Palette palette =
        own ? topup::testing::any_palette(random, static_cast<int>(state.range(0)))
            : tint_of_a_house(random);
    const ColourTable recipes =
        topup::testing::any_recipes(palette, 10000, own ? 0.1 : 0.02, random);
    const mixing::View view = palette.view();
    std::set<int> many;
    for (const QuickColour& each : screen_colours(recipes, palette.vial, view))
      many.insert(each.recipe);
    met += static_cast<double>(many.size()) / 9.0;
    // A sample, each by itself: the same answers.
    for (int r = 0; r < 10000; r += 500) {
      const bool one = quick_colour(recipes, r, palette.vial, view).difference <=
                       recipes.high[static_cast<std::size_t>(r)];
      if (one != many.contains(r)) return state.SkipWithError("the answers differ");
    }
    taken.push_back(1e3 * seconds([&] {
                      benchmark::DoNotOptimize(screen_colours(recipes, palette.vial, view).size());
                    }));
  }
  for (auto _ : state) benchmark::DoNotOptimize(taken.data());
  std::sort(taken.begin(), taken.end());
  state.counters["ms_median"] = taken[4];
  state.counters["ms_worst"] = taken.back();
  state.counters["met_of_10000"] = met;
}
BENCHMARK_CAPTURE(ten_thousand, a_house_of_six_dyes, false)->Arg(6)->Iterations(1);
BENCHMARK_CAPTURE(ten_thousand, all_of_its_own_dyes, true)->Arg(2)->Arg(3)->Arg(4)->Iterations(1);

}  // namespace

BENCHMARK_MAIN();
