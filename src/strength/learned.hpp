/// From unknowns to numbers that a person reads. Private to this module.
#pragma once

#include <functional>

#include "strength/strength.hpp"

namespace vialwright::strength {

/// @param vials_with  how many samples hold what an effect is about.
[[nodiscard]] std::vector<Learned> learned_of(
    const Lesson& lesson, const recipe::Book& book,
    const std::function<int(const contents::Effect&)>& vials_with);

/// Which unknown an effect is, or -1.
[[nodiscard]] int find(const std::vector<Unknown>& unknowns, const contents::Effect& effect);

/// Sum of relative variances of absorptivities and strengths.
[[nodiscard]] double relative_variance(const std::vector<Unknown>& unknowns,
                                       const Eigen::MatrixXd& covariance, const recipe::Book& book);

}  // namespace vialwright::strength
