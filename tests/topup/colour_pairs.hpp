/// Random pairs of a vial and a recipe for a colour. Invented.
#pragma once

#include <algorithm>
#include <cmath>

#include "topup/colour_d0.hpp"
#include "topup/pairs.hpp"

namespace vialwright::topup::testing {

/// The colour of a liquid by a plain loop over the spectrum: mg/mL of each component, its
/// absorptivity off by a share.
inline colour::Lab seen(const recipe::Book& book, const recipe::ColourTarget& target,
                        const std::vector<double>& mg_per_ml, const std::vector<double>& off) {
  const colour::Weights& weights = colour::weights(target.observer, target.illuminant);
  colour::Xyz sum;
  for (std::size_t b = 0; b < weights.x.size(); ++b) {
    const double nm = weights.grid.at(static_cast<int>(b));
    double absorbance = 0.0;
    for (std::size_t k = 0; k < mg_per_ml.size(); ++k) {
      const colour::Spectrum& spectrum = book.components[k].absorptivity;
      if (spectrum.nm.empty()) continue;
      absorbance += colour::at(spectrum, nm) * mg_per_ml[k] * (1.0 + off[k]);
    }
    const double passes = std::pow(10.0, -target.path_cm * absorbance);
    sum.x += weights.x[b] * passes;
    sum.y += weights.y[b] * passes;
    sum.z += weights.z[b] * passes;
  }
  return colour::lab(sum, weights.white);
}

inline std::vector<double> concentrations(const contents::Belief& belief,
                                          const Eigen::VectorXd& x) {
  std::vector<double> made;
  for (int k = 0; k < belief.components; ++k)
    made.push_back(x[belief.component(k)] / x[belief.volume()]);
  return made;
}

/// A pair whose recipe wants a colour: alone, or with the net mass, or with a dye's content too.
inline Pair any_colour_pair(support::Random& random, int stocks, int stations) {
  Pair pair = any_pair(random, stocks, stations);
  recipe::Recipe& recipe = pair.recipe;
  std::vector<double> wanted;
  const double density =
      pair.belief.mean[pair.belief.net()] / pair.belief.mean[pair.belief.volume()];
  for (int k = 0; k < pair.belief.components; ++k) {
    recipe::Component& dye = pair.book.components[pairs::at(k)];
    const double peak = 430.0 + 200.0 * (k + random.uniform()) / pair.belief.components;
    dye.absorptivity = bell(random.uniform(40.0, 160.0), peak, random.uniform(25.0, 50.0));
    dye.u_absorptivity_rel = random.below(2) == 0 ? 0.0 : random.uniform(0.001, 0.006);
    wanted.push_back(recipe.tolerances[pairs::at(k)].target * density);
  }
  recipe::ColourTarget target;
  target.path_cm = random.uniform(1.0, 2.0);
  if (random.below(4) == 0) target.illuminant = colour::Illuminant::a;
  const std::vector<double> none(wanted.size(), 0.0);
  target.lab = seen(pair.book, target, wanted, none);
  target.lab.a += 0.3 * random.normal();
  target.lab.b += 0.3 * random.normal();
  recipe.colours = {target};
  const int lines = random.below(3);
  if (lines < 2) recipe.tolerances.erase(recipe.tolerances.begin(), recipe.tolerances.end() - 1);
  if (lines < 1) recipe.tolerances.clear();
  if (lines == 2)
    recipe.tolerances.erase(recipe.tolerances.begin() + 1, recipe.tolerances.end() - 1);
  recipe.tolerances.push_back(
      {recipe::ToleranceOn::colour, 0, -recipe::no_limit, 0.0, random.uniform(0.7, 2.5)});
  return pair;
}

}  // namespace vialwright::topup::testing
