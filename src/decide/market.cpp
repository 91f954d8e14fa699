#include "decide/market.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace vialwright::decide {
namespace {

using OrderState = line::OrderRecord::State;

bool usable(int lot, const line::State& state) {
  if (lot < 0) return false;
  const auto& expires = state.book.lots[static_cast<std::size_t>(lot)].expires;
  return !expires || state.as_of <= *expires;
}

contents::Belief nothing_in_it(const recipe::Book& book) {
  contents::Belief empty;
  empty.components = static_cast<int>(book.components.size());
  empty.stocks = static_cast<int>(book.stocks.size());
  const int axes = empty.volume() + 1;
  empty.mean = Eigen::VectorXd::Zero(axes);
  empty.covariance = Eigen::MatrixXd::Zero(axes, axes);
  return empty;
}

/// Every stock of the recipe: from the station that has it, else by hand from any lot of it. What
/// a fresh vial costs does not hang on what happens to be loaded this minute.
topup::Means all_means(const line::State& state, const recipe::Recipe& recipe) {
  topup::Means means;
  for (const int stock : recipe.stocks) {
    topup::Addition from{stock, -1, -1, 0.0};
    for (std::size_t s = 0; s < state.stations.size(); ++s) {
      const auto loaded = state.stations[s].loaded.find(stock);
      if (loaded == state.stations[s].loaded.end() || loaded->second < 0) continue;
      from = {stock, loaded->second, static_cast<int>(s), 0.0};
      break;
    }
    for (std::size_t lot = 0; from.lot < 0 && lot < state.book.lots.size(); ++lot) {
      if (state.book.lots[lot].stock == stock) from.lot = static_cast<int>(lot);
    }
    if (from.lot >= 0) means.loaded.push_back(from);
  }
  return means;
}

/// A fresh vial is made to the targets, not to the cheapest edge.
recipe::Recipe at_targets(recipe::Recipe recipe) {
  for (recipe::Tolerance& line : recipe.tolerances) {
    if (std::isfinite(line.low) && std::isfinite(line.high)) line.low = line.high = line.target;
  }
  return recipe;
}

}  // namespace

std::vector<topup::Addition> loaded_now(const line::State& state) {
  std::vector<topup::Addition> loaded;
  for (std::size_t s = 0; s < state.stations.size(); ++s) {
    if (state.stations[s].state != "up") continue;
    for (const auto& [stock, lot] : state.stations[s].loaded) {
      if (usable(lot, state)) loaded.push_back({stock, lot, static_cast<int>(s), 0.0});
    }
  }
  return loaded;
}

topup::Means means_of(const line::State& state, const line::VialRecord& vial,
                      const contents::Belief& belief) {
  topup::Means means;
  means.loaded = loaded_now(state);
  means.container = vial.container;
  means.fill_now_ml = belief.mean[belief.volume()];
  return means;
}

bool still_wants(const line::State& state, const line::VialRecord& vial) {
  if (vial.order.empty()) return false;
  const line::OrderRecord* order = line::find_order(state, vial.order);
  if (order == nullptr) return true;
  if (order->state == OrderState::open) return true;
  return order->state == OrderState::bound && order->vial == vial.serial;
}

std::string money_in_words(double amount, const line::State& state) {
  return fmt::format("{:.2f} {}", amount, state.plant.prices.unit);
}

Market::Market(const line::State& state, const Learned& learned)
    : state_(state), learned_(learned) {
  for (const line::OrderRecord& order : state.orders) {
    if (order.state == OrderState::open) open_.push_back({order.id, order.recipe, late(order)});
  }
}

Wanted Market::wanted(const std::string& order, const std::string& recipe) const {
  const line::OrderRecord* record = line::find_order(state_, order);
  return {order, recipe, record == nullptr ? 0.0 : late(*record), false};
}

std::optional<double> Market::most_late(const std::string& recipe) const {
  std::optional<double> most;
  for (const Wanted& each : open_) {
    if (each.recipe == recipe) most = std::max(most.value_or(0.0), each.late);
  }
  return most;
}

std::string Market::best_order(const std::string& recipe) const {
  const Wanted* best = nullptr;
  const auto due = [&](const Wanted& each) {
    const line::OrderRecord* record = line::find_order(state_, each.order);
    return record != nullptr && record->due ? record->due->us : INT64_MAX;
  };
  for (const Wanted& each : open_) {
    if (each.recipe != recipe) continue;
    const bool better = best == nullptr || each.late > best->late ||
                        (each.late == best->late && due(each) < due(*best));
    if (better) best = &each;
  }
  return best == nullptr ? std::string() : best->order;
}

const holding::Demand* Market::demand(const std::string& recipe) const {
  const auto found = std::find_if(learned_.demand.begin(), learned_.demand.end(),
                                  [&](const auto& each) { return each.recipe == recipe; });
  return found == learned_.demand.end() || found->demand.orders == 0 ? nullptr : &found->demand;
}

/// Hours that a fresh vial adds to the order's lateness, against filling it now. An urgent order
/// loses as much more as its priority says: priority 1 counts double, 2 three times.
double Market::late(const line::OrderRecord& order) const {
  if (!order.due) return 0.0;
  const double left_h = quantity::seconds_between(state_.as_of, *order.due) / 3600.0;
  const double added_h =
      std::max(0.0, state_.plant.holding.making_h - left_h) - std::max(0.0, -left_h);
  return state_.plant.prices.late_per_h * added_h * (1.0 + std::max(0, order.priority));
}

double Market::fresh(const recipe::Recipe& recipe) const {
  const recipe::Recipe* newest = line::find_recipe(state_, recipe.id);
  if (newest == nullptr || newest->version != recipe.version) return price_fresh(recipe);
  const auto known = fresh_.find(recipe.id);
  if (known != fresh_.end()) return known->second;
  return fresh_[recipe.id] = price_fresh(recipe);
}

double Market::price_fresh(const recipe::Recipe& recipe) const {
  const plant::Prices& prices = state_.plant.prices;
  topup::Options rough;  // only the cost is asked for
  rough.conformity.points = rough.conformity.most_points = 64;
  const auto made = [&](const recipe::Recipe& aimed_at) {
    return topup::cheapest(nothing_in_it(state_.book), aimed_at, all_means(state_, recipe),
                           state_.plant, state_.book, rough);
  };
  topup::Topup doses = made(at_targets(recipe));
  if (doses.outcome != topup::Outcome::found) doses = made(recipe);  // targets need not agree
  const double stocks = doses.outcome == topup::Outcome::found
                            ? doses.cost
                            : prices.visit * static_cast<double>(recipe.stocks.size());
  return prices.vial + prices.making + stocks;
}

}  // namespace vialwright::decide
