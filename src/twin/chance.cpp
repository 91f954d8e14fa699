/// What comes by chance while vials wait: orders, and stations that are down.

#include <algorithm>
#include <cmath>

#include "twin/rework.hpp"

namespace vialwright::twin {
namespace {

double exponential(double mean, Random& random) { return -mean * std::log(random.uniform()); }

/// The recipe of an order drawn among those wanted; of all recipes where none is wanted.
const recipe::Recipe& drawn_recipe(const Setting& setting, Random& random) {
  const auto& recipes = setting.recipes;
  if (setting.orders.empty()) return recipes[at(random.below(static_cast<int>(recipes.size())))];
  const auto pick = random.below(static_cast<int>(setting.orders.size()));
  const auto found = std::find_if(
      recipes.begin(), recipes.end(),
      [&](const recipe::Recipe& recipe) { return recipe.id == setting.orders[at(pick)].recipe; });
  require(found != recipes.end(), "every order names a recipe");
  return *found;
}

ChanceOrder draw_order(double placed_s, int number, const Setting& setting, Random& random) {
  const ReworkPlan& plan = setting.plan.rework;
  const recipe::Recipe& recipe = drawn_recipe(setting, random);
  ChanceOrder order;
  order.placed_s = placed_s;
  const double patience_h = exponential(plan.patience_h, random);
  order.gives_up_s = placed_s + 3600.0 * std::max(patience_h, setting.plant.holding.making_h);
  order.data.order = "C-" + std::to_string(number);
  order.data.recipe = recipe.id;
  order.data.value = recipe.value > 0.0 ? recipe.value : setting.plant.prices.good;
  const double due_s = placed_s + 3600.0 * random.between(2.0, 48.0);
  order.data.due = quantity::later_by(setting.plan.start, 60.0 * std::round(due_s / 60.0));
  return order;
}

}  // namespace

std::vector<ChanceOrder> chance_orders(const Setting& setting, double end_s) {
  const ReworkPlan& plan = setting.plan.rework;
  std::vector<ChanceOrder> orders;
  if (!(plan.orders_per_day > 0.0)) return orders;
  Random random(setting.plan.seed, "chance orders");
  double t = -3600.0 * plan.history_h;
  for (int number = 1;; ++number) {
    t += exponential(86400.0 / plan.orders_per_day, random);
    if (t >= end_s) return orders;
    orders.push_back(draw_order(t, number, setting, random));
  }
}

std::vector<Down> downs(const Setting& setting, double from_s, double end_s) {
  const ReworkPlan& plan = setting.plan.rework;
  std::vector<Down> all;
  if (!(plan.downs_per_day > 0.0)) return all;
  for (std::size_t s = 0; s < setting.plant.stations.size(); ++s) {
    Random random(setting.plan.seed, "downs", s);
    double t = from_s;
    for (;;) {
      t += exponential(86400.0 / plan.downs_per_day, random);
      const double up_again = t + exponential(60.0 * plan.down_min, random);
      if (up_again >= end_s) break;
      all.push_back({static_cast<int>(s), t, up_again});
      t = up_again;
    }
  }
  return all;
}

}  // namespace vialwright::twin
