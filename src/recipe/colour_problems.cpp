#include "recipe/colour_problems.hpp"

#include <algorithm>

namespace vialwright::recipe {
namespace {

// Of a spectrum of absorptivity, nm. The observers see next to nothing outside.
constexpr double needed_from = 400.0, needed_to = 700.0;

void check_colour(Checks& checks, const ColourTarget& wanted, const std::string& key) {
  constexpr double most_chroma = 200.0, longest_cm = 100.0;
  checks.between(key + ".lab", wanted.lab.l, 0.0, 100.0, "(L*)");
  checks.between(key + ".lab", wanted.lab.a, -most_chroma, most_chroma, "(a*)");
  checks.between(key + ".lab", wanted.lab.b, -most_chroma, most_chroma, "(b*)");
  if (!(wanted.path_cm > 0.0 && wanted.path_cm <= longest_cm))
    checks.wrong(key + ".path", "the path " + number(wanted.path_cm) + " cm is not in its range",
                 "give the thickness of the layer looked through, above 0 and at most " +
                     number(longest_cm) + " cm");
}

bool holds(const Lot& lot, std::size_t component) {
  return component < lot.strengths.size() && lot.strengths[component].mg_per_g > 0.0;
}

/// What fades is taken for a dye: a colour foretold without it would be wrong, and nobody told.
void check_absorbers(Checks& checks, const Recipe& recipe, const Book& book) {
  const auto absorbs = [](const Component& it) { return !it.absorptivity.nm.empty(); };
  if (std::ranges::none_of(book.components, absorbs)) {
    checks.wrong("colour", "no component has an absorptivity, so no colour can be foretold",
                 "give the absorptivity of each dye ([component.ID], from the table of spectra)");
    return;
  }
  for (std::size_t k = 0; k < book.components.size(); ++k) {
    const Component& it = book.components[k];
    if (absorbs(it) || it.fade_per_day <= 0.0) continue;
    const bool used = std::ranges::any_of(book.lots, [&](const Lot& lot) {
      return holds(lot, k) && std::ranges::find(recipe.stocks, lot.stock) != recipe.stocks.end();
    });
    if (used)
      checks.wrong("colour",
                   "'" + it.id + "' fades, so it is taken for a dye, yet it has no absorptivity",
                   "give its absorptivity, or a column of zeros if it has no colour");
  }
}

}  // namespace

void check_absorptivity(Problems& found, const Component& it) {
  Checks checks(found, "component." + it.id);
  const std::string key = "absorptivity";
  checks.between("u_absorptivity", it.u_absorptivity_rel, 0.0, 0.5, "");
  if (it.absorptivity.nm.empty() && it.absorptivity.value.empty()) return;
  Problems of_spectrum = colour::problems(it.absorptivity, "component." + it.id + "." + key);
  if (!of_spectrum.empty()) {
    found.insert(found.end(), of_spectrum.begin(), of_spectrum.end());
    return;
  }
  const colour::Spectrum& spectrum = it.absorptivity;
  for (std::size_t i = 0; i < spectrum.nm.size(); ++i) {
    if (spectrum.value[i] >= 0.0) continue;
    checks.wrong(key,
                 "absorptivity " + number(spectrum.value[i]) + " mL/(mg cm) at " +
                     number(spectrum.nm[i]) + " nm is below zero",
                 "nothing absorbs less than clear solvent: give 0 where the blank is noisy");
    break;  // a noisy blank is below zero in many places: once is enough
  }
  if (spectrum.nm.front() > needed_from || spectrum.nm.back() < needed_to)
    checks.wrong(
        key,
        "it goes from " + number(spectrum.nm.front()) + " to " + number(spectrum.nm.back()) + " nm",
        "cover at least " + number(needed_from) + " to " + number(needed_to) +
            " nm; beyond its ends, up to 380 and 780 nm, the last value is held constant");
  if (it.evaporates)
    checks.wrong(key, "'" + it.id + "' is the solvent, against which all colour is seen",
                 "delete the key: clear solvent is white by definition");
}

std::string colour_key(int index) {
  return index <= 0 ? "colour" : "colour." + std::to_string(index + 1);
}

void check_colour_limit(Checks& checks, const Tolerance& line, const std::string& key) {
  constexpr double most = 20.0;  // CIEDE2000 is made for differences up to about 5
  if (!std::isinf(line.low) || line.target != 0.0)
    checks.wrong(key, "a colour has only an upper limit: how far it may be from the one wanted",
                 "give the largest CIEDE2000 difference alone");
  else if (!(line.high > 0.0 && line.high <= most))
    checks.wrong(key, "the limit " + number(line.high) + " is not in its range",
                 "give the largest CIEDE2000 difference, above 0 and at most " + number(most));
}

void check_colours(Checks& checks, const Recipe& recipe, const Book& book) {
  if (recipe.colours.empty()) return;
  for (std::size_t i = 0; i < recipe.colours.size(); ++i) {
    const int of = static_cast<int>(i);
    check_colour(checks, recipe.colours[i], colour_key(of));
    const bool limited = std::ranges::any_of(recipe.tolerances, [&](const Tolerance& line) {
      return line.on == ToleranceOn::colour && line.of == of;
    });
    if (!limited)
      checks.wrong(colour_key(of), "the colour has no limit, so any colour would do",
                   "give the largest CIEDE2000 difference to it");
  }
  check_absorbers(checks, recipe, book);
  for (const int stock : recipe.stocks)
    if (in_range(stock, book.stocks) && book.stocks[at(stock)].scatters)
      checks.wrong("stocks",
                   "'" + book.stocks[at(stock)].id +
                       "' makes the liquid cloudy, and the colour of a cloudy liquid cannot be "
                       "foretold",
                   "permit stocks that stay clear, or leave the colour out of the recipe");
}

}  // namespace vialwright::recipe
