/// The posterior of a drawn vial by another method: a Gaussian from a least-squares problem with a
/// numerically built Jacobian (QR, not normal equations, not the estimator's formula), corrected by
/// importance weights against the exact density, bounds and value-dependent noise included.
/// Source: Robert & Casella, Monte Carlo Statistical Methods (2004), 3.3 (self-normalised weights).
#pragma once

#include <Eigen/Dense>
#include <algorithm>
#include <numeric>

#include "contents/drawn_vial.hpp"

namespace vialwright::support {

class OtherPosterior {
 public:
  OtherPosterior(const DrawnVial& vial, int samples, Random& random) : vial_(vial) {
    for (std::size_t i = 0; i < vial.hidden.size(); ++i)
      if (vial.hidden[i].u > 0.0) free_.push_back(i);
    fit();
    sample(samples, random);
  }

  /// Weighted quantile of one axis of the contents.
  [[nodiscard]] double quantile(int axis, double p) const {
    std::vector<std::pair<double, double>> at;
    for (std::size_t s = 0; s < weights_.size(); ++s)
      at.emplace_back(held_[s][z(axis)], weights_[s]);
    std::sort(at.begin(), at.end());
    double below = 0.0;
    for (const auto& [value, weight] : at)
      if ((below += weight) >= p) return value;
    return at.back().first;
  }
  [[nodiscard]] double effective_samples() const {
    double squares = 0.0;
    for (const double w : weights_) squares += w * w;
    return 1.0 / squares;
  }

 private:
  [[nodiscard]] std::vector<double> expand(const Eigen::VectorXd& t) const {
    std::vector<double> x;
    for (const Hidden& it : vial_.hidden) x.push_back(it.mean);
    for (std::size_t i = 0; i < free_.size(); ++i)
      x[free_[i]] += vial_.hidden[free_[i]].u * t[static_cast<Eigen::Index>(i)];
    return x;
  }

  /// Standardised misfits: one a reading, then one a hidden number. Noise by the value read.
  [[nodiscard]] Eigen::VectorXd misfits(const Eigen::VectorXd& t) const {
    const auto& readings = vial_.evidence.readings;
    const auto m = static_cast<Eigen::Index>(readings.size());
    const std::vector<double> x = expand(t);
    Eigen::VectorXd all(m + t.size());
    for (Eigen::Index j = 0; j < m; ++j) {
      const auto& reading = readings[static_cast<std::size_t>(j)];
      const double variance =
          noise_variance(vial_, reading, reading.value) + rounding_variance(vial_, reading);
      all[j] = (shows(vial_, reading, x) - reading.value) / std::sqrt(variance);
    }
    all.tail(t.size()) = t;
    return all;
  }

  [[nodiscard]] Eigen::MatrixXd jacobian(const Eigen::VectorXd& t) const {
    constexpr double step = 1e-4;  // the model is bilinear: central differences are exact but for
                                   // rounding and the diameter's square
    Eigen::MatrixXd all(misfits(t).size(), t.size());
    for (Eigen::Index i = 0; i < t.size(); ++i) {
      const Eigen::VectorXd by = step * Eigen::VectorXd::Unit(t.size(), i);
      all.col(i) = (misfits(t + by) - misfits(t - by)) / (2.0 * step);
    }
    return all;
  }

  void fit() {
    centre_ = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(free_.size()));
    for (int round = 0; round < 4; ++round)
      centre_ -= jacobian(centre_).householderQr().solve(misfits(centre_));
    const Eigen::MatrixXd at = jacobian(centre_);
    const Eigen::HouseholderQR<Eigen::MatrixXd> qr(at);
    root_ = qr.matrixQR().topRows(at.cols()).triangularView<Eigen::Upper>();
  }

  [[nodiscard]] double log_density(const std::vector<double>& x, const Eigen::VectorXd& t) const {
    double sum = -0.5 * t.squaredNorm();
    for (const auto& reading : vial_.evidence.readings) {
      const double variance = noise_variance(vial_, reading, true_value(vial_, reading, x)) +
                              rounding_variance(vial_, reading);
      sum -= 0.5 * (std::pow(reading.value - shows(vial_, reading, x), 2) / variance +
                    std::log(variance));
    }
    return sum;
  }

  [[nodiscard]] bool allowed(const std::vector<double>& x) const {
    for (std::size_t i = 0; i < x.size(); ++i)
      if (vial_.hidden[i].positive && x[i] < 0.0) return false;
    return true;
  }

  void sample(int samples, Random& random) {
    std::vector<double> logs;
    Eigen::VectorXd noise(centre_.size());
    for (int s = 0; s < samples; ++s) {
      for (Eigen::Index i = 0; i < noise.size(); ++i) noise[i] = random.normal();
      const Eigen::VectorXd t = centre_ + root_.triangularView<Eigen::Upper>().solve(noise);
      const std::vector<double> x = expand(t);
      if (!allowed(x)) continue;
      logs.push_back(log_density(x, t) + 0.5 * noise.squaredNorm());
      held_.push_back(holds(vial_, x));
    }
    if (logs.empty()) return;
    const double most = *std::max_element(logs.begin(), logs.end());
    for (const double log : logs) weights_.push_back(std::exp(log - most));
    const double sum = std::accumulate(weights_.begin(), weights_.end(), 0.0);
    for (double& weight : weights_) weight /= sum;
  }

  const DrawnVial& vial_;
  std::vector<std::size_t> free_;
  Eigen::VectorXd centre_;
  Eigen::MatrixXd root_;  ///< R of the QR: covariance = (R' R)^-1
  std::vector<std::vector<double>> held_;
  std::vector<double> weights_;
};

}  // namespace vialwright::support
