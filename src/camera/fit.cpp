#include "camera/fit.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <Eigen/QR>
#include <limits>

#include "camera/terms.hpp"

namespace vialwright::camera {
namespace {

Eigen::Vector3d lab_of_row(const Samples& samples, const Coefficients& coefficients,
                           Eigen::Index row, Eigen::Matrix3d& gradient) {
  const Eigen::Vector3d xyz = coefficients * samples.terms.row(row).transpose();
  return as_vector(colour::lab(as_xyz(xyz), samples.white, gradient));
}

Eigen::MatrixXd gradient_of_row(const Samples& samples, const Coefficients& coefficients,
                                Eigen::Index row) {
  Eigen::Matrix3d by_xyz;
  lab_of_row(samples, coefficients, row, by_xyz);
  return coefficient_gradient(samples.terms.row(row).transpose(), by_xyz);
}

/// The normal equations of a Gauss-Newton step; `weight` stands between gradient and gradient.
struct Normal {
  Eigen::MatrixXd matrix;
  Eigen::VectorXd right;
};
Normal normal(const Samples& samples, const Coefficients& coefficients,
              const Eigen::MatrixXd& residual, const Eigen::Matrix3d& weight) {
  const Eigen::Index size = 3 * samples.terms.cols();
  Normal made{Eigen::MatrixXd::Zero(size, size), Eigen::VectorXd::Zero(size)};
  for (Eigen::Index i = 0; i < samples.terms.rows(); ++i) {
    const Eigen::MatrixXd gradient = gradient_of_row(samples, coefficients, i);
    made.matrix += gradient.transpose() * weight * gradient;
    made.right += gradient.transpose() * residual.row(i).transpose();
  }
  return made;
}

constexpr int most_steps = 50, most_halvings = 12;
constexpr double same_cost = 1e-14;  // relative; below it rounding decides
constexpr double alone = 1e-9;  // what the others know of a patch that alone holds a coefficient

}  // namespace

Samples samples(Form form, std::span<const Patch> patches, const colour::Xyz& white) {
  const auto count = static_cast<Eigen::Index>(patches.size());
  Samples made{Eigen::MatrixXd(count, terms_of(form)), Eigen::MatrixXd(count, 3), white};
  for (Eigen::Index i = 0; i < count; ++i) {
    const Patch& patch = patches[static_cast<std::size_t>(i)];
    made.terms.row(i) = terms(form, patch.signal.value).transpose();
    made.xyz.row(i) << patch.truth.x, patch.truth.y, patch.truth.z;
  }
  return made;
}

std::optional<Coefficients> fit_in_xyz(const Samples& samples) {
  Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(samples.terms);
  qr.setThreshold(1e-6);  // signals are known to about 1e-3: a smaller pivot is noise
  if (qr.rank() < samples.terms.cols()) return std::nullopt;
  return Coefficients(qr.solve(samples.xyz).transpose());
}

Eigen::MatrixXd residuals(const Samples& samples, const Coefficients& coefficients) {
  Eigen::MatrixXd made(samples.terms.rows(), 3);
  for (Eigen::Index i = 0; i < made.rows(); ++i) {
    Eigen::Matrix3d unused;
    const Eigen::Vector3d truth =
        as_vector(colour::lab(as_xyz(samples.xyz.row(i).transpose()), samples.white));
    made.row(i) = (truth - lab_of_row(samples, coefficients, i, unused)).transpose();
  }
  return made;
}

Coefficients fit_in_lab(const Samples& samples, Coefficients start) {
  Eigen::MatrixXd residual = residuals(samples, start);
  for (int step = 0; step < most_steps; ++step) {
    const double cost = residual.squaredNorm();
    const Normal equations = normal(samples, start, residual, Eigen::Matrix3d::Identity());
    Eigen::VectorXd change = equations.matrix.ldlt().solve(equations.right);
    Coefficients next;
    double next_cost = cost;
    for (int halving = 0; halving < most_halvings; ++halving, change *= 0.5) {
      next = start + Eigen::Map<const Coefficients>(change.data(), 3, start.cols());
      residual = residuals(samples, next);
      next_cost = residual.squaredNorm();
      if (next_cost < cost) break;
    }
    if (!(next_cost < cost)) return start;
    start = next;
    if (cost - next_cost <= same_cost * cost) return start;
  }
  return start;
}

Eigen::MatrixXd unseen_residuals(const Samples& samples, const Coefficients& coefficients) {
  Eigen::MatrixXd made = residuals(samples, coefficients);
  const Normal all = normal(samples, coefficients, made, Eigen::Matrix3d::Identity());
  const Eigen::LDLT<Eigen::MatrixXd> solver(all.matrix);
  for (Eigen::Index i = 0; i < made.rows(); ++i) {
    const Eigen::MatrixXd gradient = gradient_of_row(samples, coefficients, i);
    const Eigen::Matrix3d own = gradient * solver.solve(gradient.transpose());
    const Eigen::PartialPivLU<Eigen::Matrix3d> others(Eigen::Matrix3d::Identity() - own);
    if (others.matrixLU().diagonal().cwiseAbs().minCoeff() < alone)
      made.row(i).setConstant(std::numeric_limits<double>::infinity());
    else
      made.row(i) = others.solve(made.row(i).transpose()).transpose();
  }
  return made;
}

Eigen::MatrixXd coefficient_gradient(const Eigen::VectorXd& terms,
                                     const Eigen::Matrix3d& lab_by_xyz) {
  Eigen::MatrixXd made(3, 3 * terms.size());
  for (Eigen::Index i = 0; i < terms.size(); ++i) made.middleCols<3>(3 * i) = terms[i] * lab_by_xyz;
  return made;
}

Eigen::MatrixXd coefficient_covariance(const Samples& samples, const Coefficients& coefficients,
                                       const Eigen::Matrix3d& row) {
  const Eigen::MatrixXd none = Eigen::MatrixXd::Zero(samples.terms.rows(), 3);
  const auto plain = normal(samples, coefficients, none, Eigen::Matrix3d::Identity());
  const auto weighed = normal(samples, coefficients, none, row);
  const Eigen::LDLT<Eigen::MatrixXd> solver(plain.matrix);
  const Eigen::MatrixXd half = solver.solve(weighed.matrix);
  return solver.solve(half.transpose());
}

}  // namespace vialwright::camera
