/// Amounts and times at the boundary: units by UCUM code, instants by RFC 3339, and how numbers
/// are shown to people. Inside, every quantity is a double whose unit stands in its name.
#pragma once

#include <compare>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "error/error.hpp"

namespace vialwright::quantity {

/// Converts a value between two UCUM codes of one dimension, offsets (Cel, K) included.
/// Mass ratios (mg/g, g/kg, %, 1) are one dimension.
/// @returns an error when either code is not in our table (with the closest known codes), when the
///          dimensions differ, or when the value is not finite. `where` is put in the error.
/// Source: The Unified Code for Units of Measure (UCUM), version 2.1.
[[nodiscard]] Result<double> convert(double value, std::string_view from, std::string_view to,
                                     std::string_view where);

/// Every UCUM code we take, in the order of the documentation.
[[nodiscard]] std::vector<std::string_view> known_units();

/// The known word nearest to a mistyped one (Damerau-Levenshtein distance at most 2), or "".
[[nodiscard]] std::string_view nearest(std::string_view word,
                                       const std::vector<std::string_view>& known);

/// Reads a decimal number strictly: the whole text, a point for the decimals, finite.
[[nodiscard]] Result<double> parse_number(std::string_view text, std::string_view where);

/// A moment in UTC, microseconds since 1970-01-01T00:00:00Z.
struct Instant {
  std::int64_t us = 0;
  auto operator<=>(const Instant&) const = default;
};

[[nodiscard]] constexpr double seconds_between(Instant from, Instant to) {
  return static_cast<double>(to.us - from.us) * 1e-6;
}
[[nodiscard]] Instant later_by(Instant from, double seconds);

/// Reads RFC 3339 ("2026-11-25T14:34:05.120Z", offsets allowed, up to nanoseconds, cut to
/// microseconds). Years 1970 to 9999.
[[nodiscard]] Result<Instant> parse_instant(std::string_view text, std::string_view where);

/// RFC 3339 in UTC with milliseconds, or microseconds where there are any.
[[nodiscard]] std::string to_text(Instant instant);

/// "19.356 ± 0.013 g": half of the 95 % interval (1.96 u), two digits of it when they begin with 1
/// or 2, else one. The unit is joined by U+00A0. u = 0 prints the value with "exact".
[[nodiscard]] std::string with_doubt(double value, double u, std::string_view unit);

/// "97 in 100", "fewer than 1 in 100", "more than 99 in 100". Never a percent sign.
[[nodiscard]] std::string odds_in_words(double probability);

/// Shortest decimal text that reads back to the same double; -0 prints as 0.
[[nodiscard]] std::string shortest(double value);

}  // namespace vialwright::quantity
