/// A vial as a thing: glass, cap and what is really in it. Private.
#pragma once

#include <string>
#include <vector>

#include "twin/world.hpp"

namespace vialwright::twin {

struct Body {
  std::string serial;  ///< what is printed on the glass
  int container = 0;
  double tare_g = 0.0, cap_g = 0.0, inner_diameter_mm = 0.0, floor_ml = 0.0;
  double open_loss_g_per_h = 0.0;             ///< its own neck
  std::vector<double> component_mg, stock_g;  ///< book order; stock_g as dosed
  double poured_ml = 0.0;                     ///< volume of the doses, before evaporation
  double evaporated_g = 0.0;
  double aged_to_s = 0.0;  ///< evaporation and fade are counted up to here
  double made_s = 0.0;     ///< when the first dose went in
  bool capped = false;
};

[[nodiscard]] Body draw_body(const plant::Plant& plant, const recipe::Book& book,
                             const World& world, int container, std::string serial, Random& random);

[[nodiscard]] double dosed_g(const Body& body);
[[nodiscard]] double net_g(const Body& body);
[[nodiscard]] double volume_ml(const Body& body);

/// Lets it stand until then. Diffusion through the neck: the loss falls with the air gap above the
/// liquid and with the humidity, and doubles every 11 K. Where the world has it, components fade:
/// faster at first than later, and twice as fast with every 10 K.
void stand(Body& body, const plant::Plant& plant, const recipe::Book& book, const World& world,
           double until_s);

/// Puts a dose of a lot (index into World::lots) into it, of which a part had been used.
void pour(Body& body, const World& world, int lot, double used, double mass_g);

}  // namespace vialwright::twin
