// Orders, recipes, lots and stations: what the line is asked for and what it has.
#include <fmt/format.h>

#include <algorithm>

#include "line/fold_workings.hpp"

namespace vialwright::line {
namespace {

/// Larger orders are refused: a slip of the finger must not fill the memory.
constexpr int largest_quantity = 10'000;

std::string part_of(const std::string& order, int n) {
  return n == 1 ? order : fmt::format("{}/{}", order, n);
}

/// Every part of an order: "order", "order/2", ...; or the one part that is named.
std::vector<OrderRecord*> parts_of(Workings& workings, const Turn& turn, const std::string& id) {
  std::vector<OrderRecord*> parts;
  for (int n = 1;; ++n) {
    const auto at = workings.orders.find(part_of(id, n));
    if (at == workings.orders.end()) break;
    parts.push_back(&workings.state.orders[at->second]);
  }
  if (parts.empty()) {
    unread(workings, turn, fmt::format("order '{}' was never placed", id),
           "record its order.placed, or correct the order of the event");
  }
  return parts;
}

/// The index that a tolerance line means, or nothing when its name is not known.
std::optional<int> subject_index(const recipe::Book& book, recipe::ToleranceOn on,
                                 const std::string& of) {
  switch (recipe::subject_of(on)) {
    case recipe::Subject::component:
      return recipe::find_component(book, of);
    case recipe::Subject::stock:
      return recipe::find_stock(book, of);
    case recipe::Subject::whole:
    case recipe::Subject::colour:
      break;
  }
  return -1;
}

std::optional<recipe::Tolerance> tolerance_of(Workings& workings, const Turn& turn,
                                              const event::ToleranceData& data) {
  const auto on = recipe::tolerance_on(data.on);
  if (!on) {
    unread(workings, turn, fmt::format("a tolerance on '{}' is not known", data.on),
           "use one of the words for tolerance lines in docs/formats.md");
    return std::nullopt;
  }
  const auto of = subject_index(workings.state.book, *on, data.of);
  if (!of) {
    unread(workings, turn,
           fmt::format("a tolerance line on '{}', which is not in the line file", data.of),
           "name a component or stock of the line file");
    return std::nullopt;
  }
  return recipe::tolerance(*on, *of, {data.low, data.target, data.high});
}

/// The event's reader lets only known words through.
void add_colour(const event::ColourTargetData& wanted, recipe::Recipe& into) {
  const auto [l, a, b] = wanted.lab;
  into.colours.push_back({{l, a, b},
                          colour::illuminant(wanted.illuminant).value(),
                          colour::observer(wanted.observer).value(),
                          wanted.path_cm});
  into.tolerances.push_back(recipe::tolerance(recipe::ToleranceOn::colour,
                                              static_cast<int>(into.colours.size()) - 1,
                                              {{}, {}, wanted.limit}));
}

/// The recipe as published, or nothing when any of it is not understood: a recipe with a line left
/// out would release vials that it should not.
std::optional<recipe::Recipe> recipe_of(Workings& workings, const Turn& turn,
                                        const event::RecipePublished& data) {
  recipe::Recipe recipe;
  recipe.id = data.recipe;
  recipe.name = data.name;
  recipe.version = data.version;
  recipe.container = data.container;
  recipe.consumer_risk = data.consumer_risk;
  recipe.value = data.value.value_or(0.0);
  bool whole = true;
  for (const event::ToleranceData& line : data.tolerances) {
    const auto tolerance = tolerance_of(workings, turn, line);
    if (tolerance) recipe.tolerances.push_back(*tolerance);
    whole = whole && tolerance.has_value();
  }
  for (const event::ColourTargetData& wanted : data.colours) add_colour(wanted, recipe);
  for (const std::string& id : data.stocks) {
    const auto stock = known_stock(workings, turn, id);
    if (stock) recipe.stocks.push_back(*stock);
    whole = whole && stock.has_value();
  }
  const Problems problems = recipe::problems(recipe, workings.state.book);
  for (const Error& problem : problems) {
    unread(workings, turn, problem.what + " (" + problem.where + ")", problem.mend);
  }
  return whole && problems.empty() ? std::optional(recipe) : std::nullopt;
}

bool same_recipe(const recipe::Recipe& a, const recipe::Recipe& b) {
  return a.name == b.name && a.container == b.container && a.tolerances == b.tolerances &&
         a.colours == b.colours && a.stocks == b.stocks && a.consumer_risk == b.consumer_risk &&
         a.value == b.value;
}

/// As placed; what became of the first since then does not matter.
bool same_order(const OrderRecord& a, const OrderRecord& b) {
  return a.recipe == b.recipe && a.due == b.due && a.value == b.value && a.priority == b.priority;
}

/// A lot that the line file does not have; its strengths come with the assay.
std::size_t lot_for(Workings& workings, const std::string& id, int stock) {
  auto& lots = workings.state.book.lots;
  const auto known = recipe::find_lot(workings.state.book, id);
  if (known) return static_cast<std::size_t>(*known);
  recipe::Lot lot;
  lot.id = id;
  lot.stock = stock;
  lot.strengths.resize(workings.state.book.components.size());
  lots.push_back(std::move(lot));
  return lots.size() - 1;
}

}  // namespace

void take(Workings& workings, const Turn& turn, const event::RecipePublished& data) {
  const auto recipe = recipe_of(workings, turn, data);
  if (!recipe) return;
  auto& versions = workings.recipes[recipe->id];
  const auto known = std::find_if(versions.begin(), versions.end(), [&](const auto& each) {
    return each.version == recipe->version;
  });
  if (known == versions.end()) return versions.push_back(*recipe);
  if (same_recipe(*known, *recipe)) return;
  workings.state.conflicts.push_back(
      {fmt::format("recipe {} version {} was published with different lines; the first stands",
                   recipe->id, recipe->version),
       {turn.origin()}});
}

void take(Workings& workings, const Turn& turn, const event::OrderPlaced& data) {
  if (data.quantity < 1 || data.quantity > largest_quantity) {
    return unread(workings, turn,
                  fmt::format("order '{}' asks for {} vials", data.order, data.quantity),
                  fmt::format("ask for 1 to {} vials an order", largest_quantity));
  }
  if (workings.recipes.count(data.recipe) == 0) {
    unread(workings, turn,
           fmt::format("recipe '{}' of order '{}' is not known", data.recipe, data.order),
           "record its recipe.published or put it into the line file");
  }
  for (int n = 1; n <= data.quantity; ++n) {
    OrderRecord order;
    order.id = part_of(data.order, n);
    order.recipe = data.recipe;
    order.due = data.due;
    order.value = data.value;
    order.priority = data.priority;
    order.placed = turn.time;
    const auto [at, is_new] = workings.orders.try_emplace(order.id, workings.state.orders.size());
    if (is_new) {
      workings.state.orders.push_back(std::move(order));
      continue;
    }
    if (same_order(workings.state.orders[at->second], order)) continue;
    workings.state.conflicts.push_back(
        {fmt::format("order {} was placed in different ways; the first stands", order.id),
         {turn.origin()}});
  }
}

void take(Workings& workings, const Turn& turn, const event::OrderChanged& data) {
  for (OrderRecord* order : parts_of(workings, turn, data.order)) {
    if (data.due) order->due = data.due;
    if (data.value) order->value = *data.value;
    if (data.priority) order->priority = *data.priority;
  }
}

void take(Workings& workings, const Turn& turn, const event::OrderCancelled& data) {
  for (OrderRecord* order : parts_of(workings, turn, data.order)) {
    if (order->state != OrderRecord::State::filled) {
      order->state = OrderRecord::State::cancelled;
      continue;
    }
    workings.state.conflicts.push_back(
        {fmt::format("order {} was cancelled after vial {} had filled it", order->id, order->vial),
         {turn.origin()}});
  }
}

void take(Workings& workings, const Turn& turn, const event::LotAssayed& data) {
  const auto stock = known_stock(workings, turn, data.stock);
  if (!stock) return;
  recipe::Lot& lot = workings.state.book.lots[lot_for(workings, data.lot, *stock)];
  if (lot.stock != *stock) {
    return unread(
        workings, turn,
        fmt::format("lot '{}' is a lot of '{}', not of '{}'", data.lot,
                    workings.state.book.stocks[static_cast<std::size_t>(lot.stock)].id, data.stock),
        "correct the lot or the stock of the assay");
  }
  for (const event::StrengthData& strength : data.strengths) {
    const auto component = recipe::find_component(workings.state.book, strength.component);
    if (!component) {
      unread(workings, turn,
             fmt::format("component '{}' is not in the line file", strength.component),
             mend_for(strength.component, workings.state.book.components,
                      "add the component to the line file"));
      continue;
    }
    lot.strengths[static_cast<std::size_t>(*component)] = {strength.mg_per_g, strength.u_mg_per_g};
  }
}

void take(Workings& workings, const Turn& turn, const event::LotLoaded& data) {
  const auto station = known_station(workings, turn, data.station);
  const auto stock = known_stock(workings, turn, data.stock);
  if (!stock) return;
  const auto lot = known_lot(workings, turn, data.lot, *stock);
  if (lot && data.expires) {
    workings.state.book.lots[static_cast<std::size_t>(*lot)].expires = data.expires;
  }
  if (!station) return;
  workings.state.stations[static_cast<std::size_t>(*station)].loaded[*stock] = lot.value_or(-1);
  disturb_tank_of(workings, *station, "");
}

void take(Workings& workings, const Turn& turn, const event::StationState& data) {
  const auto station = known_station(workings, turn, data.station);
  if (!station) return;
  if (data.state != "up" && data.state != "down" && data.state != "off") {
    return unread(workings, turn, fmt::format("a station is not '{}'", data.state),
                  "use up, down or off");
  }
  workings.state.stations[static_cast<std::size_t>(*station)].state = data.state;
}

}  // namespace vialwright::line
