/// Private: Gaussians that are cut off at zero.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace vialwright::contents {

struct Moments {
  double mean = 0.0, variance = 0.0;
};

/// Mean and variance of N(mean, variance) given that it is >= 0. @pre variance > 0.
/// Source: Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1 (1994), 13.10; the
/// far tail by Laplace's continued fraction for the Mills ratio.
[[nodiscard]] Moments moments_above_zero(double mean, double variance);

/// Replaces a joint Gaussian by the one with the moments of its part where every bounded coordinate
/// is >= 0: exact for one bound, by expectation propagation for several.
/// Source: Minka, Expectation propagation for approximate Bayesian inference, UAI (2001) 362.
void cut_off_at_zero(Eigen::VectorXd& mean, Eigen::MatrixXd& covariance,
                     const std::vector<char>& bounded);

}  // namespace vialwright::contents
