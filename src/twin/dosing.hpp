/// How a dose comes out of a nozzle, and what the meters on the way see of it. Private.
#pragma once

#include "twin/targets.hpp"
#include "twin/world.hpp"

namespace vialwright::twin {

/// What passed the valve and what reached the vial; they differ by a drop that hangs at the nozzle
/// and falls into the next vial.
struct Dosed {
  double passed_g = 0.0, delivered_g = 0.0;
  double flow_g_per_s = 0.0;
  double counting_s = 0.0;  ///< from opening until the meters stop counting
};

/// @param factor   of a planted fault; 1 = none.
/// @param hanging  the drop that hangs at this nozzle, g; moved on.
[[nodiscard]] Dosed dose(const PlannedDose& planned, const plant::Station& station,
                         const World& world, double t_s, double factor, double& hanging,
                         Random& random);

/// What one meter says of it, in its own unit, rounded as the meter rounds.
[[nodiscard]] double metered(int instrument, const plant::Plant& plant, const Dosed& dosed,
                             int stock, const World& world, double t_s, Random& random);

[[nodiscard]] double rounded(double value, double step);  ///< step 0 leaves it

}  // namespace vialwright::twin
