#include <fmt/format.h>
#include <cmath>

#include "quantity/quantity.hpp"

namespace vialwright::quantity {
namespace {

constexpr std::int64_t us_per_second = 1'000'000;
constexpr std::int64_t seconds_per_day = 86'400;

/// Days since 1970-01-01 of a proleptic Gregorian date.
/// Source: ISO 8601 calendar rules; the algorithm counts whole 400-year cycles of 146,097 days.
std::int64_t days_from_civil(std::int64_t year, std::int64_t month, std::int64_t day) {
  const std::int64_t shifted = month <= 2 ? year - 1 : year;  // years begin in March
  const std::int64_t cycle = shifted / 400;
  const std::int64_t year_of_cycle = shifted - cycle * 400;
  const std::int64_t day_of_year = (153 * (month > 2 ? month - 3 : month + 9) + 2) / 5 + day - 1;
  const std::int64_t day_of_cycle =
      year_of_cycle * 365 + year_of_cycle / 4 - year_of_cycle / 100 + day_of_year;
  return cycle * 146'097 + day_of_cycle - 719'468;
}

struct Civil {
  std::int64_t year, month, day;
};

Civil civil_from_days(std::int64_t days) {
  const std::int64_t since_march = days + 719'468;
  const std::int64_t cycle = since_march / 146'097;
  const std::int64_t day_of_cycle = since_march - cycle * 146'097;
  const std::int64_t year_of_cycle =
      (day_of_cycle - day_of_cycle / 1460 + day_of_cycle / 36'524 - day_of_cycle / 146'096) / 365;
  const std::int64_t day_of_year =
      day_of_cycle - (365 * year_of_cycle + year_of_cycle / 4 - year_of_cycle / 100);
  const std::int64_t month_from_march = (5 * day_of_year + 2) / 153;
  const std::int64_t day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
  const std::int64_t month = month_from_march < 10 ? month_from_march + 3 : month_from_march - 9;
  return {cycle * 400 + year_of_cycle + (month <= 2 ? 1 : 0), month, day};
}

std::int64_t days_in_month(std::int64_t year, std::int64_t month) {
  constexpr std::int64_t days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  return month == 2 && leap ? 29 : days[month - 1];
}

/// Reads a text from the left; any failure sticks.
class Reader {
 public:
  explicit Reader(std::string_view text) : text_(text) {}

  std::int64_t digits(std::size_t count) {
    std::int64_t value = 0;
    for (std::size_t i = 0; i < count; ++i) {
      if (at_ >= text_.size() || text_[at_] < '0' || text_[at_] > '9') return fail();
      value = value * 10 + (text_[at_++] - '0');
    }
    return value;
  }
  void expect(char upper, char lower) {
    if (at_ < text_.size() && (text_[at_] == upper || text_[at_] == lower)) {
      ++at_;
    } else {
      fail();
    }
  }
  bool take(char c) {
    if (at_ >= text_.size() || text_[at_] != c) return false;
    ++at_;
    return true;
  }
  bool digit_next() const { return at_ < text_.size() && text_[at_] >= '0' && text_[at_] <= '9'; }
  std::int64_t fail() {
    good_ = false;
    return 0;
  }
  bool done() const { return good_ && at_ == text_.size(); }

 private:
  std::string_view text_;
  std::size_t at_ = 0;
  bool good_ = true;
};

/// Fraction of a second in microseconds: one to nine digits, cut after the sixth.
std::int64_t fraction(Reader& reader) {
  std::int64_t value = 0;
  int count = 0;
  for (; reader.digit_next(); ++count) {
    const std::int64_t digit = reader.digits(1);
    if (count < 6) value = value * 10 + digit;
  }
  if (count == 0 || count > 9) reader.fail();
  for (; count < 6; ++count) value *= 10;
  return value;
}

/// "Z", "+01:00" or "-05:30" as seconds east of UTC.
std::int64_t offset_s(Reader& reader) {
  if (reader.take('Z') || reader.take('z')) return 0;
  const bool west = reader.take('-');
  if (!west) reader.expect('+', '+');
  const std::int64_t hours = reader.digits(2);
  reader.expect(':', ':');
  const std::int64_t minutes = reader.digits(2);
  if (hours > 23 || minutes > 59) reader.fail();
  const std::int64_t east = hours * 3600 + minutes * 60;
  return west ? -east : east;
}

}  // namespace

Instant later_by(Instant from, double seconds) { return {from.us + std::llround(seconds * 1e6)}; }

Result<Instant> parse_instant(std::string_view text, std::string_view where) {
  Reader reader(text);
  const std::int64_t year = reader.digits(4);
  reader.expect('-', '-');
  const std::int64_t month = reader.digits(2);
  reader.expect('-', '-');
  const std::int64_t day = reader.digits(2);
  reader.expect('T', 't');
  const std::int64_t hour = reader.digits(2);
  reader.expect(':', ':');
  const std::int64_t minute = reader.digits(2);
  reader.expect(':', ':');
  const std::int64_t second = reader.digits(2);
  const std::int64_t part_us = reader.take('.') ? fraction(reader) : 0;
  const std::int64_t east_s = offset_s(reader);
  const bool date_holds =
      year >= 1970 && month >= 1 && month <= 12 && day >= 1 && day <= days_in_month(year, month);
  // A leap second (60) is taken as the first moment of the next minute, as POSIX time has it.
  const bool time_holds = hour <= 23 && minute <= 59 && second <= 60;
  if (!reader.done() || !date_holds || !time_holds) {
    return bad_input(fmt::format("'{}' is not a time", text.substr(0, 64)), std::string(where),
                     "write RFC 3339 with an offset, such as 2026-11-25T14:34:05.120Z");
  }
  const std::int64_t seconds = days_from_civil(year, month, day) * seconds_per_day + hour * 3600 +
                               minute * 60 + second - east_s;
  return Instant{seconds * us_per_second + part_us};
}

std::string to_text(Instant instant) {
  const auto floor_div = [](std::int64_t a, std::int64_t b) { return a / b - (a % b < 0 ? 1 : 0); };
  const std::int64_t seconds = floor_div(instant.us, us_per_second);
  const std::int64_t part_us = instant.us - seconds * us_per_second;
  const std::int64_t days = floor_div(seconds, seconds_per_day);
  const std::int64_t of_day = seconds - days * seconds_per_day;
  const Civil date = civil_from_days(days);
  const std::string whole =
      fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}", date.year, date.month, date.day,
                  of_day / 3600, of_day / 60 % 60, of_day % 60);
  return part_us % 1000 == 0 ? fmt::format("{}.{:03}Z", whole, part_us / 1000)
                             : fmt::format("{}.{:06}Z", whole, part_us);
}

}  // namespace vialwright::quantity
