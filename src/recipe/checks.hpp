/// How problems of books and recipes are collected. Private to recipe.
#pragma once

#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "recipe/recipe.hpp"

namespace vialwright::recipe {

[[nodiscard]] inline std::size_t at(int index) { return static_cast<std::size_t>(index); }

[[nodiscard]] bool in_range(int index, const auto& things) {
  return index >= 0 && index < static_cast<int>(things.size());
}

[[nodiscard]] inline std::string number(double value) {
  if (std::isnan(value)) return "NaN";
  if (std::isinf(value)) return value > 0 ? "infinity" : "-infinity";
  return quantity::shortest(value);
}

/// Collects the problems of one thing, such as "stock.teal".
class Checks {
 public:
  Checks(Problems& found, std::string thing) : found_(found), thing_(std::move(thing)) {}

  void wrong(const std::string& key, std::string what, std::string mend) {
    found_.push_back({Error::Kind::bad_input, std::move(what),
                      key.empty() ? thing_ : thing_ + "." + key, std::move(mend)});
  }

  bool between(const std::string& key, double value, double low, double high,
               const std::string& unit) {
    if (value >= low && value <= high) return true;  // NaN fails both
    wrong(key, key + " = " + number(value) + " " + unit + " is not in its range",
          "give a value from " + number(low) + " to " + number(high) + " " + unit);
    return false;
  }

  bool not_negative(const std::string& key, double value, const std::string& unit) {
    if (value >= 0.0 && std::isfinite(value)) return true;
    wrong(key, key + " = " + number(value) + " " + unit + " is below zero or no finite number",
          "give 0 " + unit + " or more");
    return false;
  }

 private:
  Problems& found_;
  std::string thing_;
};

}  // namespace vialwright::recipe
