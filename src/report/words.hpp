/// Private to report: numbers, times and findings as the look wants them (docs/look.md).
#pragma once

#include <string>
#include <vector>

#include "decide/decide.hpp"

namespace vialwright::report {

inline constexpr const char* standing_caution =
    "Local rules, safety data sheets and licensed practice come first.";
inline constexpr const char* advice_only = "Advice only: nothing here moves a machine.";

/// In the order in which they are always shown.
[[nodiscard]] const std::vector<decide::Disposition>& dispositions();

[[nodiscard]] std::string grouped(std::uint64_t number);  ///< "20,914"
/// "1 vial", "3 vials".
[[nodiscard]] std::string counted(std::uint64_t number, const std::string& one,
                                  const std::string& many);

/// "0.00291 to 0.00309 mg/g", "at most 0.1 mg/g".
[[nodiscard]] std::string limits(const recipe::Tolerance& tolerance);

/// "0.0291525": six significant digits, no exponent, no trailing zeros.
[[nodiscard]] std::string plain(double value);

/// A value with its doubt; the value alone where there is none.
[[nodiscard]] std::string value_of(const conformity::LineReport& report, std::string_view unit);

/// An amount that cannot be negative: "19.356 ± 0.013 g", or "at most 0.006 g" at the bound.
[[nodiscard]] std::string amount(double mean, double u, std::string_view unit);

/// Its 95 % interval: "19.343 to 19.369 g", to the digits that the doubt allows.
[[nodiscard]] std::string interval(double mean, double u, std::string_view unit);

/// "+0.3 u"; "decides alone" for a reading that nothing checks.
[[nodiscard]] std::string pull(const contents::ReadingReport& report);

[[nodiscard]] std::string money(double amount, const plant::Prices& prices);
/// What is counted from a fresh vial, told over scrapping now: scrapping costs something too.
[[nodiscard]] std::string over_scrapping(double worth, const plant::Prices& prices);
[[nodiscard]] std::string day_and_time(quantity::Instant instant);   ///< "2026-11-25 12:00:05 UTC"
[[nodiscard]] std::string to_the_minute(quantity::Instant instant);  ///< "2026-11-25 12:00 UTC"
[[nodiscard]] std::string time_of_day(quantity::Instant instant);    ///< "12:00 UTC"
[[nodiscard]] std::string span_of(double seconds);                   ///< "30 min", "2.5 h"

[[nodiscard]] const std::string& stock_name(int stock, const line::State& state);
[[nodiscard]] const std::string& component_name(int component, const line::State& state);
[[nodiscard]] std::string recipe_name(const std::string& id, const line::State& state);

/// "1.400 g base, then 0.025 g yellow"; "nothing" when nothing is added.
[[nodiscard]] std::string additions(const topup::Topup& topup, const line::State& state);
[[nodiscard]] std::string_view word(topup::Outcome outcome);

[[nodiscard]] std::string reading_name(int reading, const decide::Decision& decision);

/// "97 in 100"; "cannot tell" when no probability was found.
[[nodiscard]] std::string odds(const conformity::Probability& probability);

/// "97 in 100 (94 to 99)", "more than 99 in 100 (97 to more than 99)".
[[nodiscard]] std::string odds(const outcomes::Corrected& corrected);

/// Every word of a top-up's odds: "–" when there is no top-up to have odds.
[[nodiscard]] std::string odds(const topup::Topup& topup);

}  // namespace vialwright::report
