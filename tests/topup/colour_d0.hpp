/// The demo system with its colours: three invented dyes with bell-shaped absorption.
#pragma once

#include "topup/d0.hpp"

namespace vialwright::topup::testing {

/// A bell of peak e0 mL/(mg cm) at `nm`, `width` its standard deviation; on the 5 nm table.
inline colour::Spectrum bell(double e0, double nm, double width) {
  colour::Spectrum made;
  for (double at = 380.0; at <= 780.0; at += 5.0) {
    made.nm.push_back(at);
    made.value.push_back(e0 * std::exp(-0.5 * std::pow((at - nm) / width, 2)));
  }
  return made;
}

struct ColourD0 : D0 {
  explicit ColourD0(double u_absorptivity_rel = 0.0) {
    book.components[yellow_dye].absorptivity = bell(53.0, 426.0, 45.0);
    book.components[rose_dye].absorptivity = bell(54.0, 504.0, 48.0);
    book.components[teal_dye].absorptivity = bell(163.0, 630.0, 24.0);
    for (recipe::Component& each : book.components) each.u_absorptivity_rel = u_absorptivity_rel;
  }

  /// Green as a colour: that of 0.0080 mg/g of yellow and 0.0030 mg/g of teal, 2 cm, D65, 2
  /// degrees.
  [[nodiscard]] recipe::Recipe green_by_colour(double limit) const {
    recipe::Recipe green;
    green.id = "green";
    green.container = "vial 24";
    green.stocks = {base, yellow, teal};
    recipe::ColourTarget target;
    target.lab = {86.8968, -56.6516, 50.7868};
    target.path_cm = 2.0;
    green.colours.push_back(target);
    green.tolerances.push_back({recipe::ToleranceOn::colour, 0, -recipe::no_limit, 0.0, limit});
    return green;
  }

  /// A vial of 20 g as `vial`, with some rose.
  [[nodiscard]] contents::Belief with_rose(double yellow_mg, double rose_mg, double teal_mg,
                                           double u_rel = 0.0085) const {
    contents::Belief belief = vial(yellow_mg, teal_mg, u_rel);
    belief.mean[belief.component(rose_dye)] = rose_mg;
    return belief;
  }
};

}  // namespace vialwright::topup::testing
