/// Private to report: what was learned, in words and tables, for the terminal and the page.
#pragma once

#include <string>
#include <vector>

#include "decide/decide.hpp"
#include "report/columns.hpp"

namespace vialwright::report {

/// Brier's score against what it would be if the odds were right (Spiegelhalter 1986).
[[nodiscard]] std::string calibration_in_words(const outcomes::Score& score);
[[nodiscard]] Table habits_table(const decide::Learned& learned, const line::State& state);
/// How strongly components absorb and how strong lots look: by the book, and as learned.
[[nodiscard]] Table colours_table(const decide::Learned& learned, const line::State& state);
/// How many vials taught, whether they fit each other, what to make next; empty without any.
[[nodiscard]] std::vector<std::string> colours_in_words(const decide::Learned& learned);
/// The recipes ordered most, at most twelve.
[[nodiscard]] Table demand_table(const decide::Learned& learned, const line::State& state);

}  // namespace vialwright::report
