/// Private to topup: a small dense linear programme, for recipes that the composition solver does
/// not cover. Few columns (stocks), tens of rows.
#pragma once

#include <Eigen/Core>
#include <limits>
#include <vector>

namespace vialwright::topup {

/// minimise cost'x  subject to  low <= x <= high  and  row_low <= rows x <= row_high.
/// Limits of rows may be infinite; each x has at least one finite limit.
struct LinearProgram {
  Eigen::VectorXd cost, low, high;  ///< (n)
  Eigen::MatrixXd rows;             ///< (m, n)
  Eigen::VectorXd row_low, row_high;
};

struct LinearAnswer {
  enum class Status { found, impossible, unbounded } status = Status::impossible;
  Eigen::VectorXd x;  ///< (n), when found
  double cost = 0.0;
  /// When impossible: multipliers of the rows that prove it. No x within its limits gives
  /// multipliers'(rows x) a value that the rows' limits allow. Positive ones speak of a row's lower
  /// limit, negative ones of its upper.
  Eigen::VectorXd proof;  ///< (m)
};

/// Bounded simplex in dictionary form: first each row in turn is brought within its limits, then
/// cost falls; the lowest index always goes first, so that it ends (Bland, Math. Oper. Res. 2
/// (1977) 103). The answer is computed anew from the rows that hold it.
/// A row missed by less than 1e-11 of its largest term (or of 1, if the terms are smaller and the
/// limits are not) counts as met.
[[nodiscard]] LinearAnswer solve(const LinearProgram& problem);

}  // namespace vialwright::topup
