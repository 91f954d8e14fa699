// One vial against 100,000 recipes with least doses and odds for the survivors, beside GLPK one by
// one (simplex for each recipe, branch and cut for those that are possible) and a plain loop of our
// single call; the same answers first, then the time. GLPK gives no odds.
#include <benchmark/benchmark.h>
#include <hwy/targets.h>

#include <algorithm>
#include <ctime>

#include "timing.hpp"
#include "topup/glpk_doses.hpp"
#include "topup/screen_population.hpp"

namespace {

using vialwright::bench::median;
using vialwright::bench::seconds;
using namespace vialwright;
using namespace vialwright::topup;
using topup::testing::Family;
using topup::testing::Population;

constexpr int count = 100'000;

std::vector<Quick> one_by_one(const Population& all) {
  std::vector<Quick> possible;
  for (int r = 0; r < count; ++r) {
    const Quick each = quick(all.recipes, r, all.vial);
    if (each.outcome != Quick::Outcome::impossible) possible.push_back(each);
  }
  return possible;
}

bool same(const std::vector<Quick>& a, const std::vector<Quick>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const Quick& x, const Quick& y) {
    return x.recipe == y.recipe && x.outcome == y.outcome && x.any_cost == y.any_cost &&
           x.least_cost == y.least_cost && x.cost == y.cost && x.odds == y.odds &&
           x.odds_at_most == y.odds_at_most;
  });
}

struct ByGlpk {
  int recipe = 0;
  testing::GlpkAnswer least;
};

std::vector<ByGlpk> by_glpk(const Population& all) {
  std::vector<ByGlpk> possible;
  testing::Glpk relaxed(all.recipes.stocks);
  for (int r = 0; r < count; ++r) {
    const testing::Instance one = testing::instance_of(all, r);
    if (!relaxed.solve(one).found) continue;
    possible.push_back({r, testing::GlpkDoses(one, all.vial.least).solve()});
  }
  return possible;
}

/// GLPK's rows may be off by 1e-7 of their scale: so may its costs.
bool same(const std::vector<Quick>& a, const std::vector<ByGlpk>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const Quick& x, const ByGlpk& y) {
    if (x.recipe != y.recipe || (x.outcome == Quick::Outcome::found) != y.least.found) return false;
    return !y.least.found || std::abs(x.least_cost - y.least.cost) <= 1e-6;
  });
}

void screen_with_doses(benchmark::State& state, Family family, int stocks, bool with_glpk) {
  support::Random random(7);
  std::vector<double> ours, loop, theirs;
  double possible = 0.0, dosable = 0.0;
  for (auto _ : state) {  // every pass another vial and table
    const Population all = testing::population(random, stocks, count, family);
    std::vector<Quick> mine, single;
    std::vector<ByGlpk> glpk;
    ours.push_back(seconds([&] { mine = screen_doses(all.recipes, all.vial); }));
    loop.push_back(seconds([&] { single = one_by_one(all); }));
    if (!same(mine, single)) return state.SkipWithError("not the answers of one by one");
    if (with_glpk) {
      theirs.push_back(seconds([&] { glpk = by_glpk(all); }));
      if (!same(mine, glpk)) return state.SkipWithError("not the answers of GLPK");
    }
    possible += static_cast<double>(mine.size());
    for (const Quick& each : mine) dosable += each.outcome == Quick::Outcome::found;
  }
  const std::int64_t targets = hwy::SupportedTargets();
  state.SetLabel(hwy::TargetName(targets & -targets));  // the lowest bit is the widest
  state.counters["ms_median"] = median(ours) * 1e3;
  state.counters["ms_worst"] = *std::max_element(ours.begin(), ours.end()) * 1e3;
  state.counters["loop_ms"] = median(loop) * 1e3;
  state.counters["times_loop"] = median(loop) / median(ours);
  if (with_glpk) state.counters["times_glpk"] = median(theirs) / median(ours);
  const double all = static_cast<double>(ours.size());
  state.counters["possible"] = possible / all;
  state.counters["with_least_doses"] = dosable / all;
}
#define VIALWRIGHT_SCREEN(family, stocks, glpk, passes)                                 \
  BENCHMARK_CAPTURE(screen_with_doses, family##_##stocks, Family::family, stocks, glpk) \
      ->Iterations(passes)                                                              \
      ->Unit(benchmark::kMillisecond)
VIALWRIGHT_SCREEN(palette, 12, true, 31);
VIALWRIGHT_SCREEN(wide, 4, false, 11);
VIALWRIGHT_SCREEN(wide, 8, false, 11);
VIALWRIGHT_SCREEN(tight, 4, false, 5);
VIALWRIGHT_SCREEN(tight, 8, false, 5);
VIALWRIGHT_SCREEN(tight, 12, false, 5);
VIALWRIGHT_SCREEN(crowded, 4, false, 5);
VIALWRIGHT_SCREEN(crowded, 8, false, 5);

}  // namespace

BENCHMARK_MAIN();
