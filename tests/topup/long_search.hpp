/// The best top-up of many stocks by a long independent search: for every set that is not hopeless
/// on paper, general-purpose optimisers from several starts, on odds_of with points of its own.
#pragma once

#include <algorithm>
#include <cmath>
#include <nlopt.hpp>

#include "topup/grid.hpp"

namespace vialwright::topup::testing {

class LongSearch {
 public:
  /// @param effort  evaluations of the odds for each start of each set.
  LongSearch(const Pair& pair, double wanted, int effort, std::uint64_t seed)
      : pair_(pair), wanted_(wanted), effort_(effort), random_(seed) {
    options_.conformity.seed = 88001;
    options_.conformity.points = options_.conformity.most_points = 128;
  }
  void look();
  Tried surest;
  std::optional<Tried> cheapest;
  int sets = 0;

 private:
  using Amounts = std::vector<double>;
  void search(const std::vector<int>& chosen);
  [[nodiscard]] double room() const {
    return pair_.plant.containers.front().largest_fill_g - pair_.belief.mean[pair_.belief.net()];
  }
  [[nodiscard]] double room_ml() const {
    return pair_.plant.containers.front().largest_fill_ml -
           pair_.belief.mean[pair_.belief.volume()];
  }
  /// How far each line is missed from its target, in half bands, squared and summed; and the most.
  struct Miss {
    double squares = 0.0, most = 0.0;
  };
  [[nodiscard]] Miss miss(const std::vector<int>& chosen, const Amounts& amounts) const;
  [[nodiscard]] double overfull(const std::vector<int>& chosen, const Amounts& amounts) const;
  Tried at(const std::vector<int>& chosen, const Amounts& amounts);

