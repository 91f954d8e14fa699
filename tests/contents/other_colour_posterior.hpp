/// The posterior of a tinted vial by another method, sharing no code with src/contents or
/// src/mixing: a Gaussian from least squares with a numerical Jacobian (QR), corrected by
/// importance weights against the exact density, bounds included. Source: Robert & Casella, Monte
/// Carlo Statistical Methods (2004), 3.3 (self-normalised weights).
#pragma once

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <vector>

#include "contents/colour_shift.hpp"

namespace vialwright::support {

class OtherColourPosterior {
 public:
  OtherColourPosterior(const TintedVial& vial, int samples, Random& random)
      : vial_(vial), read_(all_read(vial)) {
    for (std::size_t i = 0; i < vial.hidden.size(); ++i)
      if (vial.hidden[i].u > 0.0 && matters(i)) free_.push_back(i);
    fit();
    sample(samples, random);
  }

  [[nodiscard]] double mean(int axis) const {
    double sum = 0.0;
    for (std::size_t s = 0; s < weights_.size(); ++s) sum += weights_[s] * held_[s][z(axis)];
    return sum;
  }
  [[nodiscard]] double u(int axis) const {
    double sum = 0.0;
    const double middle = mean(axis);
    for (std::size_t s = 0; s < weights_.size(); ++s)
      sum += weights_[s] * std::pow(held_[s][z(axis)] - middle, 2);
    return std::sqrt(sum);
  }
  [[nodiscard]] double effective_samples() const {
    double squares = 0.0;
    for (const double w : weights_) squares += w * w;
    return 1.0 / squares;
  }

 private:
  /// Readings and gauges that this vial has nothing of leave their hidden numbers alone.
  [[nodiscard]] bool matters(std::size_t i) const {
    std::vector<double> x;
    for (const Hidden& it : vial_.hidden) x.push_back(it.mean);
    const Eigen::VectorXd before = all_shown(vial_, x);
    const std::vector<double> held = holds_then(vial_, x);
    x[i] += vial_.hidden[i].u;
    return (all_shown(vial_, x) - before).norm() > 0.0 || holds_then(vial_, x) != held;
  }

  static Eigen::VectorXd all_read(const TintedVial& vial) {
    std::vector<double> all;
    for (const contents::Reading& reading : vial.evidence.readings) {
      if (reading.kind != ReadingKind::colour) {
        all.push_back(reading.value / std::sqrt(noise_variance(vial, reading, reading.value) +
                                                rounding_variance(vial, reading)));
        continue;
      }
      const Eigen::VectorXd own =
          whitened(vial, reading.instrument,
                   Eigen::Map<const Eigen::VectorXd>(
                       reading.values.data(), static_cast<Eigen::Index>(reading.values.size())));
      all.insert(all.end(), own.begin(), own.end());
    }
    return Eigen::Map<Eigen::VectorXd>(all.data(), static_cast<Eigen::Index>(all.size()));
  }

  [[nodiscard]] std::vector<double> expand(const Eigen::VectorXd& t) const {
    std::vector<double> x;
    for (const Hidden& it : vial_.hidden) x.push_back(it.mean);
    for (std::size_t i = 0; i < free_.size(); ++i)
      x[free_[i]] += vial_.hidden[free_[i]].u * t[static_cast<Eigen::Index>(i)];
    return x;
  }

  /// Misfits of readings in units of their noise (by the value read), then the priors' own.
  [[nodiscard]] Eigen::VectorXd misfits(const Eigen::VectorXd& t) const {
    Eigen::VectorXd all(read_.size() + t.size());
    all << all_shown(vial_, expand(t)) - read_, t;
    return all;
  }

  void fit() {
    const auto n = static_cast<Eigen::Index>(free_.size());
    centre_ = Eigen::VectorXd::Zero(n);
    Eigen::MatrixXd slopes(read_.size() + n, n);
    for (int round = 0; round < 5; ++round) {
      for (Eigen::Index i = 0; i < n; ++i) {
        const Eigen::VectorXd by = 1e-4 * Eigen::VectorXd::Unit(n, i);
        slopes.col(i) = (misfits(centre_ + by) - misfits(centre_ - by)) / 2e-4;
      }
      const Eigen::HouseholderQR<Eigen::MatrixXd> qr(slopes);
      root_ = qr.matrixQR().topRows(n).triangularView<Eigen::Upper>();
      centre_ -= qr.solve(misfits(centre_));
    }
  }

  void sample(int samples, Random& random) {
    std::vector<double> logs;
    Eigen::VectorXd noise(centre_.size());
    for (int s = 0; s < samples; ++s) {
      for (Eigen::Index i = 0; i < noise.size(); ++i) noise[i] = random.normal();
      const Eigen::VectorXd t = centre_ + root_.triangularView<Eigen::Upper>().solve(noise);
      const std::vector<double> x = expand(t);
      bool allowed = true;
      for (std::size_t i = 0; i < x.size(); ++i)
        allowed = allowed && !(vial_.hidden[i].positive && x[i] < 0.0);
      if (!allowed) continue;
      logs.push_back(0.5 * (noise.squaredNorm() - misfits(t).squaredNorm()));
      held_.push_back(holds_then(vial_, x));
    }
    if (logs.empty()) return;
    const double most = *std::max_element(logs.begin(), logs.end());
    double sum = 0.0;
    for (const double log : logs) sum += weights_.emplace_back(std::exp(log - most));
    for (double& weight : weights_) weight /= sum;
  }

  const TintedVial& vial_;
  Eigen::VectorXd read_;
  std::vector<std::size_t> free_;
  Eigen::VectorXd centre_;
  Eigen::MatrixXd root_;  ///< R of the QR: covariance = (R' R)^-1
  std::vector<std::vector<double>> held_;
  std::vector<double> weights_;
};

}  // namespace vialwright::support
