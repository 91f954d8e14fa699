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

double tolerance_factor(double degrees, double n) {
  constexpr double z = 1.959963984540054;  // 95 % of a normal lies within
  const boost::math::chi_squared chi(degrees);
  return z * std::sqrt(degrees * (1.0 + 1.0 / n) / boost::math::quantile(chi, 0.05));
}

double most_failing(double failures, double n) {
  if (failures >= n) return 1.0;
  return boost::math::quantile(boost::math::beta_distribution<>(failures + 1.0, n - failures),
                               0.95);
}

}  // namespace vialwright::outcomes
