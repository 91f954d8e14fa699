/// Private to topup: one step of a search between bounds and a few rows, for the inner loop of the
/// colour search, where search_step.hpp's general form is too slow.
#pragma once

#include <Eigen/Core>

#include "topup/amounts.hpp"

namespace vialwright::topup {

/// (doses, doses), without allocation.
using Curvature = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, most_doses, most_doses>;

/// low <= d <= high and rows d <= room, with low <= 0 <= high and room >= 0 but for rounding.
struct StepLimits {
  Amounts low, high;
  Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor> rows;
  Eigen::VectorXd room;
};

/// The step d within its limits that maximises gradient'd - d' curvature d / 2. Primal active set
/// (Nocedal & Wright, Numerical Optimization (2nd ed., 2006), 16.5), from d = 0; bounds are fixed
/// amounts, not rows. @pre curvature positive definite.
[[nodiscard]] Amounts bounded_step(const Amounts& gradient, const Curvature& curvature,
                                   const StepLimits& limits);

}  // namespace vialwright::topup
