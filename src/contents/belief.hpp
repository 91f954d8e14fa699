/// Private: from the unknowns of one vial to the belief about what is in it.
#pragma once

#include <string>

#include "contents/contents.hpp"
#include "contents/map_estimate.hpp"
#include "contents/vial_model.hpp"

namespace vialwright::contents {

/// @param mean, covariance  of the model's unknowns, cut off at zero.
[[nodiscard]] Belief belief_of(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                               const VialModel& model, const recipe::Book& book);

/// Directions of the contents that only priors speak of, in plain words.
[[nodiscard]] std::vector<Unseen> unseen(const Fit& fit, const VialModel& model,
                                         const Evidence& evidence, const plant::Plant& plant,
                                         const recipe::Book& book);

}  // namespace vialwright::contents
