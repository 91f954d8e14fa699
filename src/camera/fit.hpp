/// Least squares for the coefficients of one form. Private to this module.
#pragma once

#include <optional>

#include "camera/camera.hpp"

namespace vialwright::camera {

using Coefficients = Eigen::Matrix<double, 3, Eigen::Dynamic>;

/// What a fit works on: row i is patch i.
struct Samples {
  Eigen::MatrixXd terms;  ///< (patches, terms)
  Eigen::MatrixXd xyz;    ///< (patches, 3)
  colour::Xyz white;
};
[[nodiscard]] Samples samples(Form form, std::span<const Patch> patches, const colour::Xyz& white);

/// Ordinary least squares in XYZ; none where the terms do not span.
[[nodiscard]] std::optional<Coefficients> fit_in_xyz(const Samples& samples);

/// Least squares in CIELAB by Gauss-Newton from a start: an error in XYZ counts as what it looks
/// like.
[[nodiscard]] Coefficients fit_in_lab(const Samples& samples, Coefficients start);

/// Measured less predicted CIELAB, (patches, 3).
[[nodiscard]] Eigen::MatrixXd residuals(const Samples& samples, const Coefficients& coefficients);

/// The residuals of each patch predicted from all others, (patches, 3): to first order in what one
/// patch moves, which needs no second fit. Infinite for a patch that alone holds a coefficient.
[[nodiscard]] Eigen::MatrixXd unseen_residuals(const Samples& samples,
                                               const Coefficients& coefficients);

/// Of the fit in CIELAB, given the covariance of one row of residuals: (3 terms, 3 terms).
[[nodiscard]] Eigen::MatrixXd coefficient_covariance(const Samples& samples,
                                                     const Coefficients& coefficients,
                                                     const Eigen::Matrix3d& row);

/// d CIELAB / d coefficients at one set of terms, (3, 3 terms), in the order of the covariance.
[[nodiscard]] Eigen::MatrixXd coefficient_gradient(const Eigen::VectorXd& terms,
                                                   const Eigen::Matrix3d& lab_by_xyz);

[[nodiscard]] inline colour::Xyz as_xyz(const Eigen::Vector3d& value) {
  return {value[0], value[1], value[2]};
}
[[nodiscard]] inline Eigen::Vector3d as_vector(const colour::Lab& lab) {
  return {lab.l, lab.a, lab.b};
}

}  // namespace vialwright::camera
