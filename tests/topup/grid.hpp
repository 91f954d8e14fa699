/// The best top-up of a pair by looking everywhere: every set of stations, a grid over the amounts,
/// finer grids about the best points. Slow and simple; shares with the search only odds_of, on
/// points of its own.
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>

#include "topup/pairs.hpp"

namespace vialwright::topup::testing {

struct Tried {
  std::vector<Addition> additions;
  double odds = 0.0, cost = 0.0;
};

class Grid {
 public:
  Grid(const Pair& pair, double wanted) : pair_(pair), wanted_(wanted) {
    options_.conformity.seed = 77001;
    options_.conformity.points = options_.conformity.most_points = 256;
  }

  /// The best odds at any cost, and the cheapest that has the wanted odds.
  void look() { sets({}, 0); }
  Tried surest;
  std::optional<Tried> cheapest;

 private:
  using Amounts = std::vector<double>;
  using Box = std::vector<std::pair<double, double>>;  // told grams of each dose

  void sets(std::vector<int> chosen, std::size_t next) {
    if (next == pair_.means.loaded.size()) return search(chosen);
    sets(chosen, next + 1);
    const int stock = pair_.means.loaded[next].stock;
    for (const int other : chosen)
      if (pair_.means.loaded[pairs::at(other)].stock == stock) return;
    chosen.push_back(static_cast<int>(next));
    sets(std::move(chosen), next + 1);
  }
  [[nodiscard]] std::vector<Addition> additions(const std::vector<int>& chosen,
                                                const Amounts& amounts) const {
    std::vector<Addition> made;
    for (std::size_t j = 0; j < chosen.size(); ++j) {
      made.push_back(pair_.means.loaded[pairs::at(chosen[j])]);
      made.back().amount_g = amounts[j];
    }
    return made;
  }
  /// Smallest distance of a line from its limit at the mean, in half widths of its band; at most 1.
  [[nodiscard]] double paper(const std::vector<int>& chosen, const Amounts& amounts) const {
    const contents::Belief& belief = pair_.belief;
    double net = belief.mean[belief.net()], worst = 1.0;
    for (const double each : amounts) net += each;
    for (const recipe::Tolerance& line : pair_.recipe.tolerances) {
      double value = net;
      if (line.on == recipe::ToleranceOn::content) {
        value = belief.mean[line.of];
        for (std::size_t j = 0; j < chosen.size(); ++j) {
          const int lot = pair_.means.loaded[pairs::at(chosen[j])].lot;
          value +=
              amounts[j] * pair_.book.lots[pairs::at(lot)].strengths[pairs::at(line.of)].mg_per_g;
        }
        value /= net;
      }
      const double half = 0.5 * (line.high - line.low);
      worst = std::min(worst, std::min(value - line.low, line.high - value) / half);
    }
    return worst;
  }
  template <class Visit>
  static void walk(const Box& box, int steps, Amounts& at, std::size_t j, const Visit& visit) {
    if (j == box.size()) return visit(at);
    for (int i = 0; i <= steps; ++i) {
      at[j] = box[j].first + (box[j].second - box[j].first) * i / steps;
      walk(box, steps, at, j + 1, visit);
    }
  }
  static Box about(const Box& box, const Amounts& middle, double share, const Box& within) {
    Box made = box;
    for (std::size_t j = 0; j < box.size(); ++j) {
      const double half = 0.5 * share * (box[j].second - box[j].first);
      made[j] = {std::max(within[j].first, middle[j] - half),
                 std::min(within[j].second, middle[j] + half)};
    }
    return made;
  }
  [[nodiscard]] bool fits(const std::vector<int>& chosen, const Amounts& amounts) const {
    const plant::Container& vial = pair_.plant.containers.front();
    double net = pair_.belief.mean[pair_.belief.net()];
    double volume = pair_.belief.mean[pair_.belief.volume()];
    for (std::size_t j = 0; j < amounts.size(); ++j) {
      net += amounts[j];
      const int stock = pair_.means.loaded[pairs::at(chosen[j])].stock;
      volume += amounts[j] / pair_.book.stocks[pairs::at(stock)].density_g_per_ml;
    }
    return net <= vial.largest_fill_g && volume <= vial.largest_fill_ml;
  }
  [[nodiscard]] double cost(const std::vector<int>& chosen, const Amounts& amounts) const {
    double sum = 0.0;
    for (std::size_t j = 0; j < chosen.size(); ++j) {
      const int stock = pair_.means.loaded[pairs::at(chosen[j])].stock;
      sum +=
          pair_.plant.prices.visit + amounts[j] * pair_.book.stocks[pairs::at(stock)].price_per_g;
    }
    return sum;
  }
  Tried at(const std::vector<int>& chosen, const Amounts& amounts) {
    Tried tried{additions(chosen, amounts), 0.0, cost(chosen, amounts)};
    tried.odds =
        odds_of(pair_.belief, pair_.recipe, tried.additions, pair_.plant, pair_.book, options_)
            .value;
    if (tried.odds > surest.odds) surest = tried;
    if (tried.odds >= wanted_ && (!cheapest || tried.cost < cheapest->cost)) cheapest = tried;
    return tried;
  }
  void search(const std::vector<int>& chosen);

