/// How problems of a plant are collected. Private to plant.
#pragma once

#include <cmath>
#include <string>
#include <string_view>
#include <utility>

#include "plant/plant.hpp"

namespace vialwright::plant {

/// Collects the problems of one thing, such as "instrument.bench".
class Checks {
 public:
  Checks(Problems& found, std::string thing) : found_(found), thing_(std::move(thing)) {}

  void wrong(std::string_view key, std::string what, std::string mend) {
    const std::string where = key.empty() ? thing_ : thing_ + "." + std::string(key);
    found_.push_back({Error::Kind::bad_input, std::move(what), where, std::move(mend)});
  }

  /// @returns whether low <= value <= high; an infinite value passes only where high is infinite.
  bool between(std::string_view key, double value, double low, double high, std::string_view unit) {
    if (value >= low && value <= high) return true;  // NaN fails both
    wrong(key_of(key), spoken(key, value, unit) + " is not in its range",
          "give a value " + range(low, high, unit));
    return false;
  }

  bool positive(std::string_view key, double value, std::string_view unit) {
    if (value > 0.0 && std::isfinite(value)) return true;
    wrong(key, spoken(key, value, unit) + " is not above zero",
          "give a value above 0" + spaced(unit));
    return false;
  }

  bool not_negative(std::string_view key, double value, std::string_view unit) {
    if (value >= 0.0 && std::isfinite(value)) return true;
    wrong(key_of(key), spoken(key, value, unit) + " is below zero or no finite number",
          "give 0" + spaced(unit) + " or more");
    return false;
  }

  /// A probability strictly between 0 and a limit.
  void odds(std::string_view key, double value, double below) {
    if (value > 0.0 && value < below) return;
    wrong(key, spoken(key, value, "") + " is no usable probability",
          "give a number above 0 and below " + quantity::shortest(below));
  }

 private:
  /// An uncertainty stands in the file beside its value: "u of tare" under `tare`.
  static std::string_view key_of(std::string_view spoken) {
    return spoken.starts_with(u_of) ? spoken.substr(u_of.size()) : spoken;
  }
  static std::string spaced(std::string_view unit) {
    return unit.empty() ? std::string() : " " + std::string(unit);
  }
  static std::string number(double value) {
    if (std::isnan(value)) return "NaN";
    if (std::isinf(value)) return value > 0 ? "infinity" : "-infinity";
    return quantity::shortest(value);
  }
  static std::string spoken(std::string_view key, double value, std::string_view unit) {
    return std::string(key) + " = " + number(value) + spaced(unit);
  }
  static std::string range(double low, double high, std::string_view unit) {
    if (std::isinf(high)) return "of at least " + number(low) + spaced(unit);
    return "from " + number(low) + " to " + number(high) + spaced(unit);
  }

  static constexpr std::string_view u_of = "u of ";
  Problems& found_;
  std::string thing_;
};

}  // namespace vialwright::plant
