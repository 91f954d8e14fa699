#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <string>

#include <fmt/format.h>

#include "quantity/quantity.hpp"

namespace vialwright::quantity {
namespace {

/// Exponents of the base dimensions.
struct Dimension {
  int mass = 0, length = 0, time = 0, temperature = 0;
  bool operator==(const Dimension&) const = default;
};

/// value in SI = value * multiple / divisor * 10^power + offset. Kept apart because 1e-3 / 1e-6 is
/// not 1000 in binary: whole numbers and exact powers of ten lose nothing.
struct Unit {
  std::string_view code;
  Dimension dimension;
  int power;
  double multiple = 1.0;
  double divisor = 1.0;
  double offset = 0.0;
};

constexpr Dimension ratio{}, mass{1, 0, 0, 0}, length{0, 1, 0, 0}, duration{0, 0, 1, 0},
    temperature{0, 0, 0, 1}, volume{0, 3, 0, 0}, density{1, -3, 0, 0}, mass_flow{1, 0, -1, 0},
    volume_flow{0, 3, -1, 0}, pressure{1, -1, -2, 0}, energy{1, 2, -2, 0};

// Source: UCUM 2.1, tables 2, 3 and 5; the spellings are its case-sensitive codes.
constexpr std::array units = {
    Unit{"1", ratio, 0},
    Unit{"%", ratio, -2},
    Unit{"[ppth]", ratio, -3},
    Unit{"[ppm]", ratio, -6},
    Unit{"g/g", ratio, 0},
    Unit{"mg/g", ratio, -3},
    Unit{"g/kg", ratio, -3},
    Unit{"ug/g", ratio, -6},
    Unit{"mg/kg", ratio, -6},
    Unit{"kg", mass, 0},
    Unit{"g", mass, -3},
    Unit{"mg", mass, -6},
    Unit{"ug", mass, -9},
    Unit{"L", volume, -3},
    Unit{"l", volume, -3},
    Unit{"mL", volume, -6},
    Unit{"ml", volume, -6},
    Unit{"uL", volume, -9},
    Unit{"cm3", volume, -6},
    Unit{"m3", volume, 0},
    Unit{"m", length, 0},
    Unit{"cm", length, -2},
    Unit{"mm", length, -3},
    Unit{"um", length, -6},
    Unit{"nm", length, -9},
    Unit{"s", duration, 0},
    Unit{"ms", duration, -3},
    Unit{"us", duration, -6},
    Unit{"min", duration, 0, 60.0},
    Unit{"h", duration, 0, 3600.0},
    Unit{"d", duration, 0, 86400.0},
    Unit{"K", temperature, 0},
    Unit{"Cel", temperature, 0, 1.0, 1.0, 273.15},
    Unit{"kg/m3", density, 0},
    Unit{"g/mL", density, 3},
    Unit{"g/cm3", density, 3},
    Unit{"g/L", density, 0},
    Unit{"mg/mL", density, 0},
    Unit{"mg/L", density, -3},
    Unit{"g/s", mass_flow, -3},
    Unit{"mg/s", mass_flow, -6},
    Unit{"g/min", mass_flow, -3, 1.0, 60.0},
    Unit{"g/h", mass_flow, -3, 1.0, 3600.0},
    Unit{"mg/h", mass_flow, -6, 1.0, 3600.0},
    Unit{"mg/d", mass_flow, -6, 1.0, 86400.0},
    Unit{"kg/h", mass_flow, 0, 1.0, 3600.0},
    Unit{"mL/s", volume_flow, -6},
    Unit{"mL/min", volume_flow, -6, 1.0, 60.0},
    Unit{"mL/h", volume_flow, -6, 1.0, 3600.0},
    Unit{"uL/s", volume_flow, -9},
    Unit{"Pa", pressure, 0},
    Unit{"hPa", pressure, 2},
    Unit{"kPa", pressure, 3},
    Unit{"mbar", pressure, 2},
    Unit{"bar", pressure, 5},
    Unit{"J", energy, 0},
    Unit{"kJ", energy, 3},
    Unit{"W.h", energy, 0, 3600.0},
    Unit{"kW.h", energy, 3, 3600.0},
};

const Unit* find_unit(std::string_view code) {
  const auto* found = std::find_if(units.begin(), units.end(),
                                   [code](const Unit& unit) { return unit.code == code; });
  return found == units.end() ? nullptr : found;
}

tl::unexpected<Error> unknown_unit(std::string_view code, std::string_view where) {
  const std::string_view close = nearest(code, known_units());
  return bad_input(fmt::format("unit '{}' is not known", code), std::string(where),
                   close.empty()
                       ? "write a UCUM code such as g, mg, mL, mg/g, Cel, hPa, s (docs/formats.md)"
                       : fmt::format("did you mean '{}'? units are UCUM codes", close));
}

/// Powers of ten up to 22 are exact doubles, so this rounds once.
double times_power_of_ten(double value, int power) {
  constexpr std::array powers = {1.0, 1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7, 1e8,
                                 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16};
  const double size = powers[static_cast<std::size_t>(std::abs(power))];
  return power < 0 ? value / size : value * size;
}

std::string same_dimension(const Dimension& dimension) {
  std::string list;
  for (const Unit& unit : units) {
    if (!(unit.dimension == dimension)) continue;
    if (!list.empty()) list += ", ";
    list += unit.code;
  }
  return list;
}

/// Optimal string alignment distance: insert, delete, replace, swap neighbours each cost one.
std::size_t distance(std::string_view a, std::string_view b) {
  const std::size_t width = b.size() + 1;
  std::vector<std::size_t> table((a.size() + 1) * width);
  const auto at = [&](std::size_t i, std::size_t j) -> std::size_t& {
    return table[i * width + j];
  };
  for (std::size_t i = 0; i <= a.size(); ++i) at(i, 0) = i;
  for (std::size_t j = 0; j <= b.size(); ++j) at(0, j) = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t replaced = at(i - 1, j - 1) + (a[i - 1] == b[j - 1] ? 0 : 1);
      at(i, j) = std::min({at(i - 1, j) + 1, at(i, j - 1) + 1, replaced});
      const bool swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
      if (swapped) at(i, j) = std::min(at(i, j), at(i - 2, j - 2) + 1);
    }
  }
  return at(a.size(), b.size());
}

}  // namespace

