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

/// Amounts and shares of one awkward problem: small integers and eighths, or any numbers.
class Numbers {
 public:
  explicit Numbers(support::Random& random) : random_(random), even_(random.below(2) == 0) {}

  double amount(double most) {
    if (!even_) return random_.uniform(0.0, most);
    return static_cast<double>(random_.below(1 + static_cast<int>(most)));
  }
  double share(double about) {
    return even_ ? 0.125 * random_.below(5) : random_.uniform(0.0, 2.0 * about);
  }
  double volume() {
    if (random_.below(3) == 0) return 0.0;
    return even_ ? 1.0 : random_.uniform(0.5, 1.5);
  }
  /// Ties among the prices, zero and negative ones too.
  double price() {
    return static_cast<double>(random_.below(5) - 1) * (random_.below(2) == 0 ? 0.5 : 0.1);
  }

 private:
  support::Random& random_;
  bool even_;
};

/// Limits about what some additions would give, so that most of these problems can be solved, many
/// of them only at one point, and some by no more than the last bit.
inline void aim(Instance& one, support::Random& random, Numbers& numbers) {
  std::vector<double> additions;
  double total = one.total, volume = 0.0;
  for (std::size_t i = 0; i < one.stocks(); ++i) {
    additions.push_back(random.below(3) == 0 ? 0.0 : std::min(one.cap[i], numbers.amount(4.0)));
    total += additions[i];
    volume += additions[i] * one.volume[i];
  }
  for (std::size_t i = 0; i < one.stocks(); ++i) {
    const double share = total > 0.0 ? (one.have[i] + additions[i]) / total : 0.0;
    const bool exact = random.below(3) == 0;
    one.low[i] = random.below(4) == 0 ? 0.0 : share * (exact ? 1.0 : random.uniform(0.5, 1.0));
    one.high[i] = one.low[i] == 0.0 && random.below(2) == 0
                      ? infinity
                      : share * (exact ? 1.0 : random.uniform(1.0, 1.6));
  }
  one.total_low = total - (random.below(2) == 0 ? 0.0 : numbers.amount(3.0));
  one.total_high = total + (random.below(2) == 0 ? 0.0 : numbers.amount(3.0));
  one.volume_room = volume + (random.below(2) == 0 ? 0.0 : numbers.amount(5.0));
}

/// Ties, zeros, points and empty vials: lo = hi, equal, zero and negative costs, caps of zero, a
/// window that is a point, small integers whose sums come out even.
inline Instance awkward(support::Random& random, int stocks) {
  Instance made;
  Numbers numbers(random);
  made.total = random.below(4) == 0 ? 0.0 : numbers.amount(20.0);
  double left = made.total;
  for (int i = 0; i < stocks; ++i) {
    const double have = random.below(3) == 0 ? 0.0 : std::min(left, numbers.amount(8.0));
    left -= have;
    const double target = numbers.share(1.0 / stocks);
    const bool exact = random.below(3) == 0, open = random.below(5) == 0;
    made.have.push_back(have);
    made.low.push_back(open ? 0.0 : target * (exact ? 1.0 : random.uniform(0.3, 1.0)));
    made.high.push_back(open ? infinity : target * (exact ? 1.0 : random.uniform(1.0, 2.0)));
    made.cap.push_back(random.below(4) == 0 ? 0.0 : numbers.amount(20.0));
    made.cost.push_back(numbers.price());
    made.volume.push_back(numbers.volume());
  }
  made.total_low = numbers.amount(24.0);
  made.total_high = made.total_low + (random.below(3) == 0 ? 0.0 : numbers.amount(6.0));
  made.volume_room = random.below(4) == 0 ? 0.0 : numbers.amount(20.0);
  if (random.below(2) == 0) aim(made, random, numbers);
  return made;
}

/// Aimed problems of which one limit is then moved by a millionth to a ten-thousand-millionth: on
/// the wrong side of a general solver's tolerance, on the right side of ours.
inline Instance near_miss(support::Random& random, int stocks) {
  Instance made = ordinary(random, stocks);
  Numbers numbers(random);
  aim(made, random, numbers);
  const double by = std::pow(10.0, random.uniform(-10.0, -6.0)) * (random.below(2) == 0 ? 1 : -1);
  const auto stock = static_cast<std::size_t>(random.below(stocks));
  switch (random.below(4)) {
    case 0:
      made.low[stock] = std::min(made.low[stock] * (1.0 + by), made.high[stock]);
      break;
    case 1:
      made.high[stock] = std::max(made.high[stock] * (1.0 - by), made.low[stock]);
      break;
    case 2:
      made.total_high = made.total_low = made.total_low * (1.0 + by);
      break;
    default:
      made.volume_room *= 1.0 - by;
  }
  return made;
}

}  // namespace vialwright::topup::testing
