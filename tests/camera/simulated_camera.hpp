/// An invented camera before invented dyes, for tests: spectra in, signals out.
#pragma once

#include <Eigen/Cholesky>
#include <cmath>
#include <string>
#include <vector>

#include "camera/camera.hpp"
#include "colour/colour.hpp"
#include "support/random.hpp"

namespace vialwright::camera::testing {

inline colour::Xyz d65() {
  return colour::weights(colour::Observer::cie1931, colour::Illuminant::d65).white;
}

inline Eigen::Vector3d normal3(support::Random& random) {
  return {random.normal(), random.normal(), random.normal()};
}

/// Signals spread over what dyed vials show: each channel from 0.1 to 1.
inline Eigen::Vector3d any_signal(support::Random& random) {
  return {random.uniform(0.1, 1.0), random.uniform(0.1, 1.0), random.uniform(0.1, 1.0)};
}

/// A camera that is exactly of one form but for normal scatter in CIELAB and noise of its signals.
struct Exact {
  Form form = Form::linear;
  Eigen::Matrix<double, 3, Eigen::Dynamic> coefficients;
  double scatter = 0.0;  ///< sd in CIELAB, each coordinate
  double noise = 0.0;    ///< sd of a signal, relative

  [[nodiscard]] colour::Lab truth(const Eigen::Vector3d& signal, support::Random& random) const {
    Eigen::VectorXd terms(coefficients.cols());
    terms.head<3>() = signal;
    if (form == Form::root_polynomial)
      terms.tail<3>() << std::sqrt(signal[0] * signal[1]), std::sqrt(signal[1] * signal[2]),
          std::sqrt(signal[0] * signal[2]);
    const Eigen::Vector3d xyz = coefficients * terms;
    colour::Lab lab = colour::lab(colour::Xyz{xyz[0], xyz[1], xyz[2]}, d65());
    lab.l += scatter * random.normal();
    lab.a += scatter * random.normal();
    lab.b += scatter * random.normal();
    return lab;
  }
  [[nodiscard]] Signal read(const Eigen::Vector3d& signal, support::Random& random) const {
    const Eigen::Vector3d sd = noise * signal;
    return {signal + sd.cwiseProduct(normal3(random)), sd.cwiseAbs2().asDiagonal()};
  }
};

/// About what a camera's red, green and blue need to become X, Y and Z.
inline Exact linear_camera() {
  Exact made;
  made.coefficients.resize(3, 3);
  made.coefficients << 48.0, 28.0, 19.0, 24.0, 68.0, 8.0, 2.0, 9.0, 98.0;
  return made;
}
inline Exact rooted_camera() {
  Exact made;
  made.form = Form::root_polynomial;
  made.coefficients.resize(3, 6);
  made.coefficients << 48.0, 28.0, 19.0, 20.0, -14.0, -6.0,  //
      24.0, 68.0, 8.0, 12.0, -20.0, 8.0,                     //
      2.0, 9.0, 98.0, -10.0, 14.0, -4.0;
  return made;
}

inline std::vector<Patch> patches(const Exact& camera, int count, support::Random& random) {
  std::vector<Patch> made;
  for (int i = 0; i < count; ++i) {
    const Eigen::Vector3d signal = any_signal(random);
    const colour::Lab truth = camera.truth(signal, random);
    made.push_back({std::to_string(i), camera.read(signal, random), colour::xyz(truth, d65())});
  }
  return made;
}

/// Squared distance in standard uncertainties.
inline double squared_distance(const Estimate& estimate, const colour::Lab& truth) {
  const Eigen::Vector3d off{estimate.lab.l - truth.l, estimate.lab.a - truth.a,
                            estimate.lab.b - truth.b};
  return off.dot(estimate.covariance.ldlt().solve(off));
}

/// Spectra of four invented dyes (Gaussian bands in wavelength) seen by invented broad channels and
/// by the 1931 observer: nothing here is linear, rooted or normal.
struct Bench {
  static constexpr int bands = 81;
  double dye[4] = {};
  void dose(support::Random& random) {
    for (double& each : dye) each = random.below(2) == 0 ? 0.0 : random.uniform(0.05, 1.2);
  }
  [[nodiscard]] std::vector<double> transmittance() const {
    static constexpr double peak[4] = {428.0, 515.0, 628.0, 580.0},
                            sd[4] = {30.0, 28.0, 32.0, 90.0};
    std::vector<double> made(bands);
    for (int i = 0; i < bands; ++i) {
      double absorbance = 0.0;
      for (int k = 0; k < 4; ++k)
        absorbance += dye[k] * std::exp(-0.5 * std::pow((380.0 + 5.0 * i - peak[k]) / sd[k], 2));
      made[static_cast<std::size_t>(i)] = std::pow(10.0, -absorbance);
    }
    return made;
  }
  [[nodiscard]] colour::Xyz truth() const {
    return colour::xyz(transmittance(),
                       colour::weights(colour::Observer::cie1931, colour::Illuminant::d65));
  }
  [[nodiscard]] Eigen::Vector3d signal() const {
    static constexpr double peak[3] = {605.0, 540.0, 455.0}, sd[3] = {33.0, 38.0, 28.0};
    const std::vector<double> t = transmittance();
    Eigen::Vector3d made;
    for (int c = 0; c < 3; ++c) {
      double seen = 0.0, all = 0.0;
      for (int i = 0; i < bands; ++i) {
        const double weight = std::exp(-0.5 * std::pow((380.0 + 5.0 * i - peak[c]) / sd[c], 2));
        seen += weight * t[static_cast<std::size_t>(i)];
        all += weight;
      }
      made[c] = seen / all;
    }
    return made;
  }
};

}  // namespace vialwright::camera::testing