Result<double> convert(double value, std::string_view from, std::string_view to,
                       std::string_view where) {
  const Unit* source = find_unit(from);
  if (source == nullptr) return unknown_unit(from, where);
  const Unit* target = find_unit(to);
  require(target != nullptr, "the program converts to units it knows");
  if (!std::isfinite(value)) {
    return bad_input("the value is not a finite number", std::string(where),
                     "write a decimal number such as 12.345");
  }
  if (!(source->dimension == target->dimension)) {
    return bad_input(fmt::format("unit '{}' does not fit here, {} is wanted", from, to),
                     std::string(where), "use one of " + same_dimension(target->dimension));
  }
  if (source == target) return value;
  const bool shift = source->offset != target->offset;
  const double from_zero = shift ? value + source->offset : value;
  const double scaled =
      from_zero * (source->multiple * target->divisor) / (source->divisor * target->multiple);
  const double moved = times_power_of_ten(scaled, source->power - target->power);
  const double converted = shift ? moved - target->offset : moved;
  if (!std::isfinite(converted)) {
    return bad_input(fmt::format("{} {} is too large", value, from), std::string(where),
                     "write an amount that a vial or a line can have");
  }
  return converted;
}

std::vector<std::string_view> known_units() {
  std::vector<std::string_view> codes;
  codes.reserve(units.size());
  for (const Unit& unit : units) codes.push_back(unit.code);
  return codes;
}

std::string_view nearest(std::string_view word, const std::vector<std::string_view>& known) {
  if (word.size() > 64) return {};  // nothing we know is nearly as long
  std::string_view best;
  std::size_t best_distance = 3;
  for (const std::string_view candidate : known) {
    const std::size_t d = distance(word, candidate);
    // A suggestion must share more than it changes: "x" is not "g" mistyped.
    if (d < best_distance && d < std::max(word.size(), candidate.size())) {
      best = candidate;
      best_distance = d;
    }
  }
  return best;
}

}  // namespace vialwright::quantity