  const Pair& pair_;
  double wanted_;
  Options options_;
};

inline void Grid::search(const std::vector<int>& chosen) {
  const std::size_t n = chosen.size();
  Box all;
  const double room =
      pair_.plant.containers.front().largest_fill_g - pair_.belief.mean[pair_.belief.net()];
  for (const int j : chosen) {
    const auto& station = pair_.plant.stations[pairs::at(pair_.means.loaded[pairs::at(j)].station)];
    all.push_back({station.least_dose_g, std::min(station.largest_dose_g, room)});
    if (all.back().first > all.back().second) return;
  }
  Amounts least;
  for (const auto& range : all) least.push_back(range.first);
  if (!fits(chosen, least)) return;
  // The middle on paper: its distance from the limits is concave but for the divisor, so zooming
  // in on the best grid point is safe where each zoom keeps the neighbours.
  Amounts amounts = least, middle = least;
  double best = paper(chosen, least);
  Box box = all;
  for (int zoom = 0; zoom < 14; ++zoom) {
    walk(box, 10, amounts, 0, [&](const Amounts& x) {
      const double here = fits(chosen, x) ? paper(chosen, x) : -1e9;
      if (here > best) {
        best = here;
        middle = x;
      }
    });
    box = about(box, middle, 0.5, all);
  }
  if (best < -1.0) return;
  // The extent of what nearly holds on paper along each dose through the middle, and a grid in it.
  box.clear();
  for (std::size_t j = 0; j < n; ++j) {
    double low = middle[j], high = middle[j];
    for (int i = 0; i <= 4000; ++i) {
      Amounts x = middle;
      x[j] = all[j].first + (all[j].second - all[j].first) * i / 4000.0;
      if (paper(chosen, x) < std::min(-0.3, best - 0.5)) continue;
      low = std::min(low, x[j]);
      high = std::max(high, x[j]);
    }
    // Doses that move together reach farther than one alone.
    const double more = n > 1 ? 0.5 * (high - low) : 0.0;
    box.push_back({std::max(all[j].first, low - more), std::min(all[j].second, high + more)});
  }
  const int steps = n == 3 ? 12 : 24;
  Tried odds_here, cost_here;
  odds_here.odds = -1.0;
  Amounts odds_at = middle, cost_at = middle;
  const auto visit = [&](const Amounts& x) {
    if (!fits(chosen, x) || paper(chosen, x) < -0.5) return;
    const Tried tried = at(chosen, x);
    if (tried.odds > odds_here.odds) {
      odds_here = tried;
      odds_at = x;
    }
    if (tried.odds < wanted_) return;
    if (cost_here.additions.empty() || tried.cost < cost_here.cost) {
      cost_here = tried;
      cost_at = x;
    }
  };
  walk(box, steps, amounts, 0, visit);
  Box near_odds = box, near_cost = box;
  for (int zoom = 0; zoom < 6; ++zoom) {
    near_odds = about(near_odds, odds_at, 0.4, all);
    walk(near_odds, 4, amounts, 0, visit);
    if (cost_here.additions.empty()) continue;
    near_cost = about(near_cost, cost_at, zoom == 0 ? 0.4 : 0.6, all);
    walk(near_cost, 6, amounts, 0, visit);
  }
}

}  // namespace vialwright::topup::testing
