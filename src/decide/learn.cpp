// What the logbook has taught: demand from orders, odds from finished top-ups, habits from doses.
#include "decide/learn.hpp"

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>
#include <tuple>

#include "decide/evidence_of.hpp"
#include "decide/judged.hpp"
#include "decide/learn_colours.hpp"

namespace vialwright::decide {
namespace {

using nlohmann::json;

constexpr double day_s = 86'400.0;

std::size_t at(int index) { return static_cast<std::size_t>(index); }

double days_ago(Instant then, const line::State& state) {
  return std::max(0.0, quantity::seconds_between(then, state.as_of) / day_s);
}

// ---- demand -------------------------------------------------------------------------------------

/// Every order counts from when it was placed, whatever became of it: a cancelled one was wanted.
std::vector<Learned::RecipeDemand> demand_of(const line::State& state) {
  std::map<std::string, std::vector<double>> placed;
  for (const recipe::Recipe& recipe : state.recipes) placed[recipe.id];
  for (const line::OrderRecord& order : state.orders) {
    placed[order.recipe].push_back(days_ago(order.placed, state));
  }
  holding::Learning how;
  how.half_life_days = state.plant.holding.demand_half_life_days;
  const double watched = state.first_fact ? days_ago(*state.first_fact, state) : 0.0;
  std::vector<Learned::RecipeDemand> demand;
  for (auto& [recipe, days] : placed) {
    std::sort(days.begin(), days.end());
    // An order may carry a time before the first fact that was recorded of the line.
    const double since = days.empty() ? watched : std::max(watched, days.back());
    demand.push_back({recipe, holding::learn(days, since, how)});
  }
  return demand;
}

// ---- outcomes -----------------------------------------------------------------------------------

/// What a decision said of the top-up that it advised.
struct Advised {
  std::string recipe;
  outcomes::Outcome outcome;
};

std::optional<Advised> advised_by(const std::string& body, const recipe::Book& book) {
  const json said = json::parse(body, nullptr, false);
  if (!said.is_object() || !said.contains("topup") || !said["topup"].is_object()) {
    return std::nullopt;
  }
  const json& topup = said["topup"];
  const auto number = [&](const char* key) {
    return topup.contains(key) && topup[key].is_number() ? topup[key].get<double>() : 0.0;
  };
  const auto text = [&](const char* key) {
    return topup.contains(key) && topup[key].is_string() ? topup[key].get<std::string>() : "";
  };
  if (!topup.contains("odds") || !topup["odds"].is_number()) return std::nullopt;
  Advised advised;
  advised.recipe = text("recipe");
  advised.outcome.odds = number("odds");
  advised.outcome.margin_sd = number("margin_sd");
  advised.outcome.least_dose_ratio = number("least_dose_ratio");
  advised.outcome.age_days = number("age_days");
  advised.outcome.stock = recipe::find_stock(book, text("smallest")).value_or(-1);
  return advised;
}

/// Index one past the last dose of the top-up, or nothing when its doses are not all there.
std::optional<std::size_t> end_of(const line::AppliedTopup& topup, const line::VialRecord& vial) {
  std::size_t end = 0;
  for (const std::string& id : topup.doses) {
    const auto found = std::find_if(vial.doses.begin(), vial.doses.end(),
                                    [&](const line::DoseRecord& dose) { return dose.id == id; });
    if (found == vial.doses.end()) return std::nullopt;
    end = std::max(end, static_cast<std::size_t>(found - vial.doses.begin()) + 1);
  }
  return topup.doses.empty() ? std::nullopt : std::optional(end);
}

/// The record as it stood before any dose after those.
line::VialRecord as_it_stood(line::VialRecord vial, std::size_t doses) {
  if (vial.doses.size() == doses) return vial;
  vial.doses.resize(doses);
  std::erase_if(vial.readings, [&](const line::VialReading& reading) {
    return reading.after_doses > static_cast<int>(doses);
  });
  return vial;
}

bool weighed_after(const line::VialRecord& vial, std::size_t doses) {
  return std::any_of(vial.readings.begin(), vial.readings.end(), [&](const auto& reading) {
    return reading.kind == line::Weighed::gross && reading.quality == line::Quality::clear &&
           reading.after_doses == static_cast<int>(doses);
  });
}

/// How surely the vial met the recipe after the top-up: by the evidence when it was weighed before
/// anything else was added; else by what became of it; else nothing is known.
std::optional<double> good_after(const line::VialRecord& vial, std::size_t doses,
                                 const recipe::Recipe& recipe, const line::State& state,
                                 const Options& options) {
  if (weighed_after(vial, doses)) {
    const auto evidence = evidence_of(as_it_stood(vial, doses), state).evidence;
    const auto estimate = contents::estimate(evidence, state.plant, state.book, options.contents);
    if (estimate.contradiction && !estimate.settled) return std::nullopt;
    return conformity::judge(estimate.belief, recipe, state.book, state.plant.risks,
                             options.conformity)
        .joint.value;
  }
  if (vial.doses.size() != doses || vial.fate == line::Fate::open) return std::nullopt;
  return vial.fate == line::Fate::released ? 1.0 : 0.0;
}

const recipe::Recipe* recipe_named(const std::string& id, const line::VialRecord& vial,
                                   const line::State& state) {
  if (vial.recipe && (id.empty() || vial.recipe->id == id)) return &*vial.recipe;
  return line::find_recipe(state, id);
}

void add_outcomes(const line::VialRecord& vial, const line::State& state, const Options& options,
                  std::vector<outcomes::Outcome>& into) {
  for (const line::AppliedTopup& topup : vial.topups) {
    auto advised = advised_by(topup.advised, state.book);
    const auto doses = end_of(topup, vial);
    if (!advised || !doses) continue;
    const recipe::Recipe* recipe = recipe_named(advised->recipe, vial, state);
    if (recipe == nullptr) continue;
    const auto good = good_after(vial, *doses, *recipe, state, options);
    if (!good) continue;
    advised->outcome.good = *good;
    advised->outcome.days_ago = days_ago(topup.origin.time, state);
    into.push_back(advised->outcome);
  }
}

// ---- dose habits --------------------------------------------------------------------------------

/// The plant with every instrument taken as calibrated, and the commands unheard. A meter's
/// calibration error is one for all its doses, so it must not pass for the doubt of each; habits
/// are therefore against the instruments as they are calibrated.
plant::Plant unheard(plant::Plant plant) {
  plant.command_is_evidence = false;
  for (plant::Instrument& each : plant.instruments) {
    each.u_gain = each.u_offset = each.u_zero_rate = 0.0;
  }
  return plant;
}

/// A dose with when it was made, so that the first after a change of lots can be told.
struct Timed {
  Instant when;
  std::string id;
  outcomes::DoseSeen seen;
};

int doses_of(int stock, const contents::Evidence& evidence) {
  return static_cast<int>(std::count_if(evidence.doses.begin(), evidence.doses.end(),
                                        [&](const auto& dose) { return dose.stock == stock; }));
}

bool witnessed(int dose, const contents::Evidence& evidence) {
  return std::any_of(evidence.readings.begin(), evidence.readings.end(),
                     [&](const auto& reading) { return reading.dose == dose; });
}

/// What the evidence found of each dose that was told, by a station, as the only one of its stock.
/// Doses without a reading of their own are left out: the rest of the vial would speak for them.
void add_doses(const line::VialRecord& vial, const line::State& state, const plant::Plant& plant,
               const Options& options, std::vector<Timed>& into) {
  const contents::Evidence evidence = evidence_of(vial, state).evidence;
  if (evidence.doses.empty()) return;
  contents::Options as_told = options.contents;
  as_told.false_flag = 0.0;  // whether it fits is asked of the whole evidence, doubts included
  const auto found = contents::estimate(evidence, plant, state.book, as_told);
  const bool fits =
      !contents::estimate(evidence, state.plant, state.book, options.contents).contradiction;
  for (std::size_t d = 0; d < vial.doses.size(); ++d) {
    const line::DoseRecord& dose = vial.doses[d];
    if (!dose.commanded_g || dose.station < 0) continue;
    if (doses_of(dose.stock, evidence) > 1 || !witnessed(static_cast<int>(d), evidence)) continue;
    const int axis = found.belief.stock(dose.stock);
    into.push_back(
        {dose.origin.time,
         dose.id,
         {dose.station, dose.stock, dose.lot, *dose.commanded_g, found.belief.mean[axis],
          found.belief.u(axis), days_ago(dose.origin.time, state), fits && !dose.aborted}});
  }
}

/// The first dose after a change of lots still holds the old lot in the tubes.
void mark_first_of_lots(std::vector<Timed>& doses) {
  std::sort(doses.begin(), doses.end(), [](const Timed& a, const Timed& b) {
    return std::tie(a.seen.station, a.seen.stock, a.when, a.id) <
           std::tie(b.seen.station, b.seen.stock, b.when, b.id);
  });
  for (std::size_t i = 1; i < doses.size(); ++i) {
    const outcomes::DoseSeen& before = doses[i - 1].seen;
    outcomes::DoseSeen& now = doses[i].seen;
    if (before.station == now.station && before.stock == now.stock && before.lot != now.lot) {
      now.clean = false;
    }
  }
}

std::vector<outcomes::DoseHabit> habits_of(const line::State& state, const Options& options) {
  const plant::Plant plant = unheard(state.plant);
  std::vector<Timed> doses;
  for (const line::VialRecord& vial : state.vials) {
    if (vial.conflicts.empty()) add_doses(vial, state, plant, options, doses);
  }
  mark_first_of_lots(doses);
  std::vector<outcomes::DoseSeen> seen;
  seen.reserve(doses.size());
  for (const Timed& each : doses) seen.push_back(each.seen);
  std::vector<outcomes::StatedSpread> stated;
  stated.reserve(state.plant.stations.size());
  for (std::size_t s = 0; s < state.plant.stations.size(); ++s) {
    const plant::Station& station = state.plant.stations[s];
    stated.push_back({static_cast<int>(s), station.spread_g, station.spread_rel});
  }
  std::vector<int> lot_now(state.book.stocks.size(), -1);
  for (const line::Station& station : state.stations) {
    for (const auto& [stock, lot] : station.loaded) lot_now[at(stock)] = lot;
  }
  return outcomes::habits(seen, stated, lot_now);
}

}  // namespace

Learned learn_for_deciding(const line::State& state, const Options& options) {
  Learned learned;
  learned.demand = demand_of(state);
  for (const line::VialRecord& vial : state.vials) {
    add_outcomes(vial, state, options, learned.outcomes);
  }
  learned.recalibration =
      outcomes::learn(learned.outcomes, static_cast<int>(state.book.stocks.size()));
  return learned;
}

Learned learn(const line::State& state, const Options& options) {
  Learned learned = learn_for_deciding(state, options);
  learned.bins = outcomes::bins(learned.outcomes);
  learned.score = outcomes::score(learned.outcomes);
  learned.habits = habits_of(state, options);
  learn_colours(state, options, learned);
  return learned;
}

}  // namespace vialwright::decide
