// The life of a vial: registered, bound, capped, mixed, held, released, scrapped.
#include <fmt/format.h>

#include <algorithm>

#include "line/fold_workings.hpp"

namespace vialwright::line {
namespace {

VialRecord* record_of(Workings& workings, const Turn& turn) {
  const auto at = vial_of(workings, turn);
  return at ? &workings.state.vials[*at] : nullptr;
}

OrderRecord* order_of(Workings& workings, const std::string& id) {
  const auto at = workings.orders.find(id);
  return at == workings.orders.end() ? nullptr : &workings.state.orders[at->second];
}

const recipe::Recipe* version_of(const Workings& workings, const event::VialBound& bound) {
  const auto versions = workings.recipes.find(bound.recipe);
  if (versions == workings.recipes.end()) return nullptr;
  const auto found =
      std::find_if(versions->second.begin(), versions->second.end(),
                   [&](const recipe::Recipe& each) { return each.version == bound.version; });
  return found == versions->second.end() ? nullptr : &*found;
}

/// The order that the vial leaves may have another vial.
void reopen(Workings& workings, const VialRecord& vial) {
  OrderRecord* order = order_of(workings, vial.order);
  if (order == nullptr || order->vial != vial.serial) return;
  if (order->state != OrderRecord::State::bound) return;
  order->state = OrderRecord::State::open;
  order->vial.clear();
}

void bind_order(Workings& workings, const Turn& turn, std::size_t vial, const std::string& id) {
  OrderRecord* order = order_of(workings, id);
  if (order == nullptr) {
    return unread(workings, turn, fmt::format("order '{}' was never placed", id),
                  "record its order.placed, or correct the order of the event");
  }
  const std::string& serial = workings.state.vials[vial].serial;
  if (!order->vial.empty() && order->vial != serial) {
    const std::string what =
        fmt::format("order {} was bound to vial {} and to vial {}", id, order->vial, serial);
    conflict(workings, workings.vials.at(order->vial), what, {turn.origin()});
    return conflict(workings, vial, what, {turn.origin()});
  }
  if (order->state == OrderRecord::State::cancelled) return;
  order->state = OrderRecord::State::bound;
  order->vial = serial;
}

/// The stay that has not ended yet.
void end_hold(VialRecord& vial, Instant time) {
  if (vial.held_since) vial.holds.back().until = time;
  vial.hold_place.clear();
  vial.held_since.reset();
}

void close_vial(Workings& workings, const Turn& turn, std::size_t at, Fate fate) {
  VialRecord& vial = workings.state.vials[at];
  if (vial.fate != Fate::open) {
    conflict(workings, at,
             fmt::format("vial {} was {} after it had been {}", vial.serial,
                         fate == Fate::released ? "released" : "scrapped",
                         vial.fate == Fate::released ? "released" : "scrapped"),
             {turn.origin()});
    return;
  }
  vial.open_s = open_s_at(workings, at, turn.time);
  workings.open_since[at].reset();
  vial.fate = fate;
  vial.ended = turn.time;
  end_hold(vial, turn.time);
}

}  // namespace

void take(Workings& workings, const Turn& turn, const event::VialRegistered& data) {
  const auto container = plant::find_container(workings.state.plant, data.container);
  if (!container) {
    return unread(
        workings, turn, fmt::format("container '{}' is not in the line file", data.container),
        mend_for(data.container, workings.state.plant.containers, "add it to the line file"));
  }
  const auto [at, is_new] = workings.vials.try_emplace(turn.subject(), workings.state.vials.size());
  if (!is_new) {
    return conflict(workings, at->second,
                    fmt::format("serial {} was registered more than once", turn.subject()),
                    {turn.origin()});
  }
  VialRecord vial;
  vial.serial = turn.subject();
  vial.container = *container;
  vial.last_event = turn.time;
  workings.state.vials.push_back(std::move(vial));
  workings.open_since.emplace_back();
  workings.latest_decision.push_back(nullptr);
}

void take(Workings& workings, const Turn& turn, const event::VialInspected& data) {
  if (VialRecord* vial = record_of(workings, turn)) vial->sound = data.sound;
}

void take(Workings& workings, const Turn& turn, const event::VialBound& data) {
  const auto at = vial_of(workings, turn);
  if (!at) return;
  VialRecord& vial = workings.state.vials[*at];
  const recipe::Recipe* recipe = version_of(workings, data);
  if (recipe == nullptr) {
    unread(workings, turn,
           fmt::format("recipe '{}' version {} is not known", data.recipe, data.version),
           mend_for(data.recipe, workings.state.recipes,
                    "record its recipe.published or put it into the line file"));
  }
  const OrderRecord* order = order_of(workings, data.order);
  if (order != nullptr && order->recipe != data.recipe) {
    conflict(workings, *at,
             fmt::format("bound to recipe {}, but order {} asks for {}", data.recipe, data.order,
                         order->recipe),
             {turn.origin()});
  }
  if (vial.order != data.order) reopen(workings, vial);
  vial.order = data.order;
  vial.recipe = recipe == nullptr ? std::nullopt : std::optional(*recipe);
  if (!data.order.empty()) bind_order(workings, turn, *at, data.order);
}

void take(Workings& workings, const Turn& turn, const event::VialMixed&) {
  if (VialRecord* vial = record_of(workings, turn)) vial->mixed_since_last_dose = true;
}

void take(Workings& workings, const Turn& turn, const event::VialCapped&) {
  const auto at = vial_of(workings, turn);
  if (!at) return;
  workings.state.vials[*at].open_s = open_s_at(workings, *at, turn.time);
  workings.state.vials[*at].capped = true;
  workings.open_since[*at].reset();
}

void take(Workings& workings, const Turn& turn, const event::VialUncapped&) {
  const auto at = vial_of(workings, turn);
  if (!at) return;
  VialRecord& vial = workings.state.vials[*at];
  if (vial.capped && !vial.doses.empty()) workings.open_since[*at] = turn.time;
  vial.capped = false;
}

void take(Workings& workings, const Turn& turn, const event::DecisionMade& data) {
  workings.decisions[turn.fact.event.id] = &data;
  const auto at = workings.vials.find(turn.subject());
  // What was advised is no event of the vial itself, so its last event stays.
  if (at == workings.vials.end()) return;
  workings.state.vials[at->second].last_decision = data.disposition;
  workings.latest_decision[at->second] = &data;
}

void take(Workings& workings, const Turn& turn, const event::DecisionOverruled& data) {
  if (VialRecord* vial = record_of(workings, turn)) vial->overruled = data;
}

void take(Workings& workings, const Turn& turn, const event::TopupApplied& data) {
  const auto at = vial_of(workings, turn);
  if (!at) return;
  // What the decision said is put in when all decisions are known.
  workings.state.vials[*at].topups.push_back({data.decision, "", data.doses, turn.origin()});
  for (const std::string& id : data.doses) {
    const auto dose = workings.doses.find(id);
    if (dose == workings.doses.end()) {
      unread(workings, turn, fmt::format("the top-up names dose '{}', which was never made", id),
             "record its dose.commanded or dose.metered");
      continue;
    }
    VialRecord& dosed = workings.state.vials[dose->second.vial];
    dosed.doses[dose->second.dose].topup = true;
    if (dose->second.vial == *at) continue;
    const std::string what = fmt::format("the top-up of vial {} names dose {}, made into vial {}",
                                         turn.subject(), id, dosed.serial);
    conflict(workings, *at, what, {turn.origin()});
    conflict(workings, dose->second.vial, what, {turn.origin()});
  }
}

void take(Workings& workings, const Turn& turn, const event::HoldStarted& data) {
  VialRecord* vial = record_of(workings, turn);
  if (vial == nullptr) return;
  end_hold(*vial, turn.time);  // moved from one place to another
  vial->holds.push_back({data.place, data.reason, turn.time, std::nullopt});
  vial->hold_place = data.place;
  vial->held_since = turn.time;
}

void take(Workings& workings, const Turn& turn, const event::HoldEnded&) {
  if (VialRecord* vial = record_of(workings, turn)) end_hold(*vial, turn.time);
}

void take(Workings& workings, const Turn& turn, const event::VialReleased& data) {
  const auto at = vial_of(workings, turn);
  if (!at) return;
  close_vial(workings, turn, *at, Fate::released);
  VialRecord& vial = workings.state.vials[*at];
  const std::string& id = data.order.empty() ? vial.order : data.order;
  if (id.empty()) return;
  if (id != vial.order) {
    reopen(workings, vial);
    vial.order = id;
  }
  bind_order(workings, turn, *at, id);
  OrderRecord* order = order_of(workings, id);
  if (order != nullptr && order->vial == vial.serial) order->state = OrderRecord::State::filled;
}

void take(Workings& workings, const Turn& turn, const event::VialScrapped&) {
  const auto at = vial_of(workings, turn);
  if (!at) return;
  close_vial(workings, turn, *at, Fate::scrapped);
  reopen(workings, workings.state.vials[*at]);
}

}  // namespace vialwright::line
