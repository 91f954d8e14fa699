#include "outcomes/small_samples.hpp"

#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>

namespace vialwright::outcomes {

Range spread_range(double degrees) {
  const boost::math::chi_squared chi(degrees);
  return {std::sqrt(degrees / boost::math::quantile(chi, 0.975)),
          std::sqrt(degrees / boost::math::quantile(chi, 0.025))};
}

double most_spread(double degrees) {
  return std::sqrt(degrees / boost::math::quantile(boost::math::chi_squared(degrees), 0.05));
}

double tolerance_band(double n) {
  constexpr double z = 1.959963984540054;  // 95 % of a normal lies within
  return z * std::sqrt(1.0 + 1.0 / n);
}

double most_failing(double failures, double n) {
  if (failures >= n) return 1.0;
  return boost::math::quantile(boost::math::beta_distribution<>(failures + 1.0, n - failures),
                               0.95);
}

}  // namespace vialwright::outcomes
