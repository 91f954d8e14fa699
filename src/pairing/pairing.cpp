#include "pairing/pairing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include <lemon/network_simplex.h>
#include <lemon/smart_graph.h>

#include "error/error.hpp"

namespace vialwright::pairing {
namespace {

using Money = std::int64_t;  // in steps of grain / steps_per_grain
using Graph = lemon::SmartDigraph;

// Below a grain one step a pair is left, which breaks ties in favour of more pairs.
constexpr Money steps_per_grain = 1024;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

using Key = std::pair<int, int>;
Key key(const Pair& pair) { return {pair.vial, pair.order}; }

std::vector<Key> sorted_keys(const std::vector<Pair>& pairs) {
  std::vector<Key> keys;
  keys.reserve(pairs.size());
  for (const Pair& pair : pairs) keys.push_back(key(pair));
  std::ranges::sort(keys);
  return keys;
}

void check(const Problem& problem, double grain) {
  require(grain > 0.0 && problem.switching >= 0.0, "grain and switching are not negative");
  const auto vials = static_cast<int>(problem.waiting.size());
  const auto sound = [&](const Pair& pair) {
    return pair.vial >= 0 && pair.vial < vials && pair.order >= 0 && pair.order < problem.orders &&
           std::abs(pair.worth) < 1e6;
  };
  require(std::ranges::all_of(problem.waiting, [](double w) { return std::abs(w) < 1e6; }),
          "what waiting is worth is finite and below a million");
  require(std::ranges::all_of(problem.pairs, sound) && std::ranges::all_of(problem.fixed, sound) &&
              std::ranges::all_of(problem.advised, sound),
          "pairs name vials and orders that are there");
}

/// The network: every vial sends itself to an order or to the shelf; every order takes one.
class Network {
 public:
  Network(const Problem& problem, double grain)
      : problem_(problem),
        grain_(grain),
        advised_(sorted_keys(problem.advised)),
        fixed_(sorted_keys(problem.fixed)) {
    const auto vials = problem.waiting.size();
    taken_vial_.assign(vials, false);
    taken_order_.assign(at(problem.orders), false);
    for (const Pair& pair : problem.fixed) {
      taken_vial_[at(pair.vial)] = true;
      taken_order_[at(pair.order)] = true;
    }
    graph_.reserveNode(static_cast<int>(vials) + problem.orders + 1);
    graph_.reserveArc(static_cast<int>(problem.pairs.size() + vials) + problem.orders);
    for (std::size_t i = 0; i < vials; ++i) vials_.push_back(graph_.addNode());
    for (int j = 0; j < problem.orders; ++j) orders_.push_back(graph_.addNode());
    shelf_ = graph_.addNode();
  }

  Answer solve();

 private:
  /// What the pair brings over waiting; keeping what was advised saves the price of switching.
  [[nodiscard]] Money value(const Pair& pair) const {
    const bool advised = std::ranges::binary_search(advised_, key(pair));
    const double gain =
        pair.worth - problem_.waiting[at(pair.vial)] + (advised ? problem_.switching : 0.0);
    return std::llround(gain / grain_) * steps_per_grain + 1;
  }
  [[nodiscard]] bool free(const Pair& pair) const {
    return !taken_vial_[at(pair.vial)] && !taken_order_[at(pair.order)];
  }

  const Problem& problem_;
  double grain_;
  std::vector<Key> advised_, fixed_;
  Graph graph_;
  std::vector<Graph::Node> vials_, orders_;
  Graph::Node shelf_;
  std::vector<bool> taken_vial_, taken_order_;
};

Answer Network::solve() {
  std::vector<Graph::Arc> arcs(problem_.pairs.size(), lemon::INVALID);
  std::vector<Money> values(problem_.pairs.size(), 0);
  for (std::size_t p = 0; p < arcs.size(); ++p) {
    const Pair& pair = problem_.pairs[p];
    if (!free(pair)) continue;
    values[p] = value(pair);
    // A pair that waiting beats is in no best answer: without it the vial waits and all is better.
    if (values[p] > 0) arcs[p] = graph_.addArc(vials_[at(pair.vial)], orders_[at(pair.order)]);
  }
  for (const Graph::Node vial : vials_) graph_.addArc(vial, shelf_);
  for (const Graph::Node order : orders_) graph_.addArc(order, shelf_);

  Graph::ArcMap<Money> cost(graph_, 0);
  for (std::size_t p = 0; p < arcs.size(); ++p)
    if (arcs[p] != lemon::INVALID) cost[arcs[p]] = -values[p];
  Graph::ArcMap<int> capacity(graph_, 1);
  Graph::NodeMap<int> supply(graph_, 0);
  for (const Graph::Node vial : vials_) supply[vial] = 1;
  supply[shelf_] = -static_cast<int>(vials_.size());
  using Simplex = lemon::NetworkSimplex<Graph, int, Money>;
  Simplex simplex(graph_);
  simplex.upperMap(capacity).costMap(cost).supplyMap(supply);
  require(simplex.run() == Simplex::OPTIMAL, "every vial can wait, so there is an answer");

  Answer answer;
  answer.pairs = problem_.fixed;
  answer.short_by.assign(arcs.size(), 0.0);
  const Money shelf = simplex.potential(shelf_);
  std::vector<bool> goes = taken_vial_;
  for (std::size_t p = 0; p < arcs.size(); ++p) {
    const Pair& pair = problem_.pairs[p];
    if (!free(pair)) {
      const bool fixed = std::ranges::binary_search(fixed_, key(pair));
      answer.short_by[p] = fixed ? 0.0 : std::numeric_limits<double>::infinity();
      continue;
    }
    if (arcs[p] != lemon::INVALID && simplex.flow(arcs[p]) > 0) {
      answer.pairs.push_back(pair);
      goes[at(pair.vial)] = true;
      continue;
    }
    const Money by_vial = simplex.potential(vials_[at(pair.vial)]) - shelf;
    const Money by_order = std::max<Money>(0, shelf - simplex.potential(orders_[at(pair.order)]));
    answer.short_by[p] = std::max(0.0, static_cast<double>(by_vial + by_order - values[p]) *
                                           grain_ / static_cast<double>(steps_per_grain));
  }
  std::ranges::sort(answer.pairs, {}, &Pair::vial);
  for (const Pair& pair : answer.pairs) answer.gain += pair.worth - problem_.waiting[at(pair.vial)];
  for (std::size_t i = 0; i < goes.size(); ++i)
    if (!goes[i]) answer.kept.push_back(static_cast<int>(i));
  return answer;
}

}  // namespace

Answer assign(const Problem& problem, double grain) {
  check(problem, grain);
  return Network(problem, grain).solve();
}

}  // namespace vialwright::pairing
