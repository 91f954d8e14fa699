/// Random composition problems: such as a line sees, and such as break solvers.
#pragma once

#include <array>
#include <cmath>
#include <limits>
#include <vector>

#include "support/random.hpp"
#include "topup/topup.hpp"

namespace vialwright::topup::testing {

inline constexpr double infinity = std::numeric_limits<double>::infinity();

/// A composition problem that owns its numbers.
struct Instance {
  std::vector<double> have, low, high, cap, cost, volume;
  double total = 0.0, total_low = 0.0, total_high = 0.0, volume_room = 0.0;

  [[nodiscard]] Composition view() const {
    return {have, low, high, cap, cost, volume, total, total_low, total_high, volume_room};
  }
  [[nodiscard]] std::size_t stocks() const { return have.size(); }
};

/// The answer of least_cost to it.
struct Answer {
  bool found = false;
  double cost = 0.0;
  std::vector<double> additions;
};
inline Answer solved(const Instance& one) {
  Answer answer;
  answer.additions.resize(one.stocks());
  answer.found = least_cost(one.view(), answer.additions, answer.cost) == Solution::found;
  return answer;
}

/// A vial that was to be one recipe and is looked at for another: half to fully filled, 8 % off.
inline Instance ordinary(support::Random& random, int stocks) {
  const auto n = static_cast<std::size_t>(stocks);
  Instance made;
  std::vector<double> share(n), now(n);
  double shares = 0.0, nows = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    share[i] = i + 1 == n ? 4.0 : random.uniform(0.02, 0.4);
    now[i] = share[i] * (1.0 + 0.08 * random.normal());
    shares += share[i];
    nows += now[i];
  }
  const double net = random.uniform(15.0, 25.0), tolerance = random.uniform(0.01, 0.15);
  made.total = net * random.uniform(0.5, 1.0);
  made.total_low = net * 0.975;
  made.total_high = net * 1.025;
  made.volume_room = (made.total_high * 1.02 - made.total) * random.uniform(0.6, 1.4);
  for (std::size_t i = 0; i < n; ++i) {
    const bool solvent = i + 1 == n;
    const double target = share[i] / shares;
    made.have.push_back(solvent ? 0.0 : made.total * now[i] / nows);
    made.low.push_back(solvent ? 0.0 : target * (1.0 - tolerance));
    made.high.push_back(solvent ? infinity : target * (1.0 + tolerance));
    made.cap.push_back(random.uniform(0.2, 12.0));
    made.cost.push_back(random.uniform(0.001, 0.2));
    made.volume.push_back(random.uniform(0.8, 1.05));
  }
  return made;
}

/// Ties, zeros, points and empty vials: lo = hi, equal, zero and negative costs, caps of zero, a
/// window that is a point, small integers whose sums come out even.
inline Instance awkward(support::Random& random, int stocks) {
  const auto n = static_cast<std::size_t>(stocks);
  Instance made;
  const bool round = random.below(2) == 0;
  const auto amount = [&](double most) {
    return round ? static_cast<double>(random.below(1 + static_cast<int>(most)))
                 : random.uniform(0.0, most);
  };
  made.total = random.below(4) == 0 ? 0.0 : amount(20.0);
  double left = made.total;
  for (std::size_t i = 0; i < n; ++i) {
    const double have = random.below(3) == 0 ? 0.0 : std::min(left, amount(8.0));
    left -= have;
    const double target = round ? 0.125 * random.below(5) : random.uniform(0.0, 2.0 / stocks);
    const bool exact = random.below(3) == 0;
    const bool open = random.below(5) == 0;
    made.have.push_back(have);
    made.low.push_back(open ? 0.0 : target * (exact ? 1.0 : random.uniform(0.3, 1.0)));
    made.high.push_back(open ? infinity : target * (exact ? 1.0 : random.uniform(1.0, 2.0)));
    made.cap.push_back(random.below(4) == 0 ? 0.0 : amount(20.0));
    made.cost.push_back(static_cast<double>(random.below(5) - 1) *
                        (random.below(2) == 0 ? 0.5 : 0.1));
    made.volume.push_back(random.below(3) == 0 ? 0.0 : (round ? 1.0 : random.uniform(0.5, 1.5)));
  }
  made.total_low = amount(24.0);
  made.total_high = made.total_low + (random.below(3) == 0 ? 0.0 : amount(6.0));
  made.volume_room = random.below(4) == 0 ? 0.0 : amount(20.0);
  return made;
}

}  // namespace vialwright::topup::testing
