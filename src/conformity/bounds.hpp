/// Quick bounds from one line at a time. Private to this module.
#pragma once

#include "conformity/conformity.hpp"

namespace vialwright::conformity {

struct Bounds {
  double lower = 0.0, upper = 1.0;
};

/// P(one line holds): first its two sides as half-spaces, exact; together by Boole, which is exact
/// too while the divisor is surely positive (the sides then exclude each other).
[[nodiscard]] Bounds bounds_of(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                               const Line& line);

/// P(all lines hold): at least 1 - the sum of what each may fail (Boole), at most the least.
[[nodiscard]] Bounds bounds_of(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                               const std::vector<Line>& lines);

}  // namespace vialwright::conformity
