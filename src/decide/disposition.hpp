/// Private to decide: the order in which the questions about a vial are asked, and the answers.
#pragma once

#include "decide/waiting.hpp"

namespace vialwright::decide {

/// The questions that come before any money: has a person decided, whose vial is it, is it
/// finished, may it be used, does the evidence agree, can its colour be judged? The first that is
/// answered "no" decides.
/// @returns whether one has.
[[nodiscard]] bool settled(Decision& decision, const line::VialRecord& vial,
                           const line::State& state);

/// Why it is good or bad: the line that binds.
void explain_conformity(Decision& decision, const line::VialRecord& vial, const line::State& state);

/// Does it meet its own recipe at the agreed risk?
[[nodiscard]] bool is_good(const Decision& decision);

/// Good for the order that it was made for.
void release_to_own(Decision& decision, const line::VialRecord& vial, const line::State& state,
                    const Market& market);

/// Neither good nor bad, and another reading brings more than anything that can be done now?
/// @param otherwise  money over scrapping of the best that can be done now.
[[nodiscard]] bool measured_again(Case& asked, double otherwise, const line::State& state,
                                  const Market& market);

/// What the pairing and the waiting make of it: rework, release to another order, hold or scrap.
void dispose(Case& asked, const line::State& state, const Market& market, const Options& options);

/// What would change the answer, computed where that is cheap.
[[nodiscard]] std::vector<std::string> changes(const Case& asked, const line::State& state,
                                               const Market& market);

}  // namespace vialwright::decide
