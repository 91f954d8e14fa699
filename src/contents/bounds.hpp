/// Private: the most probable point of a Gaussian among those whose bounded coordinates are >= 0.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace vialwright::contents {

struct Bounded {
  Eigen::VectorXd point;     ///< (n)
  std::vector<char> active;  ///< (n): held at zero by its bound
  double cost = 0.0;         ///< squared Mahalanobis distance from the mean to the point
  int count = 0;             ///< active bounds
};

/// Active set on the multipliers: few bounds ever hold, so the systems solved are tiny.
/// @pre covariance (n, n) positive semidefinite, positive on bounded coordinates that are negative.
/// Source: Lawson & Hanson, Solving Least Squares Problems (1974), ch. 23 (NNLS), on the dual.
[[nodiscard]] Bounded nearest_within_bounds(const Eigen::VectorXd& mean,
                                            const Eigen::MatrixXd& covariance,
                                            const std::vector<char>& bounded);

}  // namespace vialwright::contents
