/// The air round the line and what it does to a weighing. Private.
#pragma once

#include <limits>

#include "twin/random.hpp"

namespace vialwright::twin {

struct Climate {
  double celsius = 20.0, pressure_hpa = 1013.25, humidity_percent = 50.0;
};

/// Slow ramps and waves; a function of time, so that it may be asked in any order.
class Air {
 public:
  Air(Random& random, double hardness);
  [[nodiscard]] Climate at(double t_s) const;  ///< t_s: since the start of the shift
  /// The ramps are of one shift; over days of waiting the room stays as it then is.
  void stands_still_after(double t_s) { last_s_ = t_s; }

 private:
  struct Course {
    double start, per_hour, wave, period_s, phase;
    [[nodiscard]] double at(double t_s) const;
  };
  double last_s_ = std::numeric_limits<double>::infinity();
  Course celsius_, pressure_hpa_, humidity_percent_;
};

/// kg/m3, from the gas law with the vapour's share of the air: another form than the short one of
/// the estimator; they agree to 0.1 % in a room.
/// Source: Picard et al., Metrologia 45 (2008) 149, with Z = 0.9996 and the Magnus formula for the
/// vapour pressure (WMO-No. 8, annex 4.B; both numbers from memory, held by a test).
[[nodiscard]] double density_of(const Climate& air);
[[nodiscard]] double vapour_pressure_pa(double celsius);  ///< saturated, over water

}  // namespace vialwright::twin
