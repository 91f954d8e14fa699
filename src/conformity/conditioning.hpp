/// Tolerance lines over correlated quantities, rewritten as limits on independent standard normal
/// variables, each linear in the variables drawn before it. Private to this module.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

#include "conformity/conformity.hpp"

namespace vialwright::conformity {

/// One limit of variable i: constant + slope_0 z_0 + ... + slope_(i-1) z_(i-1).
/// Stored flat: the i + 1 numbers of each limit, lower limits of a variable before its upper ones.
struct Stage {
  std::size_t first = 0;  ///< into Conditioning::numbers
  int lower = 0, upper = 0;
};

struct Conditioning {
  bool possible = true;       ///< false: a line on quantities without doubt fails, so P = 0
  std::vector<Stage> stages;  ///< one a variable, in the order of drawing
  std::vector<double> numbers;
  double lower = 1.0, upper = 1.0;  ///< on P, from each side of each line alone (Boole)
  double neglected = 0.0;  ///< bound on the error from doubts left out as too small to draw
  double steepest = 0.0;   ///< greatest norm of a limit's slopes: how near to a jump it is

  void note_failure(double chance) {
    lower = std::max(lower - chance, 0.0);
    upper = std::min(upper, 1.0 - chance);
  }
};

/// What else is looked at at each point, besides the lines: axes of x that it depends on.
struct Seen {
  std::vector<int> axes;   ///< distinct
  Eigen::MatrixXd effect;  ///< (any, axes): |effect v| is how much a small move v of them matters
};

/// As Conditioning, with a last variable along which what is seen changes most.
struct SeenConditioning {
  Conditioning lines;
  Eigen::MatrixXd rows;  ///< (seen axes, variables): seen axes = their means + rows z
};

/// Divisors are drawn first, so that the limits of ratio lines are linear; within each group the
/// quantity least likely to hold given those before it comes next (Genz & Bretz, Computation of
/// Multivariate Normal and t Probabilities (Springer 2009), 4.1.3). Quantities that the others
/// decide bring no variable: their limits fall on the last variable they depend on.
[[nodiscard]] Conditioning condition(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                                     const std::vector<Line>& lines);

/// With something that is seen, in several ways: the lines on no quantity, on one, or on all may
/// wait for the last variable. Which is best to integrate hangs on what is seen, so all are told.
/// None: a line on quantities without doubt fails.
[[nodiscard]] std::vector<SeenConditioning> conditions(const Eigen::VectorXd& mean,
                                                       const Eigen::MatrixXd& covariance,
                                                       const std::vector<Line>& lines,
                                                       const Seen& seen);

}  // namespace vialwright::conformity
