#include "strength/regression.hpp"

#include <Eigen/Cholesky>
#include <cmath>

#include "error/error.hpp"

namespace vialwright::strength {

using Eigen::MatrixXd;
using Eigen::VectorXd;

Regression::Regression(const VectorXd& u)
    : precision_(u.cwiseAbs2().cwiseInverse().asDiagonal()), pull_(VectorXd::Zero(u.size())) {}

void Regression::add(const MatrixXd& design, const VectorXd& values, const MatrixXd& noise) {
  const Eigen::LLT<MatrixXd> root(noise);
  require(root.info() == Eigen::Success, "noise has a positive definite covariance");
  MatrixXd white(design.rows(), design.cols() + 1);
  white << design, values;
  root.matrixL().solveInPlace(white);
  const auto whitened = white.leftCols(design.cols());
  precision_.noalias() += whitened.transpose() * whitened;
  pull_.noalias() += whitened.transpose() * white.rightCols<1>();
}

/// Scaled to a unit diagonal first: unknowns differ by many powers of ten.
Normal Regression::posterior() const {
  const VectorXd scale = precision_.diagonal().cwiseSqrt().cwiseInverse();
  require(scale.allFinite(), "priors and data leave no unknown free");
  const Eigen::LDLT<MatrixXd> factor(scale.asDiagonal() * precision_ * scale.asDiagonal());
  Normal normal;
  normal.mean = scale.asDiagonal() * factor.solve(scale.asDiagonal() * pull_);
  const MatrixXd inverse = factor.solve(MatrixXd::Identity(scale.size(), scale.size()));
  normal.covariance =
      scale.asDiagonal() * (0.5 * (inverse + inverse.transpose())) * scale.asDiagonal();
  return normal;
}

double left_out(const VectorXd& residual, const MatrixXd& design, const MatrixXd& noise,
                const MatrixXd& covariance) {
  const MatrixXd rest = noise - design * covariance * design.transpose();
  return residual.dot(Eigen::LDLT<MatrixXd>(rest).solve(residual));
}

}  // namespace vialwright::strength
