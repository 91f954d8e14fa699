/// Private to topup: one step of a search within linear limits.
#pragma once

#include <Eigen/Core>

namespace vialwright::topup {

/// The step d that maximises gradient'd - d' curvature d / 2 subject to rows d <= room.
/// Primal active set (Nocedal & Wright, Numerical Optimization (2nd ed., 2006), 16.5), from d = 0.
/// @pre curvature positive definite; room >= 0 but for rounding.
[[nodiscard]] Eigen::VectorXd quadratic_step(const Eigen::VectorXd& gradient,
                                             const Eigen::MatrixXd& curvature,
                                             const Eigen::MatrixXd& rows,
                                             const Eigen::VectorXd& room);

}  // namespace vialwright::topup
