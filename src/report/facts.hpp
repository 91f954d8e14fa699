/// Private to report: what is known of one vial as tables, the same for terminal and page.
#pragma once

#include "report/columns.hpp"
#include "report/words.hpp"

namespace vialwright::report {

/// Stocks as dosed, components, net mass, volume: estimate, 95 % interval, asked.
[[nodiscard]] Table contents_facts(const decide::Decision& decision, const line::State& state);

/// What a reader must know before the contents: empty, or that the evidence contradicts itself.
[[nodiscard]] std::string contents_caveat(const decide::Decision& decision);

/// Each tolerance line: value, wanted, how surely it holds.
[[nodiscard]] Table line_facts(const decide::Decision& decision, const recipe::Recipe& recipe,
                               const line::State& state);

/// Each reading and command: value, what the fit says, how far it pulls.
[[nodiscard]] Table reading_facts(const decide::Decision& decision, const line::State& state);

/// Each recipe: what to add, odds, cost, worth, order.
[[nodiscard]] Table topup_facts(const decide::Decision& decision, const line::State& state);

/// Explanations of a contradiction, the likeliest first.
[[nodiscard]] Table explanation_facts(const decide::Decision& decision);

/// The recipe that the vial is bound to, as it was frozen, or none.
[[nodiscard]] const recipe::Recipe* bound_recipe(const decide::Decision& decision,
                                                 const line::State& state);

/// "Bound to order O-1, recipe pond version 2".
[[nodiscard]] std::string binding_in_words(const decide::Decision& decision,
                                           const line::State& state);

/// Whether the readings fit together, with chi squared, degrees of freedom and chance.
[[nodiscard]] std::string fit_in_words(const decide::Decision& decision);

/// "97 in 100 that each of 4 lines holds", and what the risk makes of it.
[[nodiscard]] std::string conformity_in_words(const decide::Decision& decision,
                                              const line::State& state);

/// Net mass, or "not known": for tables of many vials.
[[nodiscard]] std::string net_in_words(const decide::Decision& decision);

/// Joint probability of conforming, "–" where there is no recipe. Contradicted evidence: over all
/// explanations, or "cannot tell".
[[nodiscard]] std::string goodness_in_words(const decide::Decision& decision);

/// Which pairs of readings cannot be told apart, one sentence each.
[[nodiscard]] std::vector<std::string> pairs_in_words(const decide::Decision& decision);

/// The additions that a vial to be reworked, held or scrapped could have: those of the recipe that
/// it goes to, else of its own recipe for rework, else the best odds; or none.
[[nodiscard]] const decide::TopupAnswer* planned(const decide::Decision& decision);

/// The order that a top-up is for: the one the vial goes to, else the best of that recipe.
[[nodiscard]] std::string order_in_words(const decide::TopupAnswer& answer,
                                         const decide::Decision& decision);

}  // namespace vialwright::report
