/// The demo tint of the worked cases: three invented dyes in a clear base, as absorbing liquids.
#pragma once

#include <array>
#include <cmath>
#include <string>

#include "mixing/mixing.hpp"
#include "support/random.hpp"

namespace vialwright::mixing::testing {

enum Dye { yellow, rose, teal, salt };  ///< the salt is colourless

/// Gaussian bands on a table of 5 nm: peak in mL/(mg cm), centre and width in nm.
inline colour::Spectrum band(double peak, double centre, double width, double step = 5.0) {
  colour::Spectrum spectrum;
  for (double nm = 380.0; nm <= 780.0; nm += step) {
    spectrum.nm.push_back(nm);
    spectrum.value.push_back(peak * std::exp(-0.5 * std::pow((nm - centre) / width, 2)));
  }
  return spectrum;
}

inline recipe::Book tint_book(double step = 5.0) {
  recipe::Book book;
  const auto add = [&](const char* id, colour::Spectrum spectrum) {
    recipe::Component component;
    component.id = component.name = id;
    component.absorptivity = std::move(spectrum);
    book.components.push_back(component);
  };
  add("yellow", band(53.0, 426.0, 45.0, step));
  add("rose", band(54.0, 504.0, 48.0, step));
  add("teal", band(163.0, 630.0, 24.0, step));
  add("salt", {});
  return book;
}

/// Green: 0.0080 mg/mL of yellow and 0.0030 of teal, in 2 cm under D65, 2 degrees.
inline Eigen::VectorXd green() {
  Eigen::VectorXd amounts = Eigen::VectorXd::Zero(4 + foreign_shapes);
  amounts[yellow] = 0.0080;
  amounts[teal] = 0.0030;
  return amounts;
}

inline recipe::ColourTarget seen_in(double path_cm) {
  recipe::ColourTarget seen;
  seen.path_cm = path_cm;
  return seen;
}

/// Dyes up to an absorbance of about 2 in 2 cm, some of them nearly absent, and a stranger.
inline Eigen::VectorXd any_liquid(support::Random& random) {
  Eigen::VectorXd amounts = Eigen::VectorXd::Zero(4 + foreign_shapes);
  const auto dose = [&](Dye dye, double most) {
    amounts[dye] = random.uniform() < 0.2 ? 1e-6 * random.normal() : random.uniform(0.0, most);
  };
  dose(yellow, 0.02), dose(rose, 0.02), dose(teal, 0.006);
  amounts[salt] = random.uniform(0.0, 5.0);
  for (int shape = 0; shape < foreign_shapes; ++shape) amounts[4 + shape] = 0.05 * random.normal();
  return amounts;
}

}  // namespace vialwright::mixing::testing
