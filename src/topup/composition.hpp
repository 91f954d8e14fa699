/// Private to topup: one composition problem in order of price, and what both the single solver
/// and the screening of many recipes hold to.
#pragma once

#include <array>
#include <cstddef>
#include <limits>
#include <span>

namespace vialwright::topup {

/// Stocks in one composition problem at most; they live on the call stack.
inline constexpr std::size_t most_stocks = 64;

/// Two masses that differ by less than this share of the total are the same mass. A bound missed
/// by no more counts as met: lo = hi, or a window that is a point, would else hang on the last bit.
inline constexpr double same_mass = 1e-12;

/// Rounding of one sweep over the stocks, relative to the total. Newton steps go on above it.
inline constexpr double sweep_rounding = 4e-15;

/// Rounding of a cost, relative to the dearest price times the total.
inline constexpr double cost_rounding = 1e-14;

/// Stands for "no upper limit" where a limit is multiplied by a total that may be 0.
inline constexpr double no_share = 1e300;

/// The largest total that the volume row can allow: every added gram takes `least_volume` at least.
[[nodiscard]] inline double total_by_volume(double total, double room, double least_volume) {
  if (least_volume <= 0.0)
    return room >= 0.0 ? std::numeric_limits<double>::infinity()
                       : -std::numeric_limits<double>::infinity();
  return total + room / least_volume;
}

}  // namespace vialwright::topup
