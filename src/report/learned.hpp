/// Private to report: what was learned, in words and tables, for the terminal and the page.
#pragma once

#include "decide/decide.hpp"
#include "report/columns.hpp"

namespace vialwright::report {

/// Brier's score against what it would be if the odds were right (Spiegelhalter 1986).
[[nodiscard]] std::string calibration_in_words(const outcomes::Score& score);
[[nodiscard]] Table habits_table(const decide::Learned& learned, const line::State& state);
/// The recipes ordered most, at most twelve.
[[nodiscard]] Table demand_table(const decide::Learned& learned, const line::State& state);

}  // namespace vialwright::report
