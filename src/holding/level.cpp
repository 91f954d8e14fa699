#include <algorithm>
#include <cmath>

#include "holding/course.hpp"

namespace vialwright::holding {
namespace {

struct Level {
  double worth, rate;
};

}  // namespace

bool is_level(std::span<const Offer> offers, const Terms& terms) {
  if (terms.learn_while_waiting) return false;
  return std::ranges::all_of(offers, [](const Offer& offer) {
    return std::ranges::all_of(offer.worth,
                               [&](double worth) { return worth == offer.worth.front(); });
  });
}

/// W rises from scrapping with the time left. While the offers above it stay the same it nears
/// (their income - cost) / (their rate) exponentially; at each worth that it passes one falls away.
double level_value(std::span<const Offer> offers, const Terms& terms) {
  std::vector<Level> levels;
  levels.reserve(offers.size());
  for (const Offer& offer : offers)
    if (counts(offer) && offer.worth.front() > -terms.disposal)
      levels.push_back({offer.worth.front(), offer.demand.rate()});
  std::ranges::sort(levels, [](const Level& a, const Level& b) { return a.worth > b.worth; });
  const double cost = terms.cost_per_day + terms.place_per_day;
  // Rates and incomes of the k best, summed from the best down: nothing is subtracted later.
  std::vector<Level> sums(levels.size() + 1, {-cost, 0.0});
  for (std::size_t k = 0; k < levels.size(); ++k)
    sums[k + 1] = {sums[k].worth + levels[k].rate * levels[k].worth, sums[k].rate + levels[k].rate};
  double w = -terms.disposal, left = terms.longest_days;
  for (std::size_t k = levels.size(); k > 0; --k) {
    const double rate = sums[k].rate, goal = sums[k].worth / rate, next = levels[k - 1].worth;
    if (goal <= w) return w;
    const double takes = goal > next ? std::log((goal - w) / (goal - next)) / rate : left;
    if (takes >= left) return goal + (w - goal) * std::exp(-rate * left);
    left -= takes;
    w = next;
  }
  return w;
}

}  // namespace vialwright::holding
