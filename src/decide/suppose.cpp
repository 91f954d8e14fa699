// The same engine on a changed copy: nothing here knows the logbook.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "decide/decide.hpp"
#include "decide/words.hpp"

namespace vialwright::decide {
namespace {

Error not_supposable(std::string what, std::string where, std::string mend) {
  return {Error::Kind::bad_input, std::move(what), std::move(where), std::move(mend)};
}

std::optional<Error> out_of_range(const Supposition& supposition) {
  if (supposition.places && *supposition.places < 0) {
    return not_supposable(fmt::format("{} hold places", *supposition.places), "places",
                          "suppose 0 or more");
  }
  const double risk = supposition.consumer_risk.value_or(0.5);
  if (!(risk > 0.0 && risk < 1.0)) {
    return not_supposable(fmt::format("a risk of {}", risk), "risk",
                          "suppose a risk between 0 and 1");
  }
  return std::nullopt;
}

std::optional<Error> unknown_thing(const std::string& id, const plant::Plant& plant) {
  if (plant::find_instrument(plant, id) || plant::find_station(plant, id)) return std::nullopt;
  std::vector<std::string_view> known;
  for (const auto& each : plant.instruments) known.emplace_back(each.id);
  for (const auto& each : plant.stations) known.emplace_back(each.id);
  const std::string_view near = quantity::nearest(id, known);
  return Error{
      Error::Kind::missing, fmt::format("no instrument or station is called '{}'", id), "off",
      near.empty() ? "name one of the line file" : fmt::format("did you mean '{}'?", near)};
}

/// Facts that are to come stand after those of the book, as if appended one by one.
void append(std::vector<line::Fact>& facts, std::vector<line::Fact> coming) {
  std::uint64_t last = 0;
  for (const line::Fact& fact : facts) last = std::max(last, fact.position);
  for (line::Fact& fact : coming) {
    fact.position = ++last;
    if (fact.received == Instant{}) fact.received = fact.event.time;
    facts.push_back(std::move(fact));
  }
}

/// What is off gives no more readings and makes no more doses; what it has done stays.
void switch_off(const std::string& id, line::State& state) {
  if (const auto station = plant::find_station(state.plant, id)) {
    state.stations[static_cast<std::size_t>(*station)].state = "off";
  }
  for (plant::Station& station : state.plant.stations) std::erase(station.meters, id);
}

void set_risk(double risk, line::State& state) {
  state.plant.risks.consumer = risk;
  for (recipe::Recipe& recipe : state.recipes) recipe.consumer_risk.reset();
  for (line::VialRecord& vial : state.vials) {
    if (vial.recipe) vial.recipe->consumer_risk.reset();
  }
}

std::string told(const Decision& decision) {
  return fmt::format("{}: {}", word(decision.disposition), decision.headline);
}

bool differ(const Decision& before, const Decision& after) {
  constexpr double shown = 0.005;  // money is shown to two decimals
  return before.disposition != after.disposition || before.headline != after.headline ||
         before.for_order != after.for_order || std::abs(before.money - after.money) > shown;
}

}  // namespace

Result<line::State> suppose(line::LineFile line, std::vector<line::Fact> facts,
                            const Supposition& supposition, std::optional<Instant> as_of) {
  if (auto wrong = out_of_range(supposition)) return tl::unexpected<Error>(*std::move(wrong));
  for (const std::string& id : supposition.off) {
    if (auto wrong = unknown_thing(id, line.plant)) return tl::unexpected<Error>(*std::move(wrong));
  }
  if (supposition.places) line.plant.holding.places = *supposition.places;
  append(facts, supposition.facts);
  if (as_of) {
    // What is supposed to come has come by the moment of deciding.
    for (const line::Fact& fact : supposition.facts) as_of = std::max(*as_of, fact.event.time);
  }
  line::State state =
      as_of ? line::fold(line, std::move(facts), *as_of) : line::fold(line, std::move(facts));
  if (supposition.consumer_risk) set_risk(*supposition.consumer_risk, state);
  for (const std::string& id : supposition.off) switch_off(id, state);
  return state;
}

std::vector<Difference> differences(const Shift& before, const Shift& after) {
  std::vector<Difference> found;
  auto then = before.decisions.begin();
  auto now = after.decisions.begin();
  while (then != before.decisions.end() || now != after.decisions.end()) {
    const bool gone = now == after.decisions.end() ||
                      (then != before.decisions.end() && then->serial < now->serial);
    const bool is_new = then == before.decisions.end() ||
                        (now != after.decisions.end() && now->serial < then->serial);
    if (gone) {
      found.push_back({then->serial, told(*then), "", then->money, 0.0});
      ++then;
    } else if (is_new) {
      found.push_back({now->serial, "", told(*now), 0.0, now->money});
      ++now;
    } else {
      if (differ(*then, *now)) {
        found.push_back({then->serial, told(*then), told(*now), then->money, now->money});
      }
      ++then, ++now;
    }
  }
  return found;
}

}  // namespace vialwright::decide
