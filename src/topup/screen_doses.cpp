#include "topup/screen_doses.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace vialwright::topup {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

void check(const RecipeTable& recipes, const ManyVial& vial) {
  const std::size_t n = at(recipes.stocks);
  require(n <= most_stocks, "a composition problem has at most 64 stocks");
  for (const auto* each :
       {&vial.have, &vial.u_have, &vial.with_total, &vial.least, &vial.cap, &vial.price,
        &vial.volume, &vial.spread_g, &vial.spread_rel, &vial.u_strength_rel})
    require(each->size() == n, "one entry a stock");
  const std::size_t count = at(recipes.count);
  require(recipes.low.size() == n * count && recipes.high.size() == n * count &&
              recipes.total_low.size() == count && recipes.total_high.size() == count,
          "one entry a stock and recipe");
}

Quick quickly(const RecipeTable& recipes, int recipe, const ManyVial& vial, DoseCase& all,
              PerStock& grams) {
  all = dose_case(recipes, recipe, vial);
  Quick quick;
  quick.recipe = recipe;
  quick.any_cost = quick.least_cost = quick.cost = std::numeric_limits<double>::infinity();
  DoseAnswer relaxed;
  const DoseAnswer cheapest = least_cost_of_doses(all, nullptr, &relaxed);
  if (!relaxed.found) return quick;
  quick.any_cost = relaxed.cost;
  quick.outcome = Quick::Outcome::least_doses;
  if (!cheapest.found) return quick;
  quick.outcome = Quick::Outcome::found;
  quick.least_cost = cheapest.cost;
  grams = centred(all, cheapest);
  quick.cost = 0.0;
  for (std::size_t i = 0; i < all.count; ++i)
    if (grams[i] > 0.0) quick.cost += all.price[i] * grams[i] + all.visit;
  const QuickOdds odds = quick_odds(all, grams);
  quick.odds = odds.value;
  quick.odds_error = odds.error;
  quick.odds_at_most = odds_at_most(all);
  return quick;
}

}  // namespace

/// Stocks that are not in the vial and must not be are left out: a palette has few.
DoseCase dose_case(const RecipeTable& recipes, int recipe, const ManyVial& vial) {
  DoseCase all;
  const std::size_t count = at(recipes.count), r = at(recipe);
  for (std::size_t i = 0; i < at(recipes.stocks); ++i) {
    const double low = recipes.low[i * count + r], high = recipes.high[i * count + r];
    if (high <= 0.0 && vial.have[i] <= 0.0 && vial.u_have[i] <= 0.0) continue;
    const std::size_t k = all.count++;
    all.stock[k] = static_cast<int>(i);
    all.low[k] = low;
    all.high[k] = high;
    all.have[k] = vial.have[i];
    all.u_have[k] = vial.u_have[i];
    all.with_total[k] = vial.with_total[i];
    all.least[k] = vial.least[i];
    all.cap[k] = vial.cap[i] >= vial.least[i] ? vial.cap[i] : 0.0;
    all.price[k] = vial.price[i];
    all.volume[k] = vial.volume[i];
    all.spread_g[k] = vial.spread_g[i];
    all.spread_rel[k] = vial.spread_rel[i];
    all.u_strength_rel[k] = vial.u_strength_rel[i];
  }
  all.total = vial.total;
  all.u_total = vial.u_total;
  all.total_low = recipes.total_low[r];
  all.total_high = recipes.total_high[r];
  all.volume_room = vial.volume_room;
  all.visit = vial.visit_cost;
  return all;
}

Quick quick(const RecipeTable& recipes, int recipe, const ManyVial& vial,
            std::span<double> additions) {
  check(recipes, vial);
  DoseCase all;
  PerStock grams{};
  const Quick answer = quickly(recipes, recipe, vial, all, grams);
  if (additions.empty()) return answer;
  require(additions.size() == at(recipes.stocks), "one addition a stock");
  std::ranges::fill(additions, 0.0);
  if (answer.outcome == Quick::Outcome::found)
    for (std::size_t k = 0; k < all.count; ++k) additions[at(all.stock[k])] = grams[k];
  return answer;
}

std::vector<Quick> screen_doses(const RecipeTable& recipes, const ManyVial& vial) {
  check(recipes, vial);
  std::vector<double> cost(at(recipes.count)), cap = vial.cap;
  for (std::size_t i = 0; i < cap.size(); ++i)
    if (cap[i] < vial.least[i]) cap[i] = 0.0;
  screen(recipes, vial.have, cap, vial.price, vial.volume, vial.total, vial.volume_room, cost);
  std::vector<Quick> possible;
  DoseCase all;
  PerStock grams{};
  for (std::size_t r = 0; r < cost.size(); ++r) {
    if (!std::isfinite(cost[r])) continue;
    const Quick each = quickly(recipes, static_cast<int>(r), vial, all, grams);
    if (each.outcome != Quick::Outcome::impossible) possible.push_back(each);
  }
  return possible;
}

}  // namespace vialwright::topup
