/// Private to topup: true grams of the doses of one set.
#pragma once

#include <Eigen/Core>

namespace vialwright::topup {

/// Doses at most in one top-up; nobody adds more.
inline constexpr int most_doses = 12;
using Amounts = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, most_doses, 1>;

}  // namespace vialwright::topup
