#include <fmt/format.h>
#include <algorithm>
#include <charconv>
#include <cmath>

#include "quantity/quantity.hpp"

namespace vialwright::quantity {
namespace {

constexpr std::string_view minus = "\u2212", no_break = "\u00a0", plus_minus = "\u00b1";

/// Decimals that show two digits of `half` when they begin with 1 or 2, else one. A carry from 9.96
/// to 10 counts as beginning with 1.
int decimals_for(double half) {
  const int two_digits = 1 - static_cast<int>(std::floor(std::log10(half)));
  const double shown = std::round(half * std::pow(10.0, two_digits));
  return shown < 30.0 ? two_digits : two_digits - 1;
}

std::string fixed(double value, int decimals) {
  const int shown = std::clamp(decimals, 0, 12);
  std::string text = fmt::format("{:.{}f}", std::abs(value), shown);
  const bool zero = text.find_first_not_of("0.") == std::string::npos;
  return (value < 0.0 && !zero ? std::string(minus) : std::string()) + text;
}

std::string unit_after(std::string_view unit) {
  return unit.empty() || unit == "1" ? std::string() : std::string(no_break) + std::string(unit);
}

}  // namespace

Result<double> parse_number(std::string_view text, std::string_view where) {
  double value = 0.0;
  const char* end = text.data() + text.size();
  const auto [stopped, problem] = std::from_chars(text.data(), end, value);
  // from_chars takes "inf" and "nan"; a reading never is.
  if (problem == std::errc() && stopped == end && std::isfinite(value)) return value;
  const bool comma = text.find(',') != std::string_view::npos;
  return bad_input(fmt::format("'{}' is not a number", text.substr(0, 64)), std::string(where),
                   comma ? "write decimals with a point, such as 12.345"
                         : "write a finite decimal number, such as 12.345");
}

std::string with_doubt(double value, double u, std::string_view unit) {
  if (!std::isfinite(value) || !std::isfinite(u)) return "cannot tell";
  if (u <= 0.0) return shortest(value) + unit_after(unit) + " (exact)";
  const double half = 1.959963984540054 * u;  // the 97.5 % point of the normal distribution
  const int decimals = decimals_for(half);
  const double step = std::pow(10.0, -decimals);
  // Doubt larger than a unit of the last place before the point: round both to it.
  const double shown = decimals < 0 ? std::round(value / step) * step : value;
  const double shown_half = decimals < 0 ? std::round(half / step) * step : half;
  return fmt::format("{} {} {}{}", fixed(shown, decimals), plus_minus, fixed(shown_half, decimals),
                     unit_after(unit));
}

std::string odds_in_words(double probability) {
  if (!(probability >= 0.0 && probability <= 1.0)) return "cannot tell";
  if (probability < 0.01) return fmt::format("fewer than 1 in{}100", no_break);
  if (probability > 0.99) return fmt::format("more than 99 in{}100", no_break);
  return fmt::format("{:.0f} in{}100", std::round(probability * 100.0), no_break);
}

std::string shortest(double value) {
  if (value == 0.0) return "0";
  char text[32];
  const auto [end, problem] = std::to_chars(text, text + sizeof text, value);
  require(problem == std::errc(), "every double fits in 32 characters");
  return {text, end};
}

}  // namespace vialwright::quantity
