/// The terms of a form and their derivatives. Private to this module.
#pragma once

#include "camera/camera.hpp"

namespace vialwright::camera {

[[nodiscard]] int terms_of(Form form);  ///< 3 or 6

/// @pre signal > 0.
[[nodiscard]] Eigen::VectorXd terms(Form form, const Eigen::Vector3d& signal);

/// d terms / d signal, (terms, 3). @pre signal > 0.
[[nodiscard]] Eigen::MatrixXd terms_gradient(Form form, const Eigen::Vector3d& signal);

}  // namespace vialwright::camera
