#include "decide/disposition.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "decide/judged.hpp"
#include "decide/words.hpp"

namespace vialwright::decide {
namespace {

using topup::Outcome;

double risk_of(const recipe::Recipe& recipe, const plant::Plant& plant) {
  return recipe.consumer_risk.value_or(plant.risks.consumer);
}

void answer(Decision& decision, Disposition disposition, std::string headline) {
  decision.disposition = disposition;
  decision.headline = std::move(headline);
}

/// "Not good for FEN-1 as it is (fewer than 1 in 100 good)".
std::string now_in_words(const Case& asked) {
  const Decision& decision = asked.decision;
  if (!decision.conformity) return "Made for no order";
  const std::string odds = quantity::odds_in_words(decision.conformity->joint.value);
  if (asked.spare)
    return fmt::format("Good for {} ({}), but no order of its own waits", decision.recipe, odds);
  return decision.conformity->ruling == conformity::Ruling::reject
             ? fmt::format("Not good for {} as it is ({} good)", decision.recipe, odds)
             : fmt::format("Not surely good for {} ({})", decision.recipe, odds);
}

/// "FEN-1, order L-4107".
std::string goal_in_words(const std::string& recipe, const std::string& order) {
  return order.empty() ? recipe : fmt::format("{}, order {}", recipe, order);
}

/// Odds as they were computed, and as history corrects them where that shows.
std::string odds_in_words(const TopupAnswer& found) {
  std::string text = quantity::odds_in_words(odds_of(found));
  if (!found.corrected || found.corrected->n == 0 || found.topup.additions.empty()) return text;
  return text + fmt::format(" (computed {}, corrected by {} finished top-ups)",
                            quantity::odds_in_words(found.topup.odds.value), found.corrected->n);
}

/// The sum that the money comes from, so that it can be done again.
std::string sum_in_words(const Case& asked, const TopupAnswer& found, const line::State& state,
                         const Market& market) {
  const std::string& unit = state.plant.prices.unit;
  const double odds = odds_of(found);
  const double late = market.wanted(asked.to_order, found.recipe).late;
  const std::string lateness =
      late > 0.0 ? fmt::format(" + {:.4f} {} for its lateness", late, unit) : std::string();
  return fmt::format(
      "Money: {:.4f} × ({:.4f} {} for a fresh vial{}) - {:.4f} {} for stocks and visits - {:.4f} × "
      "{:.4f} {} if it fails = {:.4f} {}; scrapping it now gives {:.4f} {}.",
      odds, found.fresh, unit, lateness, found.topup.cost, unit, 1.0 - odds, market.disposal(),
      unit, asked.worth, unit, -market.disposal(), unit);
}

/// Dosing in two steps with a weighing between, where that brings more.
void look_two_steps_ahead(Case& asked, const TopupAnswer& found, const line::State& state,
                          const Options& options) {
  if (found.meets_risk || found.topup.outcome != Outcome::found) return;
  const auto u = u_of_next_weighing(*asked.vial, state.plant, options);
  if (!u) return;
  const recipe::Recipe* newest = line::find_recipe(state, found.recipe);
  const bool own = asked.vial->recipe && asked.vial->recipe->id == found.recipe;
  const recipe::Recipe* recipe = own ? &*asked.vial->recipe : newest;
  const contents::Belief& belief = asked.decision.estimate->belief;
  topup::Options how;
  how.conformity = options.conformity;
  how.success = found.fresh + state.plant.prices.scrap;
  auto plan = topup::two_rounds(belief, *recipe, means_of(state, *asked.vial, belief), state.plant,
                                state.book, *u, how);
  if (!plan || !plan->pays) return;
  asked.decision.reasons.push_back("In two steps: " + plan->in_words + ".");
  asked.decision.two_rounds = std::move(plan);
}

void tell_second(const TopupAnswer& found, Decision& decision, const line::State& state) {
  if (!found.second || found.second->outcome != Outcome::found) return;
  decision.reasons.push_back(fmt::format("Second best: {}, {}, {}.",
                                         additions_in_words(*found.second, state),
                                         quantity::odds_in_words(found.second->odds.value),
                                         money_in_words(found.second->cost, state)));
}

void rework(Case& asked, const TopupAnswer& found, const line::State& state, const Market& market,
            const Options& options) {
  Decision& decision = asked.decision;
  const bool own = found.recipe == decision.recipe;
  const std::string goal = goal_in_words(found.recipe, asked.to_order);
  const std::string money = money_in_words(decision.money, state);
  const std::string how = additions_in_words(found.topup, state);
  answer(decision, Disposition::rework,
         own ? fmt::format("{}, but {} saves it{}: {}, worth {} over scrapping.",
                           now_in_words(asked), how,
                           asked.to_order.empty() || asked.to_order == decision.order
                               ? ""
                               : " for order " + asked.to_order,
                           quantity::odds_in_words(odds_of(found)), money)
             : fmt::format("{}; {} makes it {}: {}, worth {} over scrapping.", now_in_words(asked),
                           how, goal, quantity::odds_in_words(odds_of(found)), money));
  decision.reasons.push_back(
      fmt::format("Odds of {} after the top-up: {}.", found.recipe, odds_in_words(found)));
  decision.reasons.push_back(sum_in_words(asked, found, state, market));
  look_two_steps_ahead(asked, found, state, options);
  tell_second(found, decision, state);
}

void release_to_another(Case& asked, const TopupAnswer& found, const line::State& state) {
  Decision& decision = asked.decision;
  answer(decision, Disposition::release,
         fmt::format("{}; it meets {} as it is: {}, worth {} over scrapping.", now_in_words(asked),
                     goal_in_words(found.recipe, asked.to_order),
                     quantity::odds_in_words(found.topup.odds.value),
                     money_in_words(decision.money, state)));
}

void give(Case& asked, const line::State& state, const Market& market, const Options& options) {
  const TopupAnswer& found = asked.answers[static_cast<std::size_t>(asked.given)];
  Decision& decision = asked.decision;
  decision.for_order = asked.to_order;
  decision.for_recipe = found.recipe;
  decision.money = asked.worth + market.disposal();
  if (found.topup.additions.empty()) {
    release_to_another(asked, found, state);
  } else {
    rework(asked, found, state, market, options);
  }
  if (asked.wait.value > -market.disposal()) {
    decision.reasons.push_back(
        fmt::format("Waiting for another order would be worth {}.",
                    money_in_words(asked.wait.value + market.disposal(), state)));
  }
}

std::string listed(const std::vector<std::string>& names, std::size_t most) {
  std::string text;
  for (std::size_t i = 0; i < std::min(most, names.size()); ++i) {
    text += (i == 0 ? "" : i + 1 == std::min(most, names.size()) ? " or " : ", ") + names[i];
  }
  return text;
}

void hold(Case& asked, const line::State& state) {
  Decision& decision = asked.decision;
  const HoldAnswer& waits = *decision.hold;
  decision.money = waits.value;
  answer(
      decision, Disposition::hold,
      fmt::format("{}; hold it until {} for an order for {}: {} that one comes within a day, "
                  "worth {} over scrapping.",
                  now_in_words(asked), moment_in_words(waits.limit), listed(waits.for_recipes, 3),
                  quantity::odds_in_words(waits.odds_1_day), money_in_words(waits.value, state)));
  decision.reasons.push_back(
      fmt::format("Then waiting stops paying: {}.", holding::word(waits.ends)));
  if (waits.counted_on < 0.995) {
    decision.reasons.push_back(
        fmt::format("Other held vials fit the same orders: it can count on {} of the demand.",
                    quantity::odds_in_words(waits.counted_on)));
  }
}

/// Is there a recipe that it was asked about for which only what is loaded or permitted forbids?
const TopupAnswer* forbidden_now(const Case& asked) {
  for (const TopupAnswer& each : asked.answers) {
    if (each.recipe == asked.decision.recipe && each.topup.outcome == Outcome::not_permitted) {
      return &each;
    }
  }
  return nullptr;
}

bool reachable(const Case& asked) {
  return std::any_of(asked.answers.begin(), asked.answers.end(),
                     [](const TopupAnswer& each) { return usable(each); });
}

/// On paper it could become something, but nothing makes it sure enough.
bool too_unsure(const Case& asked) {
  return std::any_of(asked.answers.begin(), asked.answers.end(), [](const TopupAnswer& each) {
    return each.impossible == topup::Impossible::by_risk;
  });
}

void scrap(Case& asked) {
  Decision& decision = asked.decision;
  const std::string now = now_in_words(asked);
  const char* why = too_unsure(asked)
                        ? ", and no top-up makes it sure enough for any recipe that is asked for"
                        : ", and no addition brings it to any recipe that is asked for";
  if (reachable(asked)) {
    why = asked.candidate.offers.empty()
              ? "; what it could become, nobody asks for"
              : "; what it could become is worth less than its addition or its place costs";
    if (!asked.candidate.offers.empty() && !asked.stays &&
        asked.wait.value > -asked.candidate.terms.disposal) {
      why = "; it could wait for an order, but every hold place is worth more to another vial";
    }
  }
  answer(decision, Disposition::scrap, fmt::format("{}{}: scrap it.", now, why));
}

/// Nothing that may be added now is not the same as nothing at all; and what is good, or was made
/// for nobody, is for a person to place.
bool for_a_person(Case& asked) {
  Decision& decision = asked.decision;
  if (asked.spare) {
    answer(decision, Disposition::release, now_in_words(asked) + " for it now.");
    decision.for_recipe = decision.recipe;
    return true;
  }
  if (!decision.conformity) {
    answer(decision, Disposition::hold, "It is bound to no order and recipe.");
    decision.would_change.emplace_back("binding it to an order");
    return true;
  }
  const TopupAnswer* forbidden = forbidden_now(asked);
  if (forbidden == nullptr) return false;
  answer(decision, Disposition::hold,
         now_in_words(asked) + "; what would save it may not be added now.");
  decision.would_change.emplace_back("loading another lot, or a permission in the line file");
  return true;
}

/// What stands in the way back to its own recipe.
void explain_own(Case& asked) {
  for (const TopupAnswer& each : asked.answers) {
    if (each.recipe != asked.decision.recipe || each.topup.because.empty()) continue;
    asked.decision.reasons.push_back(
        fmt::format("Back to {}: {}", each.recipe, each.topup.because));
  }
}

}  // namespace

void release_to_own(Decision& decision, const line::VialRecord& vial, const line::State& state,
                    const Market& market) {
  const double odds = decision.conformity->joint.value;
  const double late = market.wanted(vial.order, decision.recipe).late;
  decision.for_order = vial.order;
  decision.for_recipe = decision.recipe;
  decision.money = market.worth(odds, 0.0, market.fresh(*vial.recipe) + late) + market.disposal();
  answer(decision, Disposition::release,
         fmt::format("Good for {}: {} that every line holds.", decision.recipe,
                     quantity::odds_in_words(odds)));
  decision.would_change.push_back(fmt::format("a risk below {} wrong; this order allows {}",
                                              chance_in_words(1.0 - odds),
                                              chance_in_words(risk_of(*vial.recipe, state.plant))));
}

bool measured_again(Case& asked, double otherwise, const line::State& state, const Market& market) {
  Decision& decision = asked.decision;
  if (!decision.reading_worth || decision.conformity->ruling != conformity::Ruling::unclear) {
    return false;
  }
  const plant::Prices& prices = state.plant.prices;
  const conformity::ReadingWorth& worth = *decision.reading_worth;
  // Once released it is good at the agreed risk; when it is not, what can be done now is still
  // there.
  const double sure = 1.0 - risk_of(*asked.vial->recipe, state.plant);
  const double late = market.wanted(asked.vial->order, decision.recipe).late;
  const double released =
      market.worth(sure, 0.0, market.fresh(*asked.vial->recipe) + late) + market.disposal();
  const double brings = worth.odds_release * released +
                        (1.0 - worth.odds_release) * std::max(0.0, otherwise) - prices.reading;
  const bool pays = worth.gain > prices.reading && brings > otherwise;
  const std::string money =
      fmt::format("worth {} against a price of {}", money_in_words(worth.gain, state),
                  money_in_words(prices.reading, state));
  if (!pays) {
    decision.reasons.push_back(
        fmt::format("Another weighing does not pay: {}{}.", money,
                    worth.gain > prices.reading ? ", and a top-up brings more" : ""));
    return false;
  }
  decision.money = brings;
  answer(decision, Disposition::measure_again,
         fmt::format("Neither good nor bad yet ({} good): another weighing pays.",
                     quantity::odds_in_words(decision.conformity->joint.value)));
  decision.reasons.push_back(fmt::format("Another weighing is {}; {} that it leads to release.",
                                         money, quantity::odds_in_words(worth.odds_release)));
  decision.would_change.emplace_back("the next gross weighing");
  return true;
}

void dispose(Case& asked, const line::State& state, const Market& market, const Options& options) {
  explain_own(asked);
  if (asked.given >= 0) {
    give(asked, state, market, options);
  } else {
    if (!asked.candidate.offers.empty()) asked.decision.hold = hold_answer(asked, state);
    if (asked.stays && asked.wait.value > -market.disposal()) {
      hold(asked, state);
    } else if (!for_a_person(asked)) {
      scrap(asked);
    }
    for (const TopupAnswer& each : asked.answers) {
      const bool own = each.recipe == asked.decision.recipe;
      if (own && each.impossible == topup::Impossible::by_risk) {
        look_two_steps_ahead(asked, each, state, options);
      }
    }
  }
  for (std::string& change : changes(asked, state, market)) {
    asked.decision.would_change.push_back(std::move(change));
  }
}

}  // namespace vialwright::decide
