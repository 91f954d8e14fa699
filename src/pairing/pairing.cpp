#include "pairing/pairing.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <utility>

#include "error/error.hpp"
#include "pairing/network.hpp"

namespace vialwright::pairing {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

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

/// Which vials and orders are spoken for.
struct Taken {
  explicit Taken(const Problem& problem)
      : vial(problem.waiting.size(), false), order(at(problem.orders), false) {
    for (const Pair& pair : problem.fixed) {
      require(!has(pair), "fixed pairs share no vial and no order");
      vial[at(pair.vial)] = order[at(pair.order)] = true;
    }
  }
  [[nodiscard]] bool has(const Pair& pair) const {
    return vial[at(pair.vial)] || order[at(pair.order)];
  }
  std::vector<bool> vial, order;
};

void check(const Problem& problem, double grain) {
  require(grain > 0.0 && problem.switching >= 0.0 && problem.switching < 1e6,
          "grain is above 0, switching neither negative nor a million");
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

/// Money in whole steps: a grain holds more steps than there can be pairs, so that one step a pair
/// breaks ties in favour of more pairs and never outweighs a grain.
class Till {
 public:
  Till(const Problem& problem, double grain)
      : problem_(problem),
        advised_(sorted_keys(problem.advised)),
        grain_(grain),
        in_grain_(1 + std::min<Steps>(static_cast<Steps>(problem.waiting.size()), problem.orders)) {
    double most = problem.switching;
    for (const Pair& pair : problem.pairs) most = std::max(most, std::abs(over_waiting(pair)));
    const double nodes = static_cast<double>(problem.waiting.size()) + problem.orders + 1.0;
    require((most / grain + 1.0) * static_cast<double>(in_grain_) * nodes < 0x1p60,
            "the grain is not too fine for the largest worth and the number of vials");
  }

  /// What the pair brings over waiting; keeping what was advised saves the price of switching.
  [[nodiscard]] double over_waiting(const Pair& pair) const {
    const bool advised = std::ranges::binary_search(advised_, key(pair));
    return pair.worth - problem_.waiting[at(pair.vial)] + (advised ? problem_.switching : 0.0);
  }
  [[nodiscard]] Steps steps(const Pair& pair) const {
    return std::llround(over_waiting(pair) / grain_) * in_grain_ + 1;
  }
  [[nodiscard]] double money(Steps steps) const {
    return static_cast<double>(steps) * grain_ / static_cast<double>(in_grain_);
  }
  /// What is maximised, to the rounding of a double.
  [[nodiscard]] double total(const std::vector<Pair>& pairs) const {
    return std::accumulate(pairs.begin(), pairs.end(), 0.0,
                           [&](double sum, const Pair& p) { return sum + over_waiting(p); });
  }

 private:
  const Problem& problem_;
  std::vector<Key> advised_;
  double grain_;
  Steps in_grain_;
};

/// The pairs that may win, by vial and order whatever order they came in.
std::vector<Arc> arcs_of(const Problem& problem, const Taken& taken, const Till& till) {
  std::vector<Arc> arcs;
  arcs.reserve(problem.pairs.size());
  for (const Pair& pair : problem.pairs) {
    if (taken.has(pair)) continue;
    const Steps value = till.steps(pair);
    if (value > 0) arcs.push_back({pair.vial, pair.order, value});
  }
  const auto key_of = [](const Arc& arc) { return Key{arc.vial, arc.order}; };
  std::ranges::sort(arcs, {}, key_of);
  require(std::ranges::adjacent_find(arcs, {}, key_of) == arcs.end(),
          "at most one pair of the same vial and order");
  return arcs;
}

}  // namespace

Answer assign(const Problem& problem, double grain) {
  check(problem, grain);
  const Taken taken(problem);
  const Till till(problem, grain);
  const std::vector<Arc> arcs = arcs_of(problem, taken, till);
  Matched matched = dearest(static_cast<int>(problem.waiting.size()), problem.orders, arcs);
  settle_ties(arcs, matched);

  Answer answer;
  answer.pairs = problem.fixed;
  const std::vector<Key> fixed = sorted_keys(problem.fixed);
  for (const Pair& pair : problem.pairs) {
    double short_by = 0.0;
    if (taken.has(pair))
      short_by = std::ranges::binary_search(fixed, key(pair)) ? 0.0 : infinity;
    else if (matched.order_of[at(pair.vial)] == pair.order)
      answer.pairs.push_back(pair);
    else
      short_by = till.money(matched.vial_price[at(pair.vial)] +
                            matched.order_price[at(pair.order)] - till.steps(pair));
    answer.short_by.push_back(short_by);
  }
  std::ranges::sort(answer.pairs, {}, &Pair::vial);
  for (const Pair& pair : answer.pairs) answer.gain += pair.worth - problem.waiting[at(pair.vial)];
  for (std::size_t i = 0; i < problem.waiting.size(); ++i)
    if (!taken.vial[i] && matched.order_of[i] < 0) answer.kept.push_back(static_cast<int>(i));
  return answer;
}

double shortfall(const Problem& problem, const Answer& answer, const Pair& pair, double grain) {
  check(problem, grain);
  if (std::ranges::count(answer.pairs, key(pair), key) > 0) return 0.0;
  if (Taken(problem).has(pair)) return infinity;
  Problem forced = problem;
  forced.fixed.push_back(pair);
  const Till till(problem, grain);
  return std::max(0.0, till.total(answer.pairs) - till.total(assign(forced, grain).pairs));
}

}  // namespace vialwright::pairing
