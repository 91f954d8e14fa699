// Top-ups beside GLPK in one run: the same answers first, then the time.
//   solve/K       one composition problem, a shift's worth of 2,000 different ones a pass
//   screen/...    one vial against 100,000 recipes, beside a loop of single solves
#include <benchmark/benchmark.h>
#include <hwy/targets.h>

#include <algorithm>
#include <ctime>
#include <numeric>

#include "timing.hpp"
#include "topup/glpk.hpp"

namespace {

using vialwright::bench::median;
using vialwright::bench::seconds;
using namespace vialwright;
using namespace vialwright::topup;
using topup::testing::Glpk;
using topup::testing::GlpkAnswer;
using topup::testing::infinity;
using topup::testing::Instance;

bool same_answer(const Instance& one, Glpk& glpk) {
  const testing::Answer ours = testing::solved(one);
  const GlpkAnswer theirs = glpk.solve(one);
  if (ours.found != theirs.found) return false;
  return !ours.found ||
         std::abs(ours.cost - theirs.cost) <= 1e-9 * std::max(1e-3, std::abs(theirs.cost));
}

/// GLPK in its fastest mode for this: one model kept and rewritten, each solve from the standard
/// basis (its warm start is slower here), presolver and messages off.
void solve(benchmark::State& state) {
  const int stocks = static_cast<int>(state.range(0));
  support::Random random(42);
  std::vector<Instance> instances;
  for (int i = 0; i < 2'000; ++i) instances.push_back(testing::ordinary(random, stocks));
  Glpk glpk(stocks);
  for (const Instance& one : instances)
    if (!same_answer(one, glpk)) return state.SkipWithError("the answers differ");

  std::vector<double> ours, theirs, additions(static_cast<std::size_t>(stocks));
  double cost = 0.0;
  for (auto _ : state) {  // turn about, so that a busy machine hurts both
    ours.push_back(seconds([&] {
      for (const Instance& one : instances)
        benchmark::DoNotOptimize(least_cost(one.view(), additions, cost));
    }));
    theirs.push_back(seconds([&] {
      for (const Instance& one : instances) benchmark::DoNotOptimize(glpk.solve(one).cost);
    }));
  }
  const double each = 1e9 / static_cast<double>(instances.size());
  state.counters["ours_ns"] = median(ours) * each;
  state.counters["glpk_ns"] = median(theirs) * each;
  state.counters["times_glpk"] = median(theirs) / median(ours);
}
BENCHMARK(solve)->Arg(4)->Arg(8)->Arg(12)->Iterations(15)->Unit(benchmark::kMillisecond);

// ---- one vial against 100,000 recipes ----------------------------------------------------------

enum class Family { palette, wide, tight, crowded };

/// The shares of a recipe. Palette: 2 to 5 dyes of all; wide: any shares; tight and crowded: small
/// differences about one tint. The last stock is the solvent.
std::vector<double> any_shares(support::Random& random, int stocks, Family family) {
  const auto n = static_cast<std::size_t>(stocks);
  std::vector<double> share(n, 0.0);
  if (family == Family::palette) {
    const int dyes = 2 + random.below(4);
    for (int i = 0; i < dyes; ++i)
      share[static_cast<std::size_t>(random.below(stocks - 1))] = random.uniform(0.02, 0.3);
  } else {
    for (std::size_t i = 0; i + 1 < n; ++i)
      share[i] = family == Family::wide ? random.uniform(0.02, 0.4) : 0.2 + 0.012 * random.normal();
  }
  share[n - 1] = family == Family::palette ? 2.0 : 3.0;
  const double sum = std::accumulate(share.begin(), share.end(), 0.0);
  for (double& each : share) each /= sum;
  return share;
}

struct Screening {
  RecipeTable recipes;
  std::vector<double> have, cap, price, volume;
  double total = 0.0, room = 0.0;
};

Screening any_screening(support::Random& random, int stocks, int count, Family family) {
  const auto n = static_cast<std::size_t>(stocks), many = static_cast<std::size_t>(count);
  Screening made;
  made.recipes.stocks = stocks;
  made.recipes.count = count;
  made.recipes.low.assign(n * many, 0.0);
  made.recipes.high.assign(n * many, infinity);
  made.recipes.total_low.assign(many, 19.5);
  made.recipes.total_high.assign(many, 20.5);
  for (std::size_t r = 0; r < many; ++r) {
    const std::vector<double> share = any_shares(random, stocks, family);
    for (std::size_t i = 0; i + 1 < n; ++i) {
      made.recipes.low[i * many + r] = share[i] * 0.95;
      made.recipes.high[i * many + r] = share[i] * 1.05;
    }
  }
  const std::vector<double> share = any_shares(random, stocks, family);
  made.total = 20.0 * random.uniform(0.5, 1.0);
  for (std::size_t i = 0; i < n; ++i) {
    const bool solvent = i + 1 == n;
    made.have.push_back(solvent ? 0.0 : made.total * share[i] * (1.0 + 0.08 * random.normal()));
    made.cap.push_back(15.0);
    made.price.push_back(random.uniform(0.001, 0.2));
    made.volume.push_back(random.uniform(0.8, 1.0));
  }
  // Crowded: the headspace binds for most of the recipes that are possible.
  made.room = family == Family::crowded ? 0.9 * (19.6 - made.total) : 16.0;
  return made;
}

double one_by_one(const Screening& all, std::vector<double>& cost) {
  const auto n = all.have.size(), many = all.recipes.total_low.size();
  std::vector<double> low(n), high(n), additions(n);
  double found = 0.0;
  for (std::size_t r = 0; r < many; ++r) {
    for (std::size_t i = 0; i < n; ++i) {
      low[i] = all.recipes.low[i * many + r];
      high[i] = all.recipes.high[i * many + r];
    }
    const Composition one{all.have,
                          low,
                          high,
                          all.cap,
                          all.price,
                          all.volume,
                          all.total,
                          all.recipes.total_low[r],
                          all.recipes.total_high[r],
                          all.room};
    double least = 0.0;
    const bool possible = least_cost(one, additions, least) == Solution::found;
    cost[r] = possible ? least : infinity;
    found += possible;
  }
  return found / static_cast<double>(many);
}

void lanes(const Screening& all, std::vector<double>& cost) {
  screen(all.recipes, all.have, all.cap, all.price, all.volume, all.total, all.room, cost);
}

bool same_costs(const std::vector<double>& a, const std::vector<double>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), [](double one, double other) {
    return one == other || std::abs(one - other) <= 1e-9 * std::max(1e-3, std::abs(other));
  });
}

