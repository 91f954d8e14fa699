#include "report/words.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <array>
#include <cmath>

namespace vialwright::report {
namespace {

constexpr const char* minus = "\u2212";
constexpr const char* no_break = "\u00A0";

template <class Things>
const std::string& name_in(const Things& things, int index) {
  const auto& thing = things[static_cast<std::size_t>(index)];
  return thing.name.empty() ? thing.id : thing.name;
}

/// Decimals that show the doubt in two digits when they begin with 1 or 2, else in one.
int decimals_for(double half) {
  if (!(half > 0.0)) return 3;
  const int two_digits = 1 - static_cast<int>(std::floor(std::log10(half)));
  const bool two = std::round(half * std::pow(10.0, two_digits)) < 30.0;
  return std::clamp(two ? two_digits : two_digits - 1, 0, 12);
}

}  // namespace

const std::vector<decide::Disposition>& dispositions() {
  using enum decide::Disposition;
  static const std::vector<decide::Disposition> order = {release, measure_again, rework,
                                                         hold,    scrap,         open};
  return order;
}

std::string grouped(std::uint64_t number) {
  std::string digits = std::to_string(number);
  for (int at = static_cast<int>(digits.size()) - 3; at > 0; at -= 3) {
    digits.insert(static_cast<std::size_t>(at), ",");
  }
  return digits;
}

std::string counted(std::uint64_t number, const std::string& one, const std::string& many) {
  return grouped(number) + no_break + (number == 1 ? one : many);
}

std::string limits(const recipe::Tolerance& tolerance) {
  const std::string unit = no_break + std::string(recipe::shown_unit(tolerance.on));
  const std::string low = plain(tolerance.low);
  const std::string high = plain(tolerance.high);
  const bool has_low = std::isfinite(tolerance.low), has_high = std::isfinite(tolerance.high);
  if (has_low && has_high) return low + " to " + high + unit;
  if (has_low) return "at least " + low + unit;
  return has_high ? "at most " + high + unit : "no limit";
}

std::string plain(double value) {
  if (value == 0.0 || !std::isfinite(value)) return "0";
  const int decimals = 5 - static_cast<int>(std::floor(std::log10(std::abs(value))));
  std::string text = fmt::format("{:.{}f}", std::abs(value), std::clamp(decimals, 0, 12));
  if (text.find('.') != std::string::npos) text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return (value < 0.0 ? minus : "") + text;
}

std::string value_of(const conformity::LineReport& report, std::string_view unit) {
  if (report.u > 0.0) return quantity::with_doubt(report.value, report.u, unit);
  return plain(report.value) + no_break + std::string(unit);
}

std::string amount(double mean, double u, std::string_view unit) {
  if (!std::isfinite(mean) || !std::isfinite(u)) return "cannot tell";
  const contents::Interval interval = contents::interval_95(mean, u);
  if (interval.lower > 0.0 || u <= 0.0) return quantity::with_doubt(mean, u, unit);
  return fmt::format("at most {:.{}f}{}{}", interval.upper, decimals_for(interval.upper / 2.0),
                     no_break, unit);
}

std::string interval(double mean, double u, std::string_view unit) {
  if (!std::isfinite(mean) || !std::isfinite(u)) return "cannot tell";
  const contents::Interval found = contents::interval_95(mean, u);
  const int decimals = decimals_for((found.upper - found.lower) / 2.0);
  return fmt::format("{:.{}f} to {:.{}f}{}{}", found.lower, decimals, found.upper, decimals,
                     no_break, unit);
}

std::string pull(const contents::ReadingReport& report) {
  if (report.standardised == 0.0 && report.share >= 0.999) return "decides alone";
  const double shown = std::round(report.standardised * 10.0) / 10.0;
  const char* sign = shown > 0.0 ? "+" : shown < 0.0 ? minus : "";
  return fmt::format("{}{:.1f}{}u", sign, std::abs(shown), no_break);
}

std::string money(double amount, const plant::Prices& prices) {
  const bool below = amount <= -0.005;
  return fmt::format("{}{:.2f}{}{}", below ? minus : "", std::abs(amount), no_break, prices.unit);
}

std::string over_scrapping(double worth, const plant::Prices& prices) {
  return money(worth + prices.scrap, prices);
}

std::string day_and_time(quantity::Instant instant) {
  const std::string text = quantity::to_text(instant);  // 2026-11-25T12:00:05.000Z
  return text.substr(0, 10) + no_break + text.substr(11, 8) + no_break + "UTC";
}

std::string to_the_minute(quantity::Instant instant) {
  const std::string text = day_and_time(instant);
  return text.substr(0, text.rfind(':')) + " UTC";
}

std::string time_of_day(quantity::Instant instant) {
  return quantity::to_text(instant).substr(11, 5) + no_break + "UTC";
}

std::string span_of(double seconds) {
  if (seconds < 120.0) return fmt::format("{:.0f}{}s", seconds, no_break);
  if (seconds < 7200.0) return fmt::format("{:.0f}{}min", seconds / 60.0, no_break);
  return fmt::format("{:.1f}{}h", seconds / 3600.0, no_break);
}

const std::string& stock_name(int stock, const line::State& state) {
  return name_in(state.book.stocks, stock);
}

const std::string& component_name(int component, const line::State& state) {
  return name_in(state.book.components, component);
}

std::string recipe_name(const std::string& id, const line::State& state) {
  const recipe::Recipe* found = line::find_recipe(state, id);
  return found == nullptr || found->name.empty() ? id : found->name;
}

std::string additions(const topup::Topup& topup, const line::State& state) {
  std::string text;
  for (const topup::Addition& addition : topup.additions) {
    text += fmt::format("{}{:.3f}{}g {}", text.empty() ? "" : ", then ", addition.amount_g,
                        no_break, stock_name(addition.stock, state));
  }
  return text.empty() ? "nothing" : text;
}

std::string_view word(topup::Outcome outcome) {
  switch (outcome) {
    case topup::Outcome::found:
      return "found";
    case topup::Outcome::nothing_needed:
      return "nothing: on paper it meets the recipe";
    case topup::Outcome::not_permitted:
      return "not permitted";
    case topup::Outcome::impossible:
      break;
  }
  return "impossible";
}

std::string reading_name(int reading, const decide::Decision& decision) {
  const auto at = static_cast<std::size_t>(reading);
  if (at >= decision.readings.size()) return "a reading";
  return fmt::format("{} ({})", decision.readings[at].label, decision.readings[at].instrument);
}

std::string odds(const conformity::Probability& probability) {
  return quantity::odds_in_words(probability.value);
}

std::string odds(const topup::Topup& topup) {
  const bool has =
      topup.outcome == topup::Outcome::found || topup.outcome == topup::Outcome::nothing_needed;
  return has ? odds(topup.odds) : "\u2013";
}

std::string odds(const outcomes::Corrected& corrected) {
  // The ends of an interval follow the rule for probabilities: never 0 or 100 in 100.
  const auto end = [](double share) {
    if (share > 0.99) return std::string("more than 99");
    return share < 0.01 ? std::string("fewer than 1") : fmt::format("{:.0f}", 100.0 * share);
  };
  const std::string low = end(corrected.low), high = end(corrected.high);
  std::string mean = quantity::odds_in_words(corrected.odds);
  if (low == high) return mean;
  return fmt::format("{} ({} to {})", mean, low, high);
}

}  // namespace vialwright::report
