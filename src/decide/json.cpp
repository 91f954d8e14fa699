#include <algorithm>
#include <cmath>

#include "decide/json_advice.hpp"

namespace vialwright::decide {
namespace {

using nlohmann::json;

json amount(double mean, double u, std::string_view unit) {
  return {{"value", mean}, {"u", u}, {"unit", unit}};
}

json axis(const contents::Belief& belief, int at, std::string_view unit) {
  return amount(belief.mean[at], belief.u(at), unit);
}

/// Names of the axes that `covariance` covers, in its order.
json axis_names(const line::State& state) {
  json names = json::array();
  for (const auto& component : state.book.components) names.push_back("component/" + component.id);
  for (const auto& stock : state.book.stocks) names.push_back("stock/" + stock.id);
  names.push_back("net");
  names.push_back("volume");
  return names;
}

json covariance(const contents::Belief& belief) {
  json rows = json::array();
  for (int i = 0; i <= belief.volume(); ++i) {
    json row = json::array();
    for (int j = 0; j <= belief.volume(); ++j) row.push_back(belief.covariance(i, j));
    rows.push_back(std::move(row));
  }
  return rows;
}

json contents_json(const contents::Belief& belief, const line::State& state) {
  json components = json::object(), stocks = json::object();
  for (int k = 0; k < belief.components; ++k) {
    components[state.book.components[static_cast<std::size_t>(k)].id] =
        axis(belief, belief.component(k), "mg");
  }
  for (int s = 0; s < belief.stocks; ++s) {
    stocks[state.book.stocks[static_cast<std::size_t>(s)].id] = axis(belief, belief.stock(s), "g");
  }
  return {{"components", components},
          {"stocks", stocks},
          {"net", axis(belief, belief.net(), "g")},
          {"volume", axis(belief, belief.volume(), "mL")},
          {"axes", axis_names(state)},
          {"covariance", covariance(belief)}};
}

json reading_json(const ReadingName& name, const contents::Reading& reading,
                  const contents::ReadingReport& report) {
  json told = {{"what", name.label},
               {"instrument", name.instrument},
               {"value", reading.value},
               {"unit", name.unit},
               {"event", name.origin.id},
               {"source", name.origin.source},
               {"time", quantity::to_text(name.origin.time)},
               {"predicted", report.predicted},
               {"residual", report.residual},
               {"standardised", report.standardised},
               {"counted", report.counted && report.reason.empty()}};
  if (reading.kind == contents::ReadingKind::colour) {
    told.erase("value");
    told["values"] = reading.values;
    told["mixed"] = reading.mixed;
    told["cloudy"] = reading.cloudy;
    told["session"] = reading.session;
  }
  if (!report.reason.empty()) told["reason"] = report.reason;
  return told;
}

std::string_view word(contents::Explanation::Wrong wrong) {
  switch (wrong) {
    case contents::Explanation::Wrong::reading:
      return "reading";
    case contents::Explanation::Wrong::command:
      return "command";
    case contents::Explanation::Wrong::carried_over:
      return "carried over";
    case contents::Explanation::Wrong::faded:
      return "faded";
    case contents::Explanation::Wrong::colourant:
      return "colourant";
    case contents::Explanation::Wrong::nothing:
      break;
  }
  return "nothing";
}

json explanation_json(const contents::Explanation& explanation) {
  return {{"wrong", word(explanation.wrong)},
          {"index", explanation.index},
          {"odds", explanation.odds},
          {"shift", explanation.shift},
          {"u_shift", explanation.u_shift},
          {"net", amount(explanation.net_g, explanation.u_net_g, "g")}};
}

json estimate_json(const Decision& decision) {
  const contents::Estimate& estimate = *decision.estimate;
  json readings = json::array(), explanations = json::array(), pairs = json::array(),
       unseen = json::array();
  for (std::size_t i = 0; i < estimate.readings.size(); ++i) {
    readings.push_back(
        reading_json(decision.readings[i], decision.evidence.readings[i], estimate.readings[i]));
  }
  for (const auto& each : estimate.explanations) explanations.push_back(explanation_json(each));
  for (const auto& pair : estimate.critical_pairs) pairs.push_back({pair.one, pair.other});
  for (const auto& direction : estimate.unseen) unseen.push_back(direction.what);
  return {{"readings", readings},
          {"chi_squared", estimate.chi_squared},
          {"degrees", estimate.degrees},
          {"p_value", estimate.p_value},
          {"contradiction", estimate.contradiction},
          {"settled", estimate.settled},
          {"explanations", explanations},
          {"critical_pairs", pairs},
          {"unseen", unseen},
          {"unused", decision.unused}};
}

std::string_view word(conformity::Ruling ruling) {
  switch (ruling) {
    case conformity::Ruling::release:
      return "release";
    case conformity::Ruling::reject:
      return "reject";
    case conformity::Ruling::unclear:
      break;
  }
  return "unclear";
}

json lab_json(const colour::Lab& lab) { return json::array({lab.l, lab.a, lab.b}); }

/// What is wanted, and what the liquid looks like: L*, a*, b* with their covariance.
void add_colour(const recipe::ColourTarget& wanted, const conformity::LineReport& report,
                json& into) {
  into["wanted"] = {{"lab", lab_json(wanted.lab)},
                    {"illuminant", colour::word(wanted.illuminant)},
                    {"observer", colour::word(wanted.observer)},
                    {"path", {{"value", wanted.path_cm}, {"unit", "cm"}}}};
  if (!report.seen) return;
  json rows = json::array(), u = json::array();
  for (int i = 0; i < 3; ++i) {
    const auto row = report.seen->covariance.row(i);
    rows.push_back({row[0], row[1], row[2]});
    u.push_back(std::sqrt(std::max(0.0, row[i])));
  }
  into["seen"] = {{"lab", lab_json(report.seen->mean)}, {"u", u}, {"covariance", rows}};
}

json conformity_json(const Decision& decision, const recipe::Recipe& recipe,
                     const line::State& state) {
  const conformity::Conformity& found = *decision.conformity;
  json lines = json::array();
  for (std::size_t i = 0; i < found.lines.size(); ++i) {
    const recipe::Tolerance& tolerance = recipe.tolerances[i];
    lines.push_back({{"line", recipe::name_of(tolerance, state.book)},
                     {"low", finite(tolerance.low)},
                     {"target", tolerance.target},
                     {"high", finite(tolerance.high)},
                     {"property", amount(found.lines[i].value, found.lines[i].u,
                                         recipe::unit_of(tolerance.on))},
                     {"holds", probability_json(found.lines[i].holds)}});
    if (tolerance.on == recipe::ToleranceOn::colour) {
      add_colour(recipe.colours[static_cast<std::size_t>(tolerance.of)], found.lines[i],
                 lines.back());
    }
  }
  json judged = {{"joint", probability_json(found.joint)},
                 {"lines", lines},
                 {"binding", found.binding},
                 {"ruling", word(found.ruling)},
                 {"on_the_edge", found.on_the_edge}};
  if (!found.doubt.empty()) judged["doubt"] = found.doubt;
  return judged;
}

json provenance_json(const Provenance& provenance) {
  return {{"position", provenance.position},
          {"head", provenance.head},
          {"build", provenance.build},
          {"cpu", provenance.cpu},
          {"seed", provenance.seed}};
}

/// What every decision carries, in full or as an event.
json brief(const Decision& decision, const Provenance& provenance) {
  return {{"id", decision.id},
          {"serial", decision.serial},
          {"recipe", decision.recipe},
          {"recipe_version", decision.recipe_version},
          {"order", decision.order},
          {"disposition", word(decision.disposition)},
          {"for_order", decision.for_order},
          {"for_recipe", decision.for_recipe},
          {"headline", decision.headline},
          {"reasons", decision.reasons},
          {"binding", decision.binding},
          {"would_change", decision.would_change},
          {"on_the_edge", decision.on_the_edge},
          {"as_of", quantity::to_text(decision.as_of)},
          {"expires", quantity::to_text(decision.expires)},
          {"computed_from", provenance_json(provenance)}};
}

/// What the advised top-up counts on, so that its outcome can be held against it.
json advised_json(const TopupAnswer& advised) {
  json said = {
      {"recipe", advised.recipe},           {"odds", advised.topup.odds.value},
      {"margin_sd", advised.now.margin_sd}, {"least_dose_ratio", advised.now.least_dose_ratio},
      {"age_days", advised.now.age_days},   {"smallest", advised.smallest}};
  if (advised.corrected) said["corrected"] = advised.corrected->odds;
  return said;
}

const TopupAnswer* advised_by(const Decision& decision) {
  if (decision.disposition != Disposition::rework) return nullptr;
  const auto found =
      std::find_if(decision.topups.begin(), decision.topups.end(),
                   [&](const TopupAnswer& each) { return each.recipe == decision.for_recipe; });
  return found == decision.topups.end() ? nullptr : &*found;
}

/// The decision as the logbook keeps it.
json event_body(const Decision& decision, const Provenance& provenance) {
  json body = brief(decision, provenance);
  body["money"] = decision.money;
  if (const TopupAnswer* advised = advised_by(decision)) body["topup"] = advised_json(*advised);
  return body;
}

const recipe::Recipe* recipe_of(const Decision& decision, const line::State& state) {
  const line::VialRecord* vial = line::find_vial(state, decision.serial);
  return vial != nullptr && vial->recipe ? &*vial->recipe : nullptr;
}

json full(const Decision& decision, const Provenance& provenance, const line::State& state) {
  json document = brief(decision, provenance);
  if (decision.estimate) {
    document["contents"] = contents_json(decision.estimate->belief, state);
    document["evidence"] = estimate_json(decision);
  }
  const recipe::Recipe* recipe = recipe_of(decision, state);
  if (decision.conformity && recipe != nullptr) {
    document["conformity"] = conformity_json(decision, *recipe, state);
  }
  if (decision.whichever) {
    document["conformity"]["whichever"] = probability_json(*decision.whichever);
  }
  if (decision.reading_worth) {
    document["reading_worth"] = {{"gain", decision.reading_worth->gain},
                                 {"unit", state.plant.prices.unit},
                                 {"odds_release", decision.reading_worth->odds_release}};
  }
  document["aged_days"] = decision.aged_days;
  document["money"] = money_json(decision.money, state);
  document["topups"] = json::array();
  for (const auto& each : decision.topups) document["topups"].push_back(topup_json(each, state));
  if (decision.two_rounds) document["two_rounds"] = two_rounds_json(*decision.two_rounds, state);
  if (decision.hold) document["hold"] = hold_json(*decision.hold, state);
  return document;
}

std::string canonical_text(const json& document) {
  auto text = event::canonical(document.dump(), "decision");
  require(text.has_value(), "our own JSON is valid");
  return *std::move(text);
}

std::string canonical_list(const json& list) {
  std::string text = "[";
  for (const json& each : list) text += (text.size() > 1 ? "," : "") + canonical_text(each);
  return text + "]";
}

/// The same for an object that is too long to be read in one piece, as that of a whole line is:
/// member by member, lists entry by entry. Its keys are plain words, which json keeps in order.
std::string canonical_whole(const json& document) {
  std::string text = "{";
  for (const auto& [key, value] : document.items()) {
    text += (text.size() > 1 ? ",\"" : "\"") + key + "\":";
    text += value.is_array() ? canonical_list(value) : canonical_text(value);
  }
  return text + "}";
}

}  // namespace

std::string as_json(const Decision& decision, const Provenance& provenance,
                    const line::State& state) {
  return canonical_text(full(decision, provenance, state));
}

std::string as_json(const Shift& shift, const line::State& state) {
  json document = {{"computed_from", provenance_json(shift.provenance)},
                   {"decisions", json::array()},
                   {"rungs", rungs_json(shift, state)},
                   {"learned", learned_json(shift.learned, state)},
                   {"places",
                    {{"in_all", shift.places},
                     {"taken", shift.places_taken},
                     {"price_per_day", money_json(shift.place_per_day, state)}}}};
  for (const Decision& each : shift.decisions) {
    document["decisions"].push_back(full(each, shift.provenance, state));
  }
  return canonical_whole(document);
}

event::Event as_event(const Decision& decision, const Provenance& provenance,
                      std::uint64_t sequence) {
  event::Event made;
  made.id = decision.id;
  made.source = "vialwright/engine";
  made.subject = decision.serial;
  made.time = decision.as_of;
  made.sequence = sequence;
  made.data = event::DecisionMade{std::string(word(decision.disposition)),
                                  canonical_text(event_body(decision, provenance))};
  return made;
}

}  // namespace vialwright::decide
