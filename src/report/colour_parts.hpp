/// Private to report: what the record of one vial shows of its colour.
#pragma once

#include <string>

#include "decide/decide.hpp"

namespace vialwright::report {

/// The glass with its colour in words and numbers, and the spectrum by component; empty where
/// nothing is known of colours. @param full  share of the brim
[[nodiscard]] std::string colour_section(const decide::Decision& decision, const line::State& state,
                                         double full);

/// The channel of a tolerance line on colour. @pre LineReport::seen is there
[[nodiscard]] std::string difference_of(const decide::Decision& decision,
                                        const recipe::Recipe& recipe, std::size_t line,
                                        double clear, const std::string& alternative);

/// A map of what the vial can still become in the two components that count most for the recipes
/// asked about; empty where there are no two.
[[nodiscard]] std::string reach_section(const decide::Decision& decision, const line::State& state);

}  // namespace vialwright::report
