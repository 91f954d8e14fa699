#include "line/line_file_amount.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>

namespace vialwright::line {
namespace {

constexpr std::string_view digits = "0123456789";

struct Split {
  std::string_view left, right;
};

std::optional<Split> split_at(std::string_view text, std::string_view mark) {
  const auto at = text.find(mark);
  if (at == std::string_view::npos) return std::nullopt;
  return Split{trimmed(text.substr(0, at)), trimmed(text.substr(at + mark.size()))};
}

std::optional<Split> split_at_plus_minus(std::string_view text) {
  if (auto split = split_at(text, "\u00b1")) return split;
  return split_at(text, "+/-");
}

/// Length of the number that a text begins with; a decimal comma belongs to it, so that the
/// complaint names it.
std::size_t number_length(std::string_view text) {
  std::size_t end = 0;
  if (end < text.size() && (text[end] == '-' || text[end] == '+')) ++end;
  end = std::min(text.find_first_not_of("0123456789.,", end), text.size());
  if (end < text.size() && (text[end] == 'e' || text[end] == 'E')) {
    std::size_t power = end + 1;
    if (power < text.size() && (text[power] == '-' || text[power] == '+')) ++power;
    const auto past = std::min(text.find_first_not_of(digits, power), text.size());
    if (past > power) end = past;
  }
  return end;
}

struct Written {
  double number = 0.0;
  std::string_view unit;  ///< empty: none was written
};

Result<Written> number_and_unit(std::string_view text, std::string_view where) {
  const std::size_t length = number_length(text);
  if (length == 0)
    return bad_input("'" + std::string(text.substr(0, 64)) + "' does not begin with a number",
                     std::string(where), "write a number and a unit, such as \"5 mg\"");
  const auto number = quantity::parse_number(text.substr(0, length), where);
  if (!number) return tl::unexpected(number.error());
  return Written{*number, trimmed(text.substr(length))};
}

Result<double> in_unit(const Written& written, std::string_view unit, std::string_view where) {
  if (!written.unit.empty()) return quantity::convert(written.number, written.unit, unit, where);
  if (unit == "1") return written.number;
  return bad_input("'" + quantity::shortest(written.number) + "' has no unit", std::string(where),
                   "write it with its unit, such as \"" + quantity::shortest(written.number) + " " +
                       std::string(unit) + "\"");
}

/// The number of "... (k = 2)" taken off the end of a text.
struct Coverage {
  std::string_view rest;
  std::optional<double> k;
};
Coverage coverage(std::string_view text) {
  const auto open = text.rfind('(');
  if (open == std::string_view::npos || text.back() != ')') return {text, {}};
  const auto equation = split_at(text.substr(open + 1, text.size() - open - 2), "=");
  if (!equation || equation->left != "k") return {text, {}};
  const auto k = quantity::parse_number(equation->right, "");
  if (!k || !(*k > 0.0)) return {text, {}};
  return {trimmed(text.substr(0, open)), *k};
}

/// "value, u doubt" and "value ± doubt", in `unit`. A doubt in % beside a value in another unit is
/// relative to the value; a value without unit takes the doubt's.
Result<Amount> value_and_doubt(const Split& parts, std::string_view unit, std::string_view where) {
  auto value = number_and_unit(parts.left, where);
  if (!value) return tl::unexpected(value.error());
  const auto doubt = number_and_unit(parts.right, where);
  if (!doubt) return tl::unexpected(doubt.error());
  if (value->unit.empty() && doubt->unit != "%") value->unit = doubt->unit;
  const auto converted = in_unit(*value, unit, where);
  if (!converted) return tl::unexpected(converted.error());
  if (doubt->number < 0.0)
    return bad_input("an uncertainty of " + quantity::shortest(doubt->number) + " is below zero",
                     std::string(where), "write it without its sign");
  if (doubt->unit == "%" && value->unit != "%")
    return Amount{*converted, std::abs(*converted) * doubt->number / 100.0};
  const auto width = in_unit(*doubt, unit, where);
  if (!width) return tl::unexpected(width.error());
  return Amount{*converted, *width};
}

/// Splits "0.5 mg/g, u 1 %" at its ", u ".
std::optional<Split> split_at_u(std::string_view text) {
  for (auto comma = text.find(','); comma != std::string_view::npos;
       comma = text.find(',', comma + 1)) {
    const std::string_view after = trimmed(text.substr(comma + 1));
    if (after.size() > 1 && after[0] == 'u' && (after[1] == ' ' || after[1] == '='))
      return Split{trimmed(text.substr(0, comma)), trimmed(after.substr(2))};
  }
  return std::nullopt;
}

Result<Amount> certificate_amount(std::string_view text, std::string_view unit,
                                  std::string_view where) {
  const Coverage cover = coverage(text);
  if (!cover.k)
    return bad_input("'" + std::string(text) + "' does not say what its \u00b1 means",
                     std::string(where),
                     "write one standard uncertainty as \"0.5 mg/g, u 0.005 mg/g\", or an interval "
                     "with its k as \"0.5 \u00b1 0.01 mg/g (k = 2)\"");
  auto amount = value_and_doubt(*split_at_plus_minus(cover.rest), unit, where);
  if (amount) amount->u /= *cover.k;
  return amount;
}

Result<double> plain(std::string_view text, std::string_view unit, std::string_view where) {
  const auto written = number_and_unit(text, where);
  if (!written) return tl::unexpected(written.error());
  return in_unit(*written, unit, where);
}

/// "19.5 to 20.5 g": the first takes the unit of the second where it has none.
Result<recipe::Limits> from_to(const Split& parts, std::string_view unit, std::string_view where) {
  auto low = number_and_unit(parts.left, where);
  if (!low) return tl::unexpected(low.error());
  const auto high = number_and_unit(parts.right, where);
  if (!high) return tl::unexpected(high.error());
  if (low->unit.empty()) low->unit = high->unit;
  const auto from = in_unit(*low, unit, where);
  if (!from) return tl::unexpected(from.error());
  const auto to = in_unit(*high, unit, where);
  if (!to) return tl::unexpected(to.error());
  return recipe::Limits{*from, std::nullopt, *to};
}

Result<recipe::Limits> one_sided(std::string_view text, std::string_view unit,
                                 std::string_view where, bool upper) {
  const auto limit = plain(text, unit, where);
  if (!limit) return tl::unexpected(limit.error());
  if (upper) return recipe::Limits{std::nullopt, std::nullopt, *limit};
  return recipe::Limits{*limit, std::nullopt, std::nullopt};
}

Result<recipe::Limits> limits_alone(std::string_view text, std::string_view unit,
                                    std::string_view where) {
  constexpr std::string_view at_most = "at most ", at_least = "at least ";
  if (text.starts_with(at_most))
    return one_sided(trimmed(text.substr(at_most.size())), unit, where, true);
  if (text.starts_with(at_least))
    return one_sided(trimmed(text.substr(at_least.size())), unit, where, false);
  if (const auto split = split_at_plus_minus(text)) {
    const auto band = value_and_doubt(*split, unit, where);
    if (!band) return tl::unexpected(band.error());
    return recipe::Limits{band->value - band->u, band->value, band->value + band->u};
  }
  if (const auto split = split_at(text, " to ")) return from_to(*split, unit, where);
  return bad_input(
      "'" + std::string(text.substr(0, 64)) + "' sets no limits", std::string(where),
      "write limits as \"20.0 \u00b1 0.3 g\", \"19.7 to 20.3 g\", \"at most 20.3 g\" or "
      "\"at least 19.7 g\"");
}

}  // namespace

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

Result<Amount> read_amount(std::string_view text, std::string_view unit, std::string_view where) {
  text = trimmed(text);
  if (const auto parts = split_at_u(text)) return value_and_doubt(*parts, unit, where);
  if (split_at_plus_minus(text)) return certificate_amount(text, unit, where);
  const auto value = plain(text, unit, where);
  if (!value) return tl::unexpected(value.error());
  return Amount{*value, 0.0};
}

Result<recipe::Limits> read_limits(std::string_view text, std::string_view unit,
                                   std::string_view where) {
  text = trimmed(text);
  std::string_view rest = text;
  std::optional<double> target;
  if (const auto split = split_at(text, ", target ")) {
    const auto aim = plain(split->right, unit, where);
    if (!aim) return tl::unexpected(aim.error());
    target = *aim;
    rest = split->left;
  }
  auto limits = limits_alone(rest, unit, where);
  if (limits && target) limits->target = target;
  return limits;
}

}  // namespace vialwright::line
