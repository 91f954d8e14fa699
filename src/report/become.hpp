/// Private to report: what one vial can still become and how long it may wait, in words, for the
/// terminal and the page.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "decide/decide.hpp"

namespace vialwright::report {

/// Odds as history corrects them, with the 95 % interval; the predicted odds where nothing corrects
/// them; "–" where it has none.
[[nodiscard]] std::string odds_of_answer(const decide::TopupAnswer& answer);

/// What to add, in order; or why nothing is.
[[nodiscard]] std::string addition_in_words(const decide::TopupAnswer& answer,
                                            const decide::Decision& decision,
                                            const line::State& state);

/// Why this recipe cannot be had, or what its best odds lack; empty where it can be had.
[[nodiscard]] std::string why_not_in_words(const decide::TopupAnswer& answer,
                                           const decide::Decision& decision,
                                           const line::State& state);

/// What a table of top-ups leaves out: impossible and why, what limits, the second best, two
/// rounds where they pay.
[[nodiscard]] std::vector<std::string> topup_notes(const decide::Decision& decision,
                                                   const line::State& state);

/// How long it may wait, for what and why no longer; empty where waiting is no choice.
[[nodiscard]] std::vector<std::string> waiting_in_words(const decide::Decision& decision,
                                                        const line::State& state);

/// "Expected: 3.62 mk over scrapping now."; empty where the decision makes no money.
[[nodiscard]] std::string money_in_words(const decide::Decision& decision,
                                         const line::State& state);

/// An amount of liquid that a proof shows to be more than is allowed, for a single lane.
struct Overrun {
  std::string what;
  double allowed_g = 0.0, needs_g = 0.0;  ///< allowed < needs
};
/// The worst of "needs more liquid than there may be" and "too much is in it already";
/// nullopt where only several lines together forbid it.
[[nodiscard]] std::optional<Overrun> overrun_of(const proof::Claim& claim);

}  // namespace vialwright::report
