// What may not be in a book or a recipe. `where` is the key as the line file spells it, so that
// the reader of a file can turn it into a line and a column.
#include <algorithm>
#include <cmath>
#include <set>
#include <utility>

#include "recipe/checks.hpp"
#include "recipe/colour_problems.hpp"

namespace vialwright::recipe {
namespace {

void check_ids(Problems& found, const auto& things, const std::string& kind) {
  std::set<std::string_view> seen;
  for (const auto& thing : things) {
    Checks checks(found, kind + "." + thing.id);
    if (thing.id.empty()) checks.wrong("", "one " + kind + " has no id", "give each an id");
    if (!seen.insert(thing.id).second)
      checks.wrong("", kind + " '" + thing.id + "' is described twice",
                   "give one of the two another id, or delete it");
  }
}

void check_evaporation(Problems& found, const std::vector<Component>& components) {
  const Component* first = nullptr;
  for (const Component& it : components) {
    if (!it.evaporates) continue;
    if (first != nullptr)
      Checks(found, "component." + it.id)
          .wrong("evaporates", "'" + it.id + "' and '" + first->id + "' both evaporate",
                 "let one component evaporate: the one that an open vial loses");
    else
      first = &it;
  }
}

void check_fade(Problems& found, const Component& it) {
  Checks checks(found, "component." + it.id);
  const std::string key = "fade_per_day";
  if (!checks.between(key, it.fade_per_day, 0.0, 1.0, "a day")) return;
  if (!(it.u_fade_per_day >= 0.0 && it.u_fade_per_day <= 1.0))
    checks.wrong(key, "u of fade_per_day = " + number(it.u_fade_per_day) + " is not in its range",
                 "give its standard uncertainty, such as \"0.2 %, u 0.05 %\"");
  else if (it.evaporates && (it.fade_per_day > 0.0 || it.u_fade_per_day > 0.0))
    checks.wrong(key, "'" + it.id + "' is the solvent, which evaporates and does not fade",
                 "delete the key; what a vial loses goes under open_loss and capped_loss of its "
                 "container");
}

bool is_display_colour(const std::string& text) {
  return text.size() == 7 && text.front() == '#' &&
         text.find_first_not_of("0123456789abcdefABCDEF", 1) == std::string::npos;
}

void check_stock(Problems& found, const Stock& it) {
  Checks checks(found, "stock." + it.id);
  if (checks.between("density", it.density_g_per_ml, 0.1, 25.0, "g/mL") &&
      !(it.u_density_g_per_ml >= 0.0 && it.u_density_g_per_ml < 0.5 * it.density_g_per_ml))
    checks.wrong("density",
                 "u of density = " + number(it.u_density_g_per_ml) +
                     " g/mL is below zero or more "
                     "than half of the density",
                 "give the standard uncertainty of the density, such as \"1.002 g/mL, u 0.001 "
                 "g/mL\"");
  checks.not_negative("price_per_kg", it.price_per_g * 1000.0, "a kg");
  if (!it.display.empty() && !is_display_colour(it.display))
    checks.wrong("display", "'" + it.display + "' is no colour",
                 "write it as #rrggbb, such as \"#f2c200\"");
}

void check_strengths(Checks& checks, const Lot& lot, const Book& book) {
  if (lot.strengths.size() != book.components.size()) {
    checks.wrong("strength",
                 "the lot gives " + std::to_string(lot.strengths.size()) + " strengths for " +
                     std::to_string(book.components.size()) + " components",
                 "give one strength a component");
    return;
  }
  double sum = 0.0, variance = 0.0;
  for (std::size_t k = 0; k < lot.strengths.size(); ++k) {
    const Strength& it = lot.strengths[k];
    const std::string key = "strength." + book.components[k].id;
    if (!checks.between(key, it.mg_per_g, 0.0, 1000.0, "mg/g")) return;
    if (!checks.between(key, it.u_mg_per_g, 0.0, 500.0, "mg/g (u)")) return;
    sum += it.mg_per_g;
    variance += it.u_mg_per_g * it.u_mg_per_g;
  }
  // Strengths come from separate assays, so their sum may pass 1000 by their doubt: three u, and
  // 1e-6 for rounding.
  if (sum > 1000.0 + 3.0 * std::sqrt(variance) + 1e-6)
    checks.wrong("strength",
                 "the strengths sum to " + number(sum) + " mg/g, more than the lot itself",
                 "a gram of stock holds at most 1000 mg: correct the strengths");
}

void check_lot(Problems& found, const Lot& lot, const Book& book) {
  Checks checks(found, "lot." + lot.id);
  if (!in_range(lot.stock, book.stocks))
    checks.wrong("stock", "the lot is of no stock that the book has", "name its stock");
  check_strengths(checks, lot, book);
}

void check_meetings(Problems& found, const Book& book) {
  Checks checks(found, "compatibility");
  for (const MayMeet& pair : book.may_meet) {
    if (!in_range(pair.one, book.stocks) || !in_range(pair.other, book.stocks))
      checks.wrong("may_meet", "a pair names a stock that the book does not have",
                   "name two of the stocks");
  }
}

// ---- one recipe -----------------------------------------------------------------------------

std::string key_of(const Tolerance& line, const Book& book) {
  std::string on(word(line.on));
  const Subject subject = subject_of(line.on);
  if (subject == Subject::component && in_range(line.of, book.components))
    return on + "." + book.components[at(line.of)].id;
  if (subject == Subject::stock && in_range(line.of, book.stocks))
    return on + "." + book.stocks[at(line.of)].id;
  return subject == Subject::colour ? colour_key(line.of) : on;
}

bool subject_exists(const Tolerance& line, const Recipe& recipe, const Book& book) {
  switch (subject_of(line.on)) {
    case Subject::component:
      return in_range(line.of, book.components);
    case Subject::stock:
      return in_range(line.of, book.stocks);
    case Subject::whole:
      return line.of == -1;
    case Subject::colour:
      return in_range(line.of, recipe.colours);
  }
  return false;
}

void check_limits(Checks& checks, const Tolerance& line, const std::string& key) {
  if (line.on == ToleranceOn::colour) return check_colour_limit(checks, line, key);
  const std::string unit(unit_of(line.on));
  if (std::isnan(line.low) || std::isnan(line.high) || !std::isfinite(line.target)) {
    checks.wrong(key, "a limit or the target is no number", "give finite limits in " + unit);
    return;
  }
  if (std::isinf(line.low) && std::isinf(line.high)) {
    checks.wrong(key, "the line bounds nothing", "give a lower limit, an upper limit or both");
    return;
  }
  if ((line.low < 0.0 && std::isfinite(line.low)) || line.high < 0.0)
    checks.wrong(key, "a limit is below 0 " + unit, "no amount is negative: give 0 or more");
  else if (!(line.low < line.high))
    checks.wrong(key,
                 "the lower limit " + number(line.low) + " " + unit +
                     " is not below the upper limit " + number(line.high) + " " + unit,
                 "leave room between the two: no vial meets one exact value");
  else if (line.target < line.low || line.target > line.high || line.target < 0.0)
    checks.wrong(key,
                 "the target " + number(line.target) + " " + unit + " is outside its own limits " +
                     number(line.low) + " to " + number(line.high) + " " + unit,
                 "give a target between the limits");
}

/// The most of a component that a gram of what is permitted can hold, or nullopt where a permitted
/// stock has no lot yet and nobody can say.
std::optional<double> strongest(const Recipe& recipe, const Book& book, int component) {
  double most = 0.0;
  for (const int stock : recipe.stocks) {
    bool known = false;
    for (const Lot& lot : book.lots) {
      if (lot.stock != stock || lot.strengths.size() != book.components.size()) continue;
      known = true;
      most = std::max(most, lot.strengths[at(component)].mg_per_g);
    }
    if (!known) return std::nullopt;
  }
  return most;
}

void check_reachable(Checks& checks, const Recipe& recipe, const Tolerance& line,
                     const std::string& key, const Book& book) {
  if (!(line.low > 0.0)) return;
  if (line.on == ToleranceOn::stock_mass) {
    if (std::ranges::find(recipe.stocks, line.of) == recipe.stocks.end())
      checks.wrong(key,
                   "it asks for stock '" + book.stocks[at(line.of)].id +
                       "', which the recipe does not permit",
                   "add it to the recipe's stocks, or drop the lower limit");
    return;
  }
  if (subject_of(line.on) != Subject::component) return;
  const auto most = strongest(recipe, book, line.of);
  const std::string& id = book.components[at(line.of)].id;
  if (most && *most <= 0.0)
    checks.wrong(key, "it asks for '" + id + "', which no lot of a permitted stock holds",
                 "permit a stock that holds '" + id + "', or drop the lower limit");
  else if (most && line.on == ToleranceOn::content && line.low > *most)
    checks.wrong(key,
                 "it asks for at least " + number(line.low) + " mg/g of '" + id +
                     "', yet the strongest permitted lot holds " + number(*most) + " mg/g",
                 "permit a stronger stock, or lower the limit");
}

void check_permitted(Checks& checks, const Recipe& recipe, const Book& book) {
  if (recipe.stocks.empty())
    checks.wrong("stocks", "the recipe permits no stock", "name the stocks it may be made from");
  std::set<int> seen;
  for (const int stock : recipe.stocks) {
    if (!in_range(stock, book.stocks)) {
      checks.wrong("stocks", "the recipe permits a stock that the book does not have",
                   "name stocks of the book");
      continue;
    }
    const std::string& id = book.stocks[at(stock)].id;
    if (!seen.insert(stock).second) {
      checks.wrong("stocks", "'" + id + "' is named twice", "name each stock once");
      continue;
    }
    for (const int other : seen)
      if (!may_meet(book, stock, other))
        checks.wrong("stocks",
                     "'" + book.stocks[at(other)].id + "' and '" + id +
                         "' are not listed as stocks that may meet in a vial",
                     "permit only one of them; or, if their safety data sheets allow it, add both "
                     "to one list of compatibility.may_meet");
  }
}

void check_tolerances(Checks& checks, const Recipe& recipe, const Book& book) {
  if (recipe.tolerances.empty())
    checks.wrong("", "the recipe has no tolerance line, so every vial would meet it",
                 "give at least one line, such as net_mass");
  std::set<std::pair<ToleranceOn, int>> seen;
  double least_sum = 0.0;
  for (const Tolerance& line : recipe.tolerances) {
    const std::string key = key_of(line, book);
    if (!subject_exists(line, recipe, book)) {
      if (line.on == ToleranceOn::colour)
        checks.wrong(key, "the line limits a colour that the recipe does not give",
                     "give the colour wanted as L*, a* and b*");
      else
        checks.wrong(key, "the line is on something that the book does not have",
                     "name a component, a stock, or nothing where the line is on the whole vial");
      continue;
    }
    if (!seen.insert({line.on, line.of}).second)
      checks.wrong(key, "there are two lines on the " + name_of(line, book),
                   "give one line with both limits");
    check_limits(checks, line, key);
    check_reachable(checks, recipe, line, key, book);
    if (line.on == ToleranceOn::content && line.low > 0.0) least_sum += line.low;
  }
  if (least_sum > 1000.0)
    checks.wrong("content",
                 "the lower limits of all contents sum to " + number(least_sum) + " mg/g",
                 "a gram holds at most 1000 mg: lower them");
}

}  // namespace

Problems problems(const Book& book) {
  Problems found;
  check_ids(found, book.components, "component");
  check_ids(found, book.stocks, "stock");
  check_ids(found, book.lots, "lot");
  check_evaporation(found, book.components);
  for (const Component& it : book.components) {
    check_fade(found, it);
    check_absorptivity(found, it);
  }
  for (const Stock& it : book.stocks) check_stock(found, it);
  for (const Lot& it : book.lots) check_lot(found, it, book);
  check_meetings(found, book);
  return found;
}

Problems problems(const Recipe& recipe, const Book& book) {
  Problems found;
  Checks checks(found, "recipe." + recipe.id);
  if (recipe.id.empty()) checks.wrong("", "the recipe has no id", "give it one");
  if (recipe.version < 1)
    checks.wrong("version", "version " + std::to_string(recipe.version) + " is below 1",
                 "count versions from 1");
  if (recipe.container.empty())
    checks.wrong("container", "the recipe names no container", "name the container it is made in");
  check_tolerances(checks, recipe, book);
  check_permitted(checks, recipe, book);
  check_colours(checks, recipe, book);
  if (recipe.consumer_risk && !(*recipe.consumer_risk > 0.0 && *recipe.consumer_risk < 0.5))
    checks.wrong("consumer_risk",
                 "consumer_risk = " + number(*recipe.consumer_risk) + " is no usable probability",
                 "give a number above 0 and below 0.5");
  checks.not_negative("value", recipe.value, "");
  return found;
}

}  // namespace vialwright::recipe
