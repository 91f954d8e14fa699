// Pairing beside another general method for minimum cost flow in one run: capacity scaling of the
// LEMON library (successive shortest paths). The same answers first, then the time, each with
// building its network. LEMON's cost scaling and its matchings do not compile as C++20; the
// out-of-kilter method of GLPK took 5.7 s on line/1000 and is left out.
//   line/N   N held vials and N orders, 20 to 50 orders a vial, neighbours in the list alike
//   any/N    the same with orders drawn anywhere in the list
//   dense/N  every pair allowed
#include <benchmark/benchmark.h>
#include <lemon/capacity_scaling.h>
#include <lemon/smart_graph.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <ctime>
#include <utility>
#include <vector>

#include "pairing/pairing.hpp"
#include "support/random.hpp"
#include "timing.hpp"

namespace {

using vialwright::bench::median;
using vialwright::bench::seconds;
using namespace vialwright;
using pairing::Pair;
using pairing::Problem;

constexpr double grain = 1e-6;
using Steps = std::int64_t;

Steps steps(const Problem& problem, const Pair& pair) {
  return std::llround((pair.worth - problem.waiting[static_cast<std::size_t>(pair.vial)]) / grain);
}

Steps by_scaling(const Problem& problem) {
  using Graph = lemon::SmartDigraph;
  Graph graph;
  const auto vials = static_cast<int>(problem.waiting.size());
  for (int i = 0; i < vials + problem.orders + 1; ++i) graph.addNode();
  const Graph::Node shelf = Graph::nodeFromId(vials + problem.orders);
  std::vector<Steps> costs;
  for (const Pair& pair : problem.pairs) {
    if (steps(problem, pair) <= 0) continue;
    graph.addArc(Graph::nodeFromId(pair.vial), Graph::nodeFromId(vials + pair.order));
    costs.push_back(-steps(problem, pair));
  }
  for (int i = 0; i < vials + problem.orders; ++i) graph.addArc(Graph::nodeFromId(i), shelf);
  Graph::ArcMap<Steps> cost(graph, 0);
  for (std::size_t a = 0; a < costs.size(); ++a)
    cost[Graph::arcFromId(static_cast<int>(a))] = costs[a];
  Graph::ArcMap<int> capacity(graph, 1);
  Graph::NodeMap<int> supply(graph, 0);
  for (int i = 0; i < vials; ++i) supply[Graph::nodeFromId(i)] = 1;
  supply[shelf] = -vials;
  lemon::CapacityScaling<Graph, int, Steps> scaling(graph);
  scaling.upperMap(capacity).costMap(cost).supplyMap(supply).run();
  return -scaling.totalCost<Steps>();
}

Steps ours(const Problem& problem) {
  Steps total = 0;
  for (const Pair& pair : pairing::assign(problem, grain).pairs) total += steps(problem, pair);
  return total;
}

/// A vial's odds for an order fall with the distance of the two; an order pays what a fresh vial
/// costs; waiting is worth some of it.
Pair pair_of(support::Random& random, int vial, int order, double fresh) {
  const double odds = random.uniform(0.5, 0.99);
  return {vial, order, odds * fresh - random.uniform(0.05, 0.25) - (1.0 - odds) * 0.3};
}

Problem problem_of(int size, int fewest, int most, bool neighbours) {
  support::Random random(77);
  Problem problem;
  problem.orders = size;
  std::vector<double> fresh(static_cast<std::size_t>(size));
  for (double& each : fresh) each = random.uniform(1.0, 4.0);
  std::vector<int> seen(static_cast<std::size_t>(size), -1);
  for (int i = 0; i < size; ++i) {
    problem.waiting.push_back(random.uniform(-0.3, 1.5));
    const int orders = fewest + random.below(most - fewest + 1);
    for (int made = 0; made < orders;) {
      const int j = orders == size ? made
                    : neighbours   ? (i + random.below(2 * most)) % size
                                   : random.below(size);
      if (std::exchange(seen[static_cast<std::size_t>(j)], i) == i) continue;
      problem.pairs.push_back(pair_of(random, i, j, fresh[static_cast<std::size_t>(j)]));
      ++made;
    }
  }
  return problem;
}

void beside_others(benchmark::State& state, const Problem& problem) {
  if (ours(problem) != by_scaling(problem)) return state.SkipWithError("the answers differ");
  std::vector<double> mine, scaling;
  for (auto _ : state) {  // turn about, so that a busy machine hurts both
    mine.push_back(seconds([&] { benchmark::DoNotOptimize(pairing::assign(problem, grain)); }));
    scaling.push_back(seconds([&] { benchmark::DoNotOptimize(by_scaling(problem)); }));
  }
  state.counters["pairs"] = static_cast<double>(problem.pairs.size());
  state.counters["ours_ms"] = median(mine) * 1e3;
  state.counters["scaling_ms"] = median(scaling) * 1e3;
  state.counters["times_scaling"] = median(scaling) / median(mine);
}

void line(benchmark::State& state) {
  beside_others(state, problem_of(static_cast<int>(state.range(0)), 20, 50, true));
}
void any(benchmark::State& state) {
  beside_others(state, problem_of(static_cast<int>(state.range(0)), 20, 50, false));
}
void dense(benchmark::State& state) {
  const int size = static_cast<int>(state.range(0));
  beside_others(state, problem_of(size, size, size, false));
}
BENCHMARK(line)->Arg(1'000)->Iterations(15)->Unit(benchmark::kMillisecond);
BENCHMARK(any)->Arg(1'000)->Iterations(15)->Unit(benchmark::kMillisecond);
BENCHMARK(dense)->Arg(100)->Iterations(15)->Unit(benchmark::kMillisecond);
BENCHMARK(dense)->Arg(1'000)->Iterations(3)->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
