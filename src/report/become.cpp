#include "report/become.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <cmath>
#include <limits>

#include "report/words.hpp"

namespace vialwright::report {
namespace {

double wanted_odds(const std::string& id, const decide::Decision& decision,
                   const line::State& state) {
  const line::VialRecord* vial = line::find_vial(state, decision.serial);
  const bool bound = vial != nullptr && vial->recipe && vial->recipe->id == id;
  const recipe::Recipe* recipe = bound ? &*vial->recipe : line::find_recipe(state, id);
  const double line_risk = state.plant.risks.consumer;
  return 1.0 - (recipe == nullptr ? line_risk : recipe->consumer_risk.value_or(line_risk));
}

std::string plan_in_words(const topup::Topup& topup, const line::State& state) {
  return fmt::format("add {}; {}, {}", additions(topup, state), odds(topup),
                     money(topup.cost, state.plant.prices));
}

void add_notes(const decide::TopupAnswer& answer, const decide::Decision& decision,
               const line::State& state, std::vector<std::string>& notes) {
  const std::string name = recipe_name(answer.recipe, state);
  if (answer.topup.outcome != topup::Outcome::found) return;  // the table says why
  const std::string why = why_not_in_words(answer, decision, state);
  if (!why.empty()) notes.push_back(name + ": " + why);
  if (!answer.topup.binding.empty())
    notes.push_back(fmt::format("{}: limited by {}.", name, answer.topup.binding));
  if (answer.second && answer.second->outcome == topup::Outcome::found)
    notes.push_back(
        fmt::format("{}, second best: {}.", name, plan_in_words(*answer.second, state)));
}

/// All a row adds per gram is 1, whatever the stock: it limits how much liquid there may be.
bool limits_liquid(const proof::Row& row) {
  const bool plain = std::ranges::all_of(row.divisor_per_gram, [](double d) { return d == 0.0; });
  return plain && std::isfinite(row.high) &&
         std::ranges::all_of(row.per_gram, [](double d) { return d == 1.0; });
}

/// A content by net mass: each gram of whatever stock dilutes it by one gram.
bool is_content(const proof::Row& row) {
  return !row.divisor_per_gram.empty() &&
         std::ranges::all_of(row.divisor_per_gram, [](double d) { return d == 1.0; });
}

}  // namespace

std::string odds_of_answer(const decide::TopupAnswer& answer) {
  const bool adds = answer.topup.outcome == topup::Outcome::found;
  return adds && answer.corrected ? odds(*answer.corrected) : odds(answer.topup);
}

std::string why_not_in_words(const decide::TopupAnswer& answer, const decide::Decision& decision,
                             const line::State& state) {
  const std::string because = answer.proved ? answer.proved->in_words : answer.topup.because;
  switch (answer.impossible) {
    case topup::Impossible::by_any_amounts:
      return fmt::format("impossible by any amounts: {}.", because);
    case topup::Impossible::by_least_doses:
      return fmt::format("impossible by the least doses alone: {}.", because);
    case topup::Impossible::by_colour:
      return fmt::format("impossible by its colour: {}.", because);
    case topup::Impossible::by_risk:
      return fmt::format("impossible only by the risk: the best odds are {}, at least {} asked.",
                         odds(answer.topup),
                         quantity::odds_in_words(wanted_odds(answer.recipe, decision, state)));
    case topup::Impossible::no:
      break;
  }
  const auto outcome = answer.topup.outcome;
  const bool refused =
      outcome == topup::Outcome::not_permitted || outcome == topup::Outcome::impossible;
  return refused ? fmt::format("{}: {}.", word(outcome), because) : std::string();
}

std::string addition_in_words(const decide::TopupAnswer& answer, const decide::Decision& decision,
                              const line::State& state) {
  switch (answer.topup.outcome) {
    case topup::Outcome::found:
      return additions(answer.topup, state) +
             (answer.topup.dosable ? "" : "; too small to dose: " + answer.topup.because);
    case topup::Outcome::nothing_needed:
      return answer.meets_risk ? "nothing: as it is it meets the recipe"
                               : "nothing: no addition makes it likelier";
    case topup::Outcome::impossible:
    case topup::Outcome::not_permitted:
      break;
  }
  return why_not_in_words(answer, decision, state);
}

std::vector<std::string> topup_notes(const decide::Decision& decision, const line::State& state) {
  std::vector<std::string> notes;
  for (const decide::TopupAnswer& answer : decision.topups)
    add_notes(answer, decision, state, notes);
  if (decision.two_rounds && decision.two_rounds->pays)
    notes.push_back("Two rounds pay: " + decision.two_rounds->in_words + ".");
  return notes;
}

std::vector<std::string> waiting_in_words(const decide::Decision& decision,
                                          const line::State& state) {
  std::vector<std::string> told;
  if (!decision.hold) return told;
  const decide::HoldAnswer& hold = *decision.hold;
  if (hold.ends == holding::Ends::never_pays) return {"Waiting does not pay."};
  told.push_back(fmt::format("Waiting pays until {} ({} to {}, 95 %); then {}.",
                             to_the_minute(hold.limit), to_the_minute(hold.limit_low),
                             to_the_minute(hold.limit_high), holding::word(hold.ends)));
  told.push_back(fmt::format("Waiting is worth {} over scrapping now.",
                             money(hold.value, state.plant.prices)));
  told.push_back(fmt::format("An order that it fits: {} within a day, {} within a week.",
                             quantity::odds_in_words(hold.odds_1_day),
                             quantity::odds_in_words(hold.odds_7_days)));
  if (hold.counted_on < 0.995)
    told.push_back(fmt::format("Other vials fit the same orders: {} of them are left to it.",
                               quantity::odds_in_words(hold.counted_on)));
  if (!hold.has_place) told.emplace_back("No hold place is left for it.");
  return told;
}

std::string money_in_words(const decide::Decision& decision, const line::State& state) {
  if (decision.money == 0.0) return {};
  return fmt::format("Expected: {} over scrapping now.", money(decision.money, state.plant.prices));
}

std::optional<Overrun> overrun_of(const proof::Claim& claim) {
  std::optional<Overrun> worst;
  const auto weigh = [&](Overrun found) {
    if (!(found.needs_g > found.allowed_g)) return;
    if (!worst || found.needs_g / found.allowed_g > worst->needs_g / worst->allowed_g)
      worst = std::move(found);
  };
  double room_g = std::numeric_limits<double>::infinity();
  for (const proof::Row& row : claim.rows) {
    if (!limits_liquid(row)) continue;
    // Such a row speaks of what is there (net mass), or of what may be added (room: none is there).
    room_g = std::min(room_g, row.high - row.present);
    if (row.present > 0.0) weigh({row.what, row.high, row.present});
  }
  for (const proof::Row& row : claim.rows)
    if (is_content(row) && row.high > 0.0 && std::isfinite(row.high) && std::isfinite(room_g))
      weigh({"liquid for the " + row.what, row.present_divisor + room_g, row.present / row.high});
  return worst;
}

}  // namespace vialwright::report