  const Pair& pair_;
  double wanted_;
  int effort_;
  support::Random random_;
  Options options_;
};

inline LongSearch::Miss LongSearch::miss(const std::vector<int>& chosen,
                                         const Amounts& amounts) const {
  double net = pair_.belief.mean[pair_.belief.net()];
  for (const double each : amounts) net += each;
  Miss miss;
  for (const recipe::Tolerance& line : pair_.recipe.tolerances) {
    double value = net;
    if (line.on == recipe::ToleranceOn::content) {
      value = pair_.belief.mean[line.of];
      for (std::size_t j = 0; j < chosen.size(); ++j) {
        const int lot = pair_.means.loaded[pairs::at(chosen[j])].lot;
        value +=
            amounts[j] * pair_.book.lots[pairs::at(lot)].strengths[pairs::at(line.of)].mg_per_g;
      }
      value /= net;
    }
    const double off = (value - line.target) / (0.5 * (line.high - line.low));
    miss.squares += std::pow(off, 4.0);  // near the largest, and smooth
    miss.most = std::max(miss.most, std::abs(off));
  }
  return miss;
}

/// By how much the vial would be too full, g or mL; 0 where it is not.
inline double LongSearch::overfull(const std::vector<int>& chosen, const Amounts& amounts) const {
  double grams = 0.0, ml = 0.0;
  for (std::size_t j = 0; j < chosen.size(); ++j) {
    const int stock = pair_.means.loaded[pairs::at(chosen[j])].stock;
    grams += amounts[j];
    ml += amounts[j] / pair_.book.stocks[pairs::at(stock)].density_g_per_ml;
  }
  return std::max({0.0, grams - room(), ml - room_ml()});
}

inline Tried LongSearch::at(const std::vector<int>& chosen, const Amounts& amounts) {
  Tried tried;
  for (std::size_t j = 0; j < chosen.size(); ++j) {
    tried.additions.push_back(pair_.means.loaded[pairs::at(chosen[j])]);
    tried.additions.back().amount_g = amounts[j];
    const int stock = tried.additions.back().stock;
    tried.cost +=
        pair_.plant.prices.visit + amounts[j] * pair_.book.stocks[pairs::at(stock)].price_per_g;
  }
  tried.odds =
      odds_of(pair_.belief, pair_.recipe, tried.additions, pair_.plant, pair_.book, options_).value;
  if (overfull(chosen, amounts) > 0.0) return tried;
  if (tried.odds > surest.odds) surest = tried;
  if (tried.odds >= wanted_ && (!cheapest || tried.cost < cheapest->cost)) cheapest = tried;
  return tried;
}

inline void LongSearch::look() {
  const auto n = static_cast<int>(pair_.means.loaded.size());
  for (unsigned mask = 0; mask < (1U << n); ++mask) {
    std::vector<int> chosen;
    for (int j = 0; j < n; ++j)
      if ((mask >> j & 1U) != 0) chosen.push_back(j);
    search(chosen);
  }
}

inline void LongSearch::search(const std::vector<int>& chosen) {
  if (chosen.empty()) {
    at(chosen, {});
    return;
  }
  const auto n = static_cast<unsigned>(chosen.size());
  Amounts low, high;
  for (const int j : chosen) {
    const auto& station = pair_.plant.stations[pairs::at(pair_.means.loaded[pairs::at(j)].station)];
    low.push_back(station.least_dose_g);
    high.push_back(std::min(station.largest_dose_g, room()));
    if (low.back() > high.back()) return;
  }
  if (overfull(chosen, low) > 0.0) return;
  const auto run = [&](nlopt::algorithm algorithm, Amounts start, int evaluations,
                       const std::function<double(const Amounts&)>& value,
                       const std::function<double(const Amounts&)>& must_not_exceed_zero) {
    nlopt::opt optimiser(algorithm, n);
    optimiser.set_lower_bounds(low);
    optimiser.set_upper_bounds(high);
    optimiser.set_maxeval(evaluations);
    optimiser.set_xtol_rel(1e-7);
    using Function = std::function<double(const Amounts&)>;
    const auto call = [](const Amounts& x, Amounts&, void* data) {
      return (*static_cast<const Function*>(data))(x);
    };
    optimiser.set_min_objective(call, const_cast<Function*>(&value));
    if (must_not_exceed_zero)
      optimiser.add_inequality_constraint(call, const_cast<Function*>(&must_not_exceed_zero), 1e-9);
    double reached = 0.0;
    try {
      optimiser.optimize(start, reached);
    } catch (const std::exception&) {  // it stops on rounding; what it reached stands
    }
    return start;
  };
  const auto clamped = [&](Amounts x) {
    for (unsigned j = 0; j < n; ++j) x[j] = std::clamp(x[j], low[j], high[j]);
    return x;
  };
  Amounts middle = low;
  for (int round = 0; round < 2; ++round)
    middle = run(
        nlopt::LN_SBPLX, middle, 4000,
        [&](const Amounts& x) { return miss(chosen, x).squares + 1e3 * overfull(chosen, x); }, {});
  if (miss(chosen, middle).most > 1.6) return;
  ++sets;
  const auto failure = [&](const Amounts& x) {
    const double odds = at(chosen, x).odds;
    return -std::log(std::max(odds, 1e-12)) + 1e3 * overfull(chosen, x);
  };
  Amounts best = middle;
  for (int start = 0; start < 2; ++start) {
    Amounts from = middle;
    if (start > 0)
      for (double& each : from) each *= 1.0 + 0.05 * random_.normal();
    const Amounts reached = run(nlopt::LN_SBPLX, clamped(from), effort_, failure, {});
    if (failure(reached) < failure(best)) best = reached;
  }
  if (at(chosen, best).odds < wanted_) return;
  const std::function<double(const Amounts&)> cost = [&](const Amounts& x) {
    return at(chosen, x).cost;
  };
  const std::function<double(const Amounts&)> short_of = [&](const Amounts& x) {
    return std::log(wanted_) + failure(x);
  };
  for (int start = 0; start < 2; ++start) run(nlopt::LN_COBYLA, best, 2 * effort_, cost, short_of);
}

}  // namespace vialwright::topup::testing
