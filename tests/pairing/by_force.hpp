/// Every way to pair a few vials with a few orders, one after another.
#pragma once

#include <algorithm>
#include <map>
#include <optional>
#include <vector>

#include "pairing/pairing.hpp"
#include "support/random.hpp"

namespace vialwright::pairing::testing {

/// A pairing by order: its vial, or the number of vials when nobody fills it, so that comparing two
/// puts the one with the lower vial for the lower order first.
using ByOrder = std::vector<int>;

struct Found {
  double total = -1e300;  ///< gain, with the switching price of what stays as advised
  double gain = 0.0;
  int pairs = 0;
  ByOrder by_order;
};

/// Tries all; a better total wins (beyond `equal`, for doubles), then more pairs, then the lower
/// ByOrder.
class ByForce {
 public:
  explicit ByForce(const Problem& problem, double equal = 1e-9)
      : problem_(problem), equal_(equal), used_(problem.waiting.size(), false) {
    for (const Pair& pair : problem.pairs) worth_[{pair.vial, pair.order}] = pair.worth;
    for (const Pair& pair : problem.fixed) {
      worth_[{pair.vial, pair.order}] = pair.worth;
      must_[pair.order] = pair.vial;
    }
    now_.total = 0.0;
    now_.by_order.assign(static_cast<std::size_t>(problem.orders), vials());
    go(0);
  }
  [[nodiscard]] const Found& best() const { return best_; }

 private:
  [[nodiscard]] int vials() const { return static_cast<int>(problem_.waiting.size()); }

  void go(int order) {
    if (order == problem_.orders) return consider();
    const auto must = must_.find(order);
    if (must == must_.end()) go(order + 1);
    for (int vial = 0; vial < vials(); ++vial) {
      const auto worth = worth_.find({vial, order});
      if (used_[static_cast<std::size_t>(vial)] || worth == worth_.end()) continue;
      if (must != must_.end() ? must->second != vial : is_fixed(vial)) continue;
      take(vial, order, worth->second);
    }
  }
  [[nodiscard]] bool is_fixed(int vial) const {
    return std::any_of(must_.begin(), must_.end(),
                       [&](const auto& each) { return each.second == vial; });
  }
  void take(int vial, int order, double worth) {
    const Found before = now_;
    const double over = worth - problem_.waiting[static_cast<std::size_t>(vial)];
    const bool advised = std::ranges::any_of(problem_.advised, [&](const Pair& pair) {
      return pair.vial == vial && pair.order == order;
    });
    now_.gain += over;
    now_.total += over + (advised ? problem_.switching : 0.0);
    ++now_.pairs;
    now_.by_order[static_cast<std::size_t>(order)] = vial;
    used_[static_cast<std::size_t>(vial)] = true;
    go(order + 1);
    used_[static_cast<std::size_t>(vial)] = false;
    now_ = before;
  }
  void consider() {
    if (now_.total < best_.total - equal_) return;
    const bool equal = now_.total <= best_.total + equal_;
    if (equal && now_.pairs < best_.pairs) return;
    if (equal && now_.pairs == best_.pairs && now_.by_order >= best_.by_order) return;
    best_ = now_;
  }

  const Problem& problem_;
  double equal_;
  std::vector<bool> used_;
  std::map<std::pair<int, int>, double> worth_;
  std::map<int, int> must_;
  Found now_, best_;
};

inline ByOrder by_order(const Problem& problem, const std::vector<Pair>& pairs) {
  ByOrder made(static_cast<std::size_t>(problem.orders), static_cast<int>(problem.waiting.size()));
  for (const Pair& pair : pairs) made[static_cast<std::size_t>(pair.order)] = pair.vial;
  return made;
}

/// Up to six vials and six orders, each pair allowed with some odds; money in whole units of
/// `unit`, so that coarse units make many ties.
inline Problem small_problem(support::Random& random, double unit) {
  const auto money = [&](int low, int high) { return unit * (low + random.below(high - low)); };
  Problem made;
  made.waiting.resize(1 + static_cast<std::size_t>(random.below(6)));
  for (double& each : made.waiting) each = money(-2, 4);
  made.orders = random.below(7);
  made.switching = random.below(2) * money(0, 3);
  const double allowed = random.uniform(0.2, 1.0);
  const int span = static_cast<int>(8.0 / unit);
  for (int i = 0; i < static_cast<int>(made.waiting.size()); ++i)
    for (int j = 0; j < made.orders; ++j)
      if (random.uniform() < allowed) made.pairs.push_back({i, j, unit * random.below(span)});
  const auto any_pair = [&] {
    return made.pairs[static_cast<std::size_t>(random.below(static_cast<int>(made.pairs.size())))];
  };
  if (!made.pairs.empty() && random.below(3) == 0) made.fixed.push_back(any_pair());
  for (int k = random.below(3); k > 0 && !made.pairs.empty(); --k)
    made.advised.push_back(any_pair());
  return made;
}

}  // namespace vialwright::pairing::testing
