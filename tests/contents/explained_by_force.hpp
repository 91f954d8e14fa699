/// Which explanation is how probable, by brute force: for every one of them the full covariance of
/// the readings is built from a numerical Jacobian and its Gaussian density taken whole.
#pragma once

#include <Eigen/Dense>

#include "contents/drawn_vial.hpp"

namespace vialwright::support {

class ExplainedByForce {
 public:
  explicit ExplainedByForce(const DrawnVial& vial) : vial_(vial) {
    for (const Hidden& it : vial.hidden) centre_.push_back(it.mean);
    // Linearised where the readings say, so that doses stand near their true sizes.
    for (int round = 0; round < 3; ++round) relinearise();
    nothing_ = covariance();
  }

  /// Of the vial, when something with that pattern over the readings adds a variance; 0 = nothing.
  [[nodiscard]] double log_density(const Eigen::VectorXd& pattern, double variance) const {
    const Eigen::MatrixXd all = nothing_ + variance * pattern * pattern.transpose();
    const Eigen::LDLT<Eigen::MatrixXd> factor(all);
    return -0.5 * innovation_.dot(factor.solve(innovation_)) -
           0.5 * factor.vectorD().array().log().sum();
  }
  [[nodiscard]] Eigen::VectorXd of_reading(int j) const {
    return Eigen::VectorXd::Unit(innovation_.size(), j);
  }
  [[nodiscard]] Eigen::VectorXd of_dose(int d) const {
    return jacobian_.col(vial_.places.dose[z(d)]);
  }

  /// Standard deviation of reading j about what everything else predicts.
  [[nodiscard]] double sd_given_rest(int j) const {
    return 1.0 / std::sqrt(nothing_.inverse()(j, j));
  }

 private:
  void relinearise() {
    const auto& readings = vial_.evidence.readings;
    const auto m = static_cast<Eigen::Index>(readings.size());
    const auto n = static_cast<Eigen::Index>(centre_.size());
    jacobian_.setZero(m, n);
    innovation_.resize(m);
    noise_.resize(m);
    Eigen::VectorXd prior(n), off(n);
    for (Eigen::Index i = 0; i < n; ++i) {
      const Hidden& it = vial_.hidden[z(static_cast<int>(i))];
      prior[i] = it.u * it.u;
      off[i] = centre_[z(static_cast<int>(i))] - it.mean;
    }
    for (Eigen::Index j = 0; j < m; ++j) {
      const auto& reading = readings[z(static_cast<int>(j))];
      noise_[j] = noise_variance(vial_, reading, reading.value) + rounding_variance(vial_, reading);
      for (Eigen::Index i = 0; i < n; ++i) {
        const double step = 1e-4 * vial_.hidden[z(static_cast<int>(i))].u;
        if (step == 0.0) continue;
        std::vector<double> up = centre_, down = centre_;
        up[z(static_cast<int>(i))] += step;
        down[z(static_cast<int>(i))] -= step;
        jacobian_(j, i) = (shows(vial_, reading, up) - shows(vial_, reading, down)) / (2.0 * step);
      }
      innovation_[j] = reading.value - shows(vial_, reading, centre_);
    }
    innovation_ += jacobian_ * off;
    prior_ = prior;
    const Eigen::VectorXd move =
        prior.asDiagonal() * jacobian_.transpose() * covariance().ldlt().solve(innovation_);
    for (Eigen::Index i = 0; i < n; ++i)
      centre_[z(static_cast<int>(i))] = vial_.hidden[z(static_cast<int>(i))].mean + move[i];
  }

  [[nodiscard]] Eigen::MatrixXd covariance() const {
    Eigen::MatrixXd all = jacobian_ * prior_.asDiagonal() * jacobian_.transpose();
    all.diagonal() += noise_;
    return all;
  }

  const DrawnVial& vial_;
  std::vector<double> centre_;
  Eigen::MatrixXd jacobian_, nothing_;
  Eigen::VectorXd innovation_, noise_, prior_;
};

}  // namespace vialwright::support