void screen_family(benchmark::State& state, Family family, int stocks) {
  constexpr int count = 100'000;
  support::Random random(7);
  std::vector<double> ours, loop, mine(count), theirs(count);
  double possible = 0.0;
  for (auto _ : state) {  // every pass another vial and table
    const Screening all = any_screening(random, stocks, count, family);
    ours.push_back(seconds([&] { lanes(all, mine); }));
    loop.push_back(seconds([&] { possible += one_by_one(all, theirs); }));
    if (!same_costs(mine, theirs)) return state.SkipWithError("the answers differ");
  }
  const std::int64_t targets = hwy::SupportedTargets();
  state.SetLabel(hwy::TargetName(targets & -targets));  // the lowest bit is the widest
  state.counters["ms_median"] = median(ours) * 1e3;
  state.counters["ms_worst"] = *std::max_element(ours.begin(), ours.end()) * 1e3;
  state.counters["loop_ms"] = median(loop) * 1e3;
  state.counters["times_loop"] = median(loop) / median(ours);
  state.counters["possible"] = possible / static_cast<double>(ours.size());
}
#define VIALWRIGHT_SCREEN(family, stocks)                                     \
  BENCHMARK_CAPTURE(screen_family, family##_##stocks, Family::family, stocks) \
      ->Iterations(21)                                                        \
      ->Unit(benchmark::kMillisecond)
VIALWRIGHT_SCREEN(palette, 12);
VIALWRIGHT_SCREEN(wide, 4);
VIALWRIGHT_SCREEN(wide, 8);
VIALWRIGHT_SCREEN(tight, 4);
VIALWRIGHT_SCREEN(tight, 8);
VIALWRIGHT_SCREEN(tight, 12);
VIALWRIGHT_SCREEN(crowded, 4);
VIALWRIGHT_SCREEN(crowded, 8);

}  // namespace

BENCHMARK_MAIN();
