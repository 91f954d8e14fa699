#include "recipe/recipe.hpp"

#include <algorithm>
#include <array>

namespace vialwright::recipe {
namespace {

template <class Thing>
std::optional<int> index_of(const std::vector<Thing>& things, std::string_view id) {
  const auto found = std::ranges::find(things, id, &Thing::id);
  if (found == things.end()) return std::nullopt;
  return static_cast<int>(found - things.begin());
}

struct Line {
  ToleranceOn on;
  std::string_view word, unit, spoken;
};
constexpr std::array<Line, 7> lines{{
    {ToleranceOn::content, "content", "mg/g", "content of "},
    {ToleranceOn::component_mass, "component_mass", "mg", "mass of "},
    {ToleranceOn::stock_mass, "stock_mass", "g", "dosed mass of "},
    {ToleranceOn::net_mass, "net_mass", "g", "net mass"},
    {ToleranceOn::volume, "volume", "mL", "volume"},
    {ToleranceOn::concentration, "concentration", "mg/mL", "concentration of "},
    {ToleranceOn::colour, "colour", "1", "colour"},
}};

const Line& line_of(ToleranceOn on) {
  const auto found = std::ranges::find(lines, on, &Line::on);
  require(found != lines.end(), "every kind of tolerance line is in the table");
  return *found;
}

std::string called(const auto& things, int of) {
  require(of >= 0 && of < static_cast<int>(things.size()), "a tolerance line names its subject");
  const auto& thing = things[static_cast<std::size_t>(of)];
  return thing.name.empty() ? thing.id : thing.name;
}

}  // namespace

std::optional<int> find_component(const Book& book, std::string_view id) {
  return index_of(book.components, id);
}
std::optional<int> find_stock(const Book& book, std::string_view id) {
  return index_of(book.stocks, id);
}
std::optional<int> find_lot(const Book& book, std::string_view id) {
  return index_of(book.lots, id);
}

bool may_meet(const Book& book, int one, int other) {
  if (one == other) return true;
  return std::ranges::any_of(book.may_meet, [&](const MayMeet& pair) {
    return (pair.one == one && pair.other == other) || (pair.one == other && pair.other == one);
  });
}

Subject subject_of(ToleranceOn on) {
  switch (on) {
    case ToleranceOn::content:
    case ToleranceOn::component_mass:
    case ToleranceOn::concentration:
      return Subject::component;
    case ToleranceOn::stock_mass:
      return Subject::stock;
    case ToleranceOn::net_mass:
    case ToleranceOn::volume:
      return Subject::whole;
    case ToleranceOn::colour:
      return Subject::colour;
  }
  return Subject::whole;
}

std::string name_of(const Tolerance& tolerance, const Book& book) {
  std::string spoken(line_of(tolerance.on).spoken);
  switch (subject_of(tolerance.on)) {
    case Subject::component:
      return spoken + called(book.components, tolerance.of);
    case Subject::stock:
      return spoken + called(book.stocks, tolerance.of);
    case Subject::whole:
      return spoken;
    case Subject::colour:
      return tolerance.of <= 0 ? spoken : spoken + " " + std::to_string(tolerance.of + 1);
  }
  return spoken;
}

std::string_view unit_of(ToleranceOn on) { return line_of(on).unit; }
std::string_view shown_unit(ToleranceOn on) {
  return on == ToleranceOn::colour ? "\u0394E00" : unit_of(on);
}
std::string_view word(ToleranceOn on) { return line_of(on).word; }

std::optional<ToleranceOn> tolerance_on(std::string_view word) {
  const auto found = std::ranges::find(lines, word, &Line::word);
  if (found == lines.end()) return std::nullopt;
  return found->on;
}

Tolerance tolerance(ToleranceOn on, int of, const Limits& limits) {
  Tolerance made;
  made.on = on;
  made.of = of;
  // No mass or volume is below zero: a lower limit of 0 always holds, and must not cost odds where
  // the doubt of a near-zero amount reaches below it.
  if (limits.low && *limits.low != 0.0) made.low = *limits.low;
  if (limits.high) made.high = *limits.high;
  if (limits.target)
    made.target = *limits.target;
  else if (limits.low && limits.high && *limits.low != 0.0)
    made.target = 0.5 * (*limits.low + *limits.high);
  else if (limits.low)
    made.target = *limits.low;
  return made;
}

}  // namespace vialwright::recipe
