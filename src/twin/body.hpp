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
  double glass_score = 0.0;                      ///< of the path through it, beside its diameter
  std::vector<std::vector<double>> from_lot_mg;  ///< [lot][component] of component_mg
  Curve foreign_ml_per_cm;  ///< absorbance of what nobody knows, times the volume
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

/// Decadic absorbance of the liquid, 1/cm; empty where nothing in it has a colour.
/// @param share_of  [lot] how much of it stands before the gauge; empty = all is mixed.
[[nodiscard]] Curve absorbance_per_cm(const Body& body, const World& world,
                                      const std::vector<double>& share_of = {});

/// Left in light: each dye loses about that share, some a little more than others.
void bleach(Body& body, const recipe::Book& book, double share, double hardness, Random& random);

/// Puts a dose of a lot (index into World::lots) into it, of which a part had been used.
void pour(Body& body, const World& world, int lot, double used, double mass_g);

}  // namespace vialwright::twin
