#include <algorithm>
#include <unordered_map>

#include "line/fold_facts.hpp"
#include "line/fold_order.hpp"
#include "line/fold_workings.hpp"
#include "line/line.hpp"

namespace vialwright::line {
namespace {

/// Keeps each source's clock: what its facts say about time, and how far that is believed.
class Clocks {
 public:
  Clocks(const plant::Risks& risks, Instant record_start) : risks_(risks), newest_(record_start) {}

  Turn turn(const Fact& fact) {
    if (from_the_future(fact, risks_)) return {fact, newest_, Quality::future};
    const Instant time = fact.event.time;
    newest_ = std::max(newest_, time);
    auto [source, is_new] = by_source_.try_emplace(fact.event.source, time);
    // A clock that goes back within one sequence was wrong before or is wrong now.
    if (quantity::seconds_between(time, source->second) > risks_.future_s) {
      return {fact, time, Quality::unsynchronised};
    }
    source->second = std::max(source->second, time);
    return {fact, time, Quality::clear};
  }

 private:
  const plant::Risks& risks_;
  Instant newest_;
  std::unordered_map<std::string_view, Instant> by_source_;
};

/// Facts that say nothing about the moment but about things: a lot's strength is a property of the
/// lot whenever it was measured, and a recipe's version is frozen by its number.
bool is_about_things(const event::Data& data) {
  return std::holds_alternative<event::RecipePublished>(data) ||
         std::holds_alternative<event::LotAssayed>(data);
}

void take_any(Workings& workings, const Turn& turn) {
  std::visit(
      [&](const auto& data) {
        using T = std::decay_t<decltype(data)>;
        if constexpr (!std::is_same_v<T, event::FactCorrected>) take(workings, turn, data);
      },
      turn.fact.event.data);
}

std::optional<Instant> newest_believed(const std::vector<Fact>& facts, const plant::Risks& risks) {
  std::optional<Instant> newest;
  for (const Fact& fact : facts) {
    if (from_the_future(fact, risks)) continue;
    newest = std::max(newest.value_or(fact.event.time), fact.event.time);
  }
  return newest;
}

/// Facts that tell of a time when nobody need have watched: of things, of calibrations that may be
/// a year old, and what we decided ourselves.
bool is_of_the_line(const event::Data& data) {
  return !is_about_things(data) && !std::holds_alternative<event::CalibrationMade>(data) &&
         !std::holds_alternative<event::DecisionMade>(data);
}

void set_record_start(Workings& workings, const std::vector<const Fact*>& order) {
  std::optional<Instant> first;
  for (const Fact* fact : order) {
    if (from_the_future(*fact, workings.state.plant.risks)) continue;
    first = std::min(first.value_or(fact->event.time), fact->event.time);
    if (!is_of_the_line(fact->event.data)) continue;
    std::optional<Instant>& watched = workings.state.first_fact;
    watched = std::min(watched.value_or(fact->event.time), fact->event.time);
  }
  workings.record_start = first.value_or(Instant{});
}

void fill_newest_recipes(Workings& workings) {
  auto& newest = workings.state.recipes;
  newest.clear();
  for (const auto& [id, versions] : workings.recipes) {
    newest.push_back(
        *std::max_element(versions.begin(), versions.end(),
                          [](const auto& a, const auto& b) { return a.version < b.version; }));
  }
  std::sort(newest.begin(), newest.end(), [](const auto& a, const auto& b) { return a.id < b.id; });
}

void put_clashes(Workings& workings, const std::vector<Clash>& clashes) {
  for (const Clash& clash : clashes) {
    bool put = false;
    for (const std::string& serial : clash.serials) {
      const auto at = workings.vials.find(serial);
      if (at == workings.vials.end()) continue;
      conflict(workings, at->second, clash.what, clash.between);
      put = true;
    }
    if (!put) workings.state.conflicts.push_back({clash.what, clash.between});
  }
}

/// What the decisions said, as the vials' own record has it.
void tell_decisions(Workings& workings) {
  for (std::size_t v = 0; v < workings.state.vials.size(); ++v) {
    VialRecord& vial = workings.state.vials[v];
    for (AppliedTopup& topup : vial.topups) {
      const auto decision = workings.decisions.find(topup.decision);
      if (decision != workings.decisions.end()) topup.advised = decision->second->body;
    }
    if (const event::DecisionMade* latest = workings.latest_decision[v]) {
      vial.advised_order = event::text_in(latest->body, "for_order");
    }
  }
}

State finish(Workings workings, const Settled& settled, Instant as_of) {
  for (auto& [serial, contradiction] : workings.concerning) {
    const auto at = workings.vials.find(serial);
    if (at == workings.vials.end()) continue;
    workings.state.vials[at->second].conflicts.push_back(std::move(contradiction));
  }
  put_clashes(workings, settled.clashes);
  tell_decisions(workings);
  State state = std::move(workings.state);
  for (std::size_t v = 0; v < state.vials.size(); ++v) {
    const auto& since = workings.open_since[v];
    if (since) state.vials[v].open_s += std::max(0.0, quantity::seconds_between(*since, as_of));
  }
  std::sort(state.vials.begin(), state.vials.end(),
            [](const auto& a, const auto& b) { return a.serial < b.serial; });
  std::sort(state.orders.begin(), state.orders.end(),
            [](const auto& a, const auto& b) { return a.id < b.id; });
  state.unread.insert(state.unread.end(), settled.unread.begin(), settled.unread.end());
  state.facts = settled.distinct;
  state.as_of = as_of;
  return state;
}

State fold_all(const LineFile& line, std::vector<Fact> facts, Instant as_of) {
  Workings workings(line);
  for (const Fact& fact : facts) {
    // Our own decisions are no news: deciding again must come from the same position.
    if (std::holds_alternative<event::DecisionMade>(fact.event.data)) continue;
    workings.state.position = std::max(workings.state.position, fact.position);
  }
  const Settled settled = settle(std::move(facts));
  std::vector<const Fact*> order;
  order.reserve(settled.facts.size());
  for (const Fact& fact : settled.facts) order.push_back(&fact);
  order = canonical_order(order);
  set_record_start(workings, order);
  for (const Fact* fact : order) {
    if (is_about_things(fact->event.data)) take_any(workings, {*fact, fact->event.time});
  }
  fill_newest_recipes(workings);
  Clocks clocks(line.plant.risks, workings.record_start);
  for (const Fact* fact : order) {
    const Turn turn = clocks.turn(*fact);
    if (!is_about_things(fact->event.data)) take_any(workings, turn);
  }
  return finish(std::move(workings), settled, as_of);
}

}  // namespace

State fold(const LineFile& line, std::vector<Fact> facts) {
  const auto newest = newest_believed(facts, line.plant.risks);
  return fold_all(line, std::move(facts), newest.value_or(Instant{}));
}

State fold(const LineFile& line, std::vector<Fact> facts, Instant as_of) {
  std::erase_if(facts, [&](const Fact& fact) {
    return fact.event.time > as_of && !from_the_future(fact, line.plant.risks);
  });
  return fold_all(line, std::move(facts), as_of);
}

}  // namespace vialwright::line
