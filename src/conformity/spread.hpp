/// What the hands of a lattice say of their mean. Private to this module.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>

#include "conformity/lattice.hpp"

namespace vialwright::conformity {

/// Limits so steep that they jump between neighbouring points show in no spread where every hand
/// has the same count: two spacings, in the measure that steep limits are unresolved.
inline double unresolved(int level, double steepest) {
  const double points = std::ldexp(1.0, level);
  const double share = std::min(1.0, 20.0 * steepest / points);
  return 2.0 / points * share * share;
}

/// A mean and three standard deviations of it. The hands are randomly shifted lattices that
/// interlock: their errors tend to cancel, so their spread overstates the doubt of the mean, never
/// the other way in our trials.
struct Mean {
  double value = 0.0, doubt = 0.0;
};
inline Mean mean_of(const std::array<double, hands>& means) {
  // Student's t for 7 degrees of freedom at the two-sided level of three standard deviations.
  constexpr double three_sigma_of_eight = 4.53;
  double mean = 0.0, squares = 0.0;
  for (const double one : means) mean += one / hands;
  for (const double one : means) squares += (one - mean) * (one - mean);
  const double u = std::sqrt(squares / (hands - 1) / hands);
  return {mean, three_sigma_of_eight * u};
}

}  // namespace vialwright::conformity
