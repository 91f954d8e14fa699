// Ten thousand colour recipes for one vial, beside a general-purpose optimiser on a sample of them.
#include <benchmark/benchmark.h>

#include <set>

#include "timing.hpp"
#include "topup/colour_recipes.hpp"

namespace {

using vialwright::bench::seconds;
using namespace vialwright;
using namespace vialwright::topup;
using topup::testing::Palette;

void ten_thousand(benchmark::State& state) {
  const int dyes = static_cast<int>(state.range(0));
  support::Random random(63);
  std::vector<double> taken;
  double met = 0.0;
  for (int i = 0; i < 9; ++i) {  // nine vials
    const Palette palette = topup::testing::any_palette(random, dyes);
    const ColourTable recipes = topup::testing::any_recipes(palette, 10000, 0.1, random);
    const mixing::View view = palette.view();
    met += static_cast<double>(screen_colours(recipes, palette.vial, view).size()) / 9.0;
    // A sample, each by itself: the same answers.
    std::set<int> many;
    for (const QuickColour& each : screen_colours(recipes, palette.vial, view))
      many.insert(each.recipe);
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
BENCHMARK(ten_thousand)->Name("screen_colours")->Arg(2)->Arg(3)->Arg(4)->Iterations(1);

}  // namespace

BENCHMARK_MAIN();
