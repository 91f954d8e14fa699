/// What scales, gauges and the weather station say. Private.
#pragma once

#include "twin/body.hpp"

namespace vialwright::twin {

/// A scale's reading of a vial as it stands, cap included once it is capped. The air lifts glass,
/// cap and liquid each by its own density; the scale was adjusted with weights of 8000 kg/m3.
[[nodiscard]] double weighed(int instrument, const plant::Plant& plant, const Body& body,
                             const World& world, double t_s, Random& random);

/// A tank's scale; the drift of its zero included.
[[nodiscard]] double tank_weighed(int instrument, const plant::Plant& plant, double mass_g,
                                  const World& world, double t_s, Random& random);

/// Height of the liquid above the inner floor, mm; the meniscus climbs with hardness.
[[nodiscard]] double level(int instrument, const plant::Plant& plant, const Body& body,
                           const World& world, Random& random);

[[nodiscard]] double volume(int instrument, const plant::Plant& plant, const Body& body,
                            const World& world, Random& random);

}  // namespace vialwright::twin
