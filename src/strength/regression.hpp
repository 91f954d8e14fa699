/// Bayesian linear regression with Gaussian priors. Private to this module.
#pragma once

#include <Eigen/Core>

namespace vialwright::strength {

struct Normal {
  Eigen::VectorXd mean;
  Eigen::MatrixXd covariance;
};

/// value = design * unknowns + noise, added row by row or in blocks. Source: Bishop, Pattern
/// Recognition and Machine Learning (2006), 3.3, with noise of any covariance.
class Regression {
 public:
  /// @param u  standard deviations of the prior about 0; infinity where nothing is known.
  explicit Regression(const Eigen::VectorXd& u);

  /// @param noise  covariance, positive definite.
  void add(const Eigen::MatrixXd& design, const Eigen::VectorXd& values,
           const Eigen::MatrixXd& noise);

  /// @pre  priors and data together leave no unknown free.
  [[nodiscard]] Normal posterior() const;

 private:
  Eigen::MatrixXd precision_;
  Eigen::VectorXd pull_;
};

/// chi-squared of a block about what all the others and the prior predict, from its residual about
/// the posterior: r' (R - H P H')^-1 r.
[[nodiscard]] double left_out(const Eigen::VectorXd& residual, const Eigen::MatrixXd& design,
                              const Eigen::MatrixXd& noise, const Eigen::MatrixXd& covariance);

}  // namespace vialwright::strength
