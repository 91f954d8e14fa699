/// Amounts and limits as they stand in a line file. Private to the readers of files.
#pragma once

#include <string_view>

#include "recipe/recipe.hpp"

namespace vialwright::line {

struct Amount {
  double value = 0.0, u = 0.0;  ///< u: standard uncertainty (k = 1), >= 0
};

/// Reads an amount, in `unit`:
///   "5 mg"                            a value
///   "0.500 mg/g, u 0.005 mg/g"        with its standard uncertainty
///   "0.500 mg/g, u 1 %"               the same, relative to the value
///   "0.500 ± 0.010 mg/g (k = 2)"      as a certificate writes it; +/- for ± is read too
/// A ± without its k is refused: readers differ on what it means (JCGM 100:2008, 7.2.2).
[[nodiscard]] Result<Amount> read_amount(std::string_view text, std::string_view unit,
                                         std::string_view where);

/// Reads the limits of a tolerance line, in `unit`: "0.0080 mg/g ± 3 %", "20.0 ± 0.3 g",
/// "19.5 to 20.5 g", "19.5 g to 20.5 g, target 19.9 g", "at most 0.0002 mg/g", "at least 19.5 g".
[[nodiscard]] Result<recipe::Limits> read_limits(std::string_view text, std::string_view unit,
                                                 std::string_view where);

[[nodiscard]] std::string_view trimmed(std::string_view text);  ///< less spaces and tabs outside

}  // namespace vialwright::line
