// What plant and book must be for each other; each alone is checked in its own module.
#include <algorithm>
#include <cmath>
#include <set>

#include "line/line_file.hpp"
#include "line/line_file_findings.hpp"
#include "line/line_file_raw.hpp"

namespace vialwright::line {
namespace {

using quantity::shortest;

void wrong(Problems& found, std::string where, std::string what, std::string mend) {
  found.push_back({Error::Kind::bad_input, std::move(what), std::move(where), std::move(mend)});
}

void check_stock_exists(Problems& found, const std::string& id, const std::string& where,
                        const recipe::Book& book) {
  if (!recipe::find_stock(book, id))
    wrong(found, where, "there is no stock '" + id + "'",
          did_you_mean(id, ids_of(book.stocks), "stock"));
}

void check_not_empty(Problems& found, bool empty, const std::string& kind,
                     const std::string& example) {
  if (empty)
    wrong(found, kind, "the line has no " + kind,
          "describe at least one under [" + kind + "." + example + "]");
}

/// What an open vial loses must be something.
void check_evaporation(Problems& found, const LineFile& line) {
  if (std::ranges::any_of(line.book.components, &recipe::Component::evaporates)) return;
  for (const plant::Container& it : line.plant.containers)
    if (it.open_loss_g_per_h > 0.0 || it.capped_loss_g_per_h > 0.0)
      wrong(found, "container." + it.id + ".open_loss",
            "the container loses liquid, yet no component evaporates",
            "write evaporates = true under the component that is lost");
}

/// The least mass and volume that the lines ask for.
struct Least {
  double mass_g = 0.0, volume_ml = 0.0;
};
Least least_fill(const recipe::Recipe& recipe, const recipe::Book& book) {
  Least least;
  double densest = 0.0;
  for (const int stock : recipe.stocks)
    densest = std::max(densest, book.stocks[static_cast<std::size_t>(stock)].density_g_per_ml);
  for (const recipe::Tolerance& line : recipe.tolerances) {
    if (!std::isfinite(line.low)) continue;
    if (line.on == recipe::ToleranceOn::net_mass) least.mass_g = std::max(least.mass_g, line.low);
    if (line.on == recipe::ToleranceOn::volume)
      least.volume_ml = std::max(least.volume_ml, line.low);
  }
  if (densest > 0.0) least.volume_ml = std::max(least.volume_ml, least.mass_g / densest);
  return least;
}

void check_fits(Problems& found, const recipe::Recipe& recipe, const plant::Container& container,
                const recipe::Book& book) {
  const Least least = least_fill(recipe, book);
  const std::string where = "recipe." + recipe.id + (least.mass_g > 0.0 ? ".net_mass" : ".volume");
  if (least.mass_g > container.largest_fill_g)
    wrong(found, where,
          "it asks for at least " + shortest(least.mass_g) + " g, yet container '" + container.id +
              "' takes at most " + shortest(container.largest_fill_g) + " g",
          "ask for less, or name a larger container");
  else if (least.volume_ml > container.largest_fill_ml)
    wrong(found, where,
          "it asks for at least " + shortest(least.volume_ml) + " mL, yet container '" +
              container.id + "' takes at most " + shortest(container.largest_fill_ml) + " mL",
          "ask for less, or name a larger container");
}

void check_versions(Problems& found, const std::vector<recipe::Recipe>& recipes) {
  std::set<std::pair<std::string_view, int>> seen;
  for (const recipe::Recipe& it : recipes)
    if (!seen.insert({it.id, it.version}).second)
      wrong(found, "recipe." + it.id,
            "recipe '" + it.id + "' version " + std::to_string(it.version) + " is given twice",
            "give the newer one a higher version");
}

}  // namespace

Problems problems(const recipe::Recipe& recipe, const LineFile& line) {
  Problems found = recipe::problems(recipe, line.book);
  if (recipe.container.empty()) return found;
  const auto container = plant::find_container(line.plant, recipe.container);
  if (!container)
    wrong(found, "recipe." + recipe.id + ".container",
          "there is no container '" + recipe.container + "'",
          did_you_mean(recipe.container, ids_of(line.plant.containers), "container"));
  else if (found.empty())
    check_fits(found, recipe, line.plant.containers[static_cast<std::size_t>(*container)],
               line.book);
  return found;
}

Problems problems(const LineFile& line) {
  Problems found = plant::problems(line.plant);
  const auto add = [&found](Problems more) { found.insert(found.end(), more.begin(), more.end()); };
  add(recipe::problems(line.book));
  check_not_empty(found, line.book.components.empty(), "component", "water");
  check_not_empty(found, line.book.stocks.empty(), "stock", "base");
  check_not_empty(found, line.plant.containers.empty(), "container", "vial20");
  for (const plant::Station& it : line.plant.stations)
    for (const std::string& stock : it.stocks)
      check_stock_exists(found, stock, "station." + it.id + ".stocks", line.book);
  for (const plant::Tank& it : line.plant.tanks)
    if (!it.stock.empty())
      check_stock_exists(found, it.stock, "tank." + it.id + ".stock", line.book);
  check_evaporation(found, line);
  check_versions(found, line.recipes);
  for (const recipe::Recipe& it : line.recipes) add(problems(it, line));
  return found;
}

}  // namespace vialwright::line
