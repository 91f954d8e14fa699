/// How the liquids of a world absorb and how they look, on a grid of their own. Private.
///
/// The estimator knows each component by one spectrum with one scale. Here every lot has its own:
/// another scale, bands a little aside and a little broader.
#pragma once

#include <vector>

#include "colour/colour.hpp"
#include "recipe/recipe.hpp"
#include "twin/random.hpp"

namespace vialwright::twin {

inline constexpr colour::Grid fine{360.0, 780.0, 1.0};
using Curve = std::vector<double>;  ///< values on `fine`; empty = zero everywhere

/// A component as one lot has it.
struct Dye {
  double scale = 1.0, shift_nm = 0.0;
  Curve absorptivity;  ///< mL/(mg cm)
};

/// The part of a component's departure that all its lots share: standard scores.
struct SharedDye {
  double scale = 0.0, shift = 0.0;
};
[[nodiscard]] SharedDye draw_shared_dye(Random& random, double hardness);
[[nodiscard]] Dye draw_dye(const recipe::Component& told, const SharedDye& shared, Random& random,
                           double hardness);

/// Straight between the nodes; the ends hold beyond.
[[nodiscard]] double value_at(const Curve& curve, double nm);
void add(Curve& sum, const Curve& more, double factor);

/// Share of the light that passes a layer. An empty curve absorbs nothing.
[[nodiscard]] Curve transmittance(const Curve& absorbance_per_cm, double path_cm);

/// What a curve of transmittance looks like; clear solvent is white.
[[nodiscard]] colour::Lab looks(const Curve& transmittance, colour::Observer observer,
                                colour::Illuminant illuminant);

/// A smooth spectrum that nobody knows, 1 at its highest: one to three lopsided bands. No mix of
/// the book's components comes near it: what the nearest leaves over is at least 0.4 of it (root
/// mean square, 400 to 700 nm).
[[nodiscard]] Curve unknown_colourant(const recipe::Book& book, Random& random);

}  // namespace vialwright::twin
