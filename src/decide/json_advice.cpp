#include "decide/json_advice.hpp"

#include <cmath>

namespace vialwright::decide {
namespace {

using nlohmann::json;

std::string_view word(topup::Outcome outcome) {
  switch (outcome) {
    case topup::Outcome::found:
      return "found";
    case topup::Outcome::nothing_needed:
      return "nothing needed";
    case topup::Outcome::not_permitted:
      return "not permitted";
    case topup::Outcome::impossible:
      break;
  }
  return "impossible";
}

std::string_view word(topup::Impossible impossible) {
  switch (impossible) {
    case topup::Impossible::by_any_amounts:
      return "by any amounts";
    case topup::Impossible::by_least_doses:
      return "by least doses";
    case topup::Impossible::by_colour:
      return "by colour";
    case topup::Impossible::by_risk:
      return "by risk";
    case topup::Impossible::no:
      break;
  }
  return "no";
}

template <class List>
json id_of(const List& list, int at) {
  return at < 0 ? json(nullptr) : json(list[static_cast<std::size_t>(at)].id);
}

json additions_json(const topup::Topup& topup, const line::State& state) {
  json additions = json::array();
  for (const topup::Addition& each : topup.additions) {
    additions.push_back({{"stock", id_of(state.book.stocks, each.stock)},
                         {"lot", id_of(state.book.lots, each.lot)},
                         {"station", id_of(state.plant.stations, each.station)},
                         {"amount", {{"value", each.amount_g}, {"unit", "g"}}}});
  }
  return additions;
}

json corrected_json(const outcomes::Corrected& corrected) {
  return {{"value", corrected.odds},
          {"low", corrected.low},
          {"high", corrected.high},
          {"n", corrected.n}};
}

/// Additions, odds and cost: what any top-up says of itself.
json plan_json(const topup::Topup& topup, const line::State& state) {
  return {{"outcome", word(topup.outcome)},
          {"additions", additions_json(topup, state)},
          {"odds", probability_json(topup.odds)},
          {"cost", money_json(topup.cost, state)},
          {"total", {{"value", topup.total_g}, {"unit", "g"}}},
          {"binding", topup.binding},
          {"because", topup.because}};
}

json proof_json(const topup::Proved& proved) {
  json stated = json::parse(proof::to_json(proved.claim, proved.proof));
  stated["in_words"] = proved.in_words;
  return stated;
}

json nearest_json(const topup::NearestColour& nearest) {
  return {{"colour", nearest.colour},
          {"now", nearest.now},
          {"nearest", nearest.nearest},
          {"limit", nearest.limit},
          {"in_words", nearest.in_words}};
}

json interval_json(double value, double low, double high) {
  return {{"value", finite(value)}, {"low", finite(low)}, {"high", finite(high)}};
}

json demand_json(const holding::Demand& demand) {
  const auto rate = demand.rate_95();
  return {{"orders", demand.orders},
          {"watched_days", demand.watched_days},
          {"per_day", interval_json(demand.rate(), rate.low, rate.high)},
          {"dispersion", finite(demand.dispersion)},
          {"bursts", demand.bursts}};
}

json bin_json(const outcomes::Bin& bin) {
  return {{"from", bin.from},
          {"to", bin.to},
          {"n", bin.n},
          {"predicted", bin.predicted},
          {"came_true", interval_json(bin.came_true, bin.low, bin.high)}};
}

json habit_json(const outcomes::DoseHabit& habit, const line::State& state) {
  return {{"station", id_of(state.plant.stations, habit.station)},
          {"stock", id_of(state.book.stocks, habit.stock)},
          {"n", habit.n},
          {"typical", {{"value", habit.typical_g}, {"unit", "g"}}},
          {"bias_g", interval_json(habit.bias_g, habit.bias_low, habit.bias_high)},
          {"spread_g", interval_json(habit.spread_g, habit.spread_low, habit.spread_high)},
          {"stated_spread_g", habit.stated_spread_g}};
}

std::string_view word(strength::Learned::Kind kind) {
  switch (kind) {
    case strength::Learned::Kind::absorptivity:
      return "absorptivity";
    case strength::Learned::Kind::strength:
      return "strength";
    case strength::Learned::Kind::colour:
      break;
  }
  return "colour";
}

/// An absorptivity is told as its deviation from the book's, relative; the others in mg/g.
json taught_json(const strength::Learned& it, const line::State& state) {
  const char* unit = it.kind == strength::Learned::Kind::absorptivity ? "1" : "mg/g";
  return {{"what", strength::name_of(it, state.book)},
          {"kind", word(it.kind)},
          {"component", id_of(state.book.components, it.component)},
          {"lot", id_of(state.book.lots, it.lot)},
          {"book", {{"value", it.prior}, {"u", it.u_prior}, {"unit", unit}}},
          {"learned", {{"value", it.value}, {"u", it.u}, {"unit", unit}}},
          {"low", it.lower},
          {"high", it.upper},
          {"n", it.vials}};
}

json colours_json(const Learned& learned, const line::State& state) {
  json taught = json::array(), aside = json::array();
  for (const auto& each : learned.colours->learned) taught.push_back(taught_json(each, state));
  for (std::size_t i = 0; i < learned.samples.size(); ++i) {
    if (!learned.colours->samples[i].counted) aside.push_back(learned.samples[i]);
  }
  return {{"learned", taught},
          {"vials", learned.samples.size()},
          {"set_aside", aside},
          {"p_value", finite(learned.colours->p_value)},
          {"next_samples", learned.next_samples}};
}

}  // namespace

json finite(double value) { return std::isfinite(value) ? json(value) : json(nullptr); }

json probability_json(const conformity::Probability& probability) {
  return {{"value", probability.value}, {"error", probability.error}};
}

json money_json(double amount, const line::State& state) {
  return {{"value", amount}, {"unit", state.plant.prices.unit}};
}

json topup_json(const TopupAnswer& answer, const line::State& state) {
  json found = plan_json(answer.topup, state);
  found["recipe"] = answer.recipe;
  found["order"] = answer.order.empty() ? json(nullptr) : json(answer.order);
  found["meets_risk"] = answer.meets_risk;
  found["impossible"] = word(answer.impossible);
  if (answer.corrected) found["corrected"] = corrected_json(*answer.corrected);
  found["worth"] = money_json(answer.worth, state);
  found["fresh"] = money_json(answer.fresh, state);
  if (answer.second) found["second"] = plan_json(*answer.second, state);
  if (answer.proved) found["proof"] = proof_json(*answer.proved);
  if (answer.nearest) found["nearest"] = nearest_json(*answer.nearest);
  return found;
}

json two_rounds_json(const topup::TwoRounds& plan, const line::State& state) {
  return {{"first", plan_json(plan.first, state)},
          {"odds", {{"value", plan.odds}, {"u", plan.u_odds}}},
          {"cost", money_json(plan.cost, state)},
          {"pays", plan.pays},
          {"in_words", plan.in_words}};
}

json hold_json(const HoldAnswer& hold, const line::State& state) {
  json taper = json::array();
  for (std::size_t i = 0; i < hold.at.size(); ++i) {
    taper.push_back(
        {{"at", quantity::to_text(hold.at[i])}, {"over_scrapping", hold.over_scrapping[i]}});
  }
  return {{"value", money_json(hold.value, state)},
          {"limit", quantity::to_text(hold.limit)},
          {"limit_low", quantity::to_text(hold.limit_low)},
          {"limit_high", quantity::to_text(hold.limit_high)},
          {"ends", holding::word(hold.ends)},
          {"taper", taper},
          {"odds_1_day", hold.odds_1_day},
          {"odds_3_days", hold.odds_3_days},
          {"odds_7_days", hold.odds_7_days},
          {"counted_on", hold.counted_on},
          {"has_place", hold.has_place},
          {"for_recipes", hold.for_recipes}};
}

json rungs_json(const Shift& shift, const line::State& state) {
  json rungs = json::array();
  for (const Rung& rung : shift.rungs) {
    rungs.push_back({{"serial", rung.serial},
                     {"order", rung.order},
                     {"recipe", rung.recipe},
                     {"odds", corrected_json(rung.odds)},
                     {"worth", money_json(rung.worth, state)},
                     {"waiting", money_json(rung.waiting, state)},
                     {"taken", rung.taken},
                     {"short_by", money_json(rung.short_by, state)}});
  }
  return rungs;
}

json learned_json(const Learned& learned, const line::State& state) {
  json demand = json::object(), bins = json::array(), habits = json::array(),
       weights = json::array();
  for (const auto& each : learned.demand) demand[each.recipe] = demand_json(each.demand);
  for (const auto& each : learned.bins) bins.push_back(bin_json(each));
  for (const auto& each : learned.habits) habits.push_back(habit_json(each, state));
  for (std::size_t i = 0; i < learned.recalibration.names.size(); ++i) {
    weights.push_back({{"name", learned.recalibration.names[i]},
                       {"weight", learned.recalibration.weight[i]},
                       {"u", learned.recalibration.u[i]}});
  }
  json taught = {{"demand", demand},
                 {"outcomes", learned.outcomes.size()},
                 {"recalibration", weights},
                 {"bins", bins},
                 {"score",
                  {{"n", learned.score.n},
                   {"brier", learned.score.brier},
                   {"expected", learned.score.expected},
                   {"u_expected", learned.score.u_expected}}},
                 {"habits", habits}};
  if (learned.colours) taught["colours"] = colours_json(learned, state);
  return taught;
}

}  // namespace vialwright::decide
