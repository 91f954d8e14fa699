/// The standard normal law, scalar forms: exact to rounding, for closed forms and bounds.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>

namespace vialwright::conformity {

inline double normal_density(double z) {
  return std::exp(-0.5 * z * z) * (0.5 * std::numbers::inv_sqrtpi * std::numbers::sqrt2);
}

inline double normal_cdf(double z) { return 0.5 * std::erfc(-z / std::numbers::sqrt2); }

/// P(low <= z <= high), without cancellation in the upper tail; 0 where low > high.
inline double normal_between(double low, double high) {
  if (low > 0.0) return std::max(0.0, normal_cdf(-low) - normal_cdf(-high));
  return std::max(0.0, normal_cdf(high) - normal_cdf(low));
}

}  // namespace vialwright::conformity
