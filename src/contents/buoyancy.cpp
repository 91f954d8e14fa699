#include <cmath>

#include "contents/contents.hpp"

namespace vialwright::contents {

double air_density(double pressure_hpa, double humidity_percent, double celsius) {
  return (0.34848 * pressure_hpa - 0.009 * humidity_percent * std::exp(0.061 * celsius)) /
         (273.15 + celsius);
}

double buoyancy_factor(double air_kg_per_m3, double body_kg_per_m3) {
  constexpr double weights_kg_per_m3 = 8000.0;  // convention, OIML R 111-1
  return (1.0 - air_kg_per_m3 / weights_kg_per_m3) / (1.0 - air_kg_per_m3 / body_kg_per_m3);
}

}  // namespace vialwright::contents
