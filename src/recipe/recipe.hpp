/// What is made of what: components, stocks, lots, recipes, tolerances. Plain data and its
/// validation. Strengths and contents in mg of component per g.
#pragma once

#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "colour/colour.hpp"
#include "quantity/quantity.hpp"

namespace vialwright::recipe {

inline constexpr double no_limit = std::numeric_limits<double>::infinity();

/// What matters in the product: a dye, a solid, a solvent.
struct Component {
  std::string id, name;
  bool evaporates = false;  ///< at most one does: it is what an open vial loses
  double fade_per_day = 0.0, u_fade_per_day = 0.0;  ///< share lost in a day in a capped vial, 1/d
  /// Decadic absorptivity e, mL/(mg cm): absorbance = path sum_k e_k c_k. Empty: no colour.
  colour::Spectrum absorptivity = {};
  double u_absorptivity_rel = 0.0;  ///< 1, of one scale that the whole spectrum shares
};

struct Stock {
  std::string id, name;
  bool dry = false;
  double density_g_per_ml = 1.0, u_density_g_per_ml = 0.0;  ///< apparent, once in the mixture
  double price_per_g = 0.0;
  std::string display;    ///< "#rrggbb", approximate colour for drawings behind glass; may be empty
  bool scatters = false;  ///< makes the liquid cloudy: the law of absorption does not hold for it
};

struct Strength {
  double mg_per_g = 0.0, u_mg_per_g = 0.0;  ///< mean and standard uncertainty
};

/// One delivery of a stock. `strengths` has one entry a component, in book order.
struct Lot {
  std::string id;
  int stock = 0;  ///< index into Book::stocks
  std::vector<Strength> strengths;
  std::optional<quantity::Instant> expires;
};

enum class ToleranceOn {
  content,         ///< component mass / net mass, mg/g
  component_mass,  ///< mg
  stock_mass,      ///< g, as dosed
  net_mass,        ///< g
  volume,          ///< mL
  concentration,   ///< component mass / volume, mg/mL
  colour,          ///< CIEDE2000 to one of Recipe::colours, 1; only an upper limit
};

/// One tolerance line: low <= value <= high; either side may be infinite.
struct Tolerance {
  ToleranceOn on = ToleranceOn::content;
  int of = -1;  ///< index of component, stock or Recipe::colours; -1 for net mass and volume
  double low = -no_limit, target = 0.0, high = no_limit;
  bool operator==(const Tolerance&) const = default;
};

/// A colour that is wanted: of the liquid alone, a layer of `path_cm` looked through, clear solvent
/// being white.
struct ColourTarget {
  colour::Lab lab;
  colour::Illuminant illuminant = colour::Illuminant::d65;
  colour::Observer observer = colour::Observer::cie1931;
  double path_cm = 1.0;
  bool operator==(const ColourTarget&) const = default;
};

struct Recipe {
  std::string id, name;
  int version = 1;
  std::string container;  ///< id
  std::vector<Tolerance> tolerances;
  std::vector<ColourTarget> colours;    ///< what tolerances on colour mean by `of`
  std::vector<int> stocks;              ///< permitted, indices into Book::stocks
  std::optional<double> consumer_risk;  ///< overrides the line's
  double value = 0.0;  ///< of a good vial of it; 0 = the line's price of a good vial
};

/// Two stocks may meet in a vial only if the list says so; a stock may always meet itself.
struct MayMeet {
  int one = 0, other = 0;
};

struct Book {
  std::vector<Component> components;
  std::vector<Stock> stocks;
  std::vector<Lot> lots;
  std::vector<MayMeet> may_meet;
};

[[nodiscard]] std::optional<int> find_component(const Book& book, std::string_view id);
[[nodiscard]] std::optional<int> find_stock(const Book& book, std::string_view id);
[[nodiscard]] std::optional<int> find_lot(const Book& book, std::string_view id);
[[nodiscard]] bool may_meet(const Book& book, int one, int other);

/// What a line is on, which is what `of` indexes.
enum class Subject { component, stock, whole, colour };
[[nodiscard]] Subject subject_of(ToleranceOn on);

/// The limits of a line as a person writes them; each may be left out.
struct Limits {
  std::optional<double> low, target, high;  ///< in unit_of(on)
};
/// Completes a line: a lower limit of 0 always holds and becomes none; a target left out is the
/// middle of two limits, the lower of one, or 0 under an upper one.
[[nodiscard]] Tolerance tolerance(ToleranceOn on, int of, const Limits& limits);

/// Everything wrong with the book or with one recipe against it; `where` of each names the thing
/// and the key as the line file spells them.
[[nodiscard]] Problems problems(const Book& book);
[[nodiscard]] Problems problems(const Recipe& recipe, const Book& book);

/// "content of teal", "net mass", "colour", "colour 2": how a line is named to a person.
[[nodiscard]] std::string name_of(const Tolerance& tolerance, const Book& book);
[[nodiscard]] std::string_view unit_of(ToleranceOn on);     ///< UCUM code
[[nodiscard]] std::string_view shown_unit(ToleranceOn on);  ///< for people: "ΔE00" of a colour
[[nodiscard]] std::string_view word(ToleranceOn on);
[[nodiscard]] std::optional<ToleranceOn> tolerance_on(std::string_view word);

}  // namespace vialwright::recipe
