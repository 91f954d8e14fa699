#include <algorithm>
#include <cmath>

#include "error/error.hpp"
#include "making/making.hpp"

namespace vialwright::making {
namespace {

double normal_cdf(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

}  // namespace

Aim best_offset(double sd, double tolerance, const Stakes& stakes) {
  require(sd > 0.0 && tolerance > 0.0 && stakes.under > 0.0 && stakes.over > 0.0,
          "spread, tolerance and stakes are positive");
  const auto loss = [&](double offset) {
    return stakes.under * normal_cdf((-tolerance - offset) / sd) +
           stakes.over * normal_cdf((offset - tolerance) / sd);
  };
  // Where one gram more costs at the upper limit what it saves at the lower:
  // under phi((tolerance + m) / sd) = over phi((tolerance - m) / sd).
  const double offset = -sd * sd * std::log(stakes.over / stakes.under) / (2.0 * tolerance);
  return {offset, loss(offset), loss(0.0)};
}

}  // namespace vialwright::making
