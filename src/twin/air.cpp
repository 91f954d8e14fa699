#include "twin/air.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace vialwright::twin {

double Air::Course::at(double t_s) const {
  return start + per_hour * t_s / 3600.0 +
         wave * std::sin(2.0 * std::numbers::pi * t_s / period_s + phase);
}

Air::Air(Random& random, double hardness)
    : celsius_{20.0 + 1.0 * random.normal(), hardness * 0.15 * random.normal(), hardness * 0.4,
               random.between(2000.0, 6000.0), random.between(0.0, 6.0)},
      pressure_hpa_{1013.0 + 8.0 * random.normal(), hardness * 0.5 * random.normal(),
                    hardness * 0.5, random.between(9000.0, 20000.0), random.between(0.0, 6.0)},
      humidity_percent_{45.0 + 6.0 * random.normal(), hardness * 0.6 * random.normal(),
                        hardness * 2.0, random.between(3000.0, 9000.0), random.between(0.0, 6.0)} {}

Climate Air::at(double t_s) const {
  t_s = std::min(t_s, last_s_);
  return {celsius_.at(t_s), pressure_hpa_.at(t_s),
          std::clamp(humidity_percent_.at(t_s), 5.0, 95.0)};
}

double vapour_pressure_pa(double celsius) {
  return 611.2 * std::exp(17.62 * celsius / (243.12 + celsius));
}

double density_of(const Climate& air) {
  constexpr double gas = 8.314472, compressibility = 0.9996;
  constexpr double dry_kg_per_mol = 0.02896546, vapour_share_of_mass = 0.3780;
  const double pressure_pa = air.pressure_hpa * 100.0;
  const double vapour =
      air.humidity_percent / 100.0 * vapour_pressure_pa(air.celsius) / pressure_pa;
  return pressure_pa * dry_kg_per_mol / (compressibility * gas * (air.celsius + 273.15)) *
         (1.0 - vapour_share_of_mass * vapour);
}

}  // namespace vialwright::twin
