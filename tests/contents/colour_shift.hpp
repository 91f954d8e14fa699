/// How large a shift of the colours of a vial is, in units of what is not known of them.
#pragma once

#include <Eigen/Dense>

#include "contents/drawn_colour.hpp"

namespace vialwright::support {

/// Everything read, in units of the noise: scalars, then the values of each colour.
inline Eigen::VectorXd all_shown(const TintedVial& vial, const std::vector<double>& x,
                                 const std::map<int, Eigen::VectorXd>& extra = {}) {
  std::vector<double> all;
  for (const contents::Reading& reading : vial.evidence.readings) {
    if (reading.kind != ReadingKind::colour) {
      const double variance =
          noise_variance(vial, reading, reading.value) + rounding_variance(vial, reading);
      all.push_back(shows(vial, reading, x) / std::sqrt(variance));
      continue;
    }
    const auto more = extra.find(reading.instrument);
    const Eigen::VectorXd shown = whitened(
        vial, reading.instrument,
        colour_shown(vial, reading, x, more == extra.end() ? Eigen::VectorXd() : more->second));
    all.insert(all.end(), shown.begin(), shown.end());
  }
  return Eigen::Map<Eigen::VectorXd>(all.data(), static_cast<Eigen::Index>(all.size()));
}

/// Inverse covariance of everything read before it was read, in units of the noise; slopes by
/// central differences at the truth.
inline Eigen::MatrixXd weight_of_all(const TintedVial& vial) {
  const Eigen::Index rows = all_shown(vial, vial.truth).size();
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Identity(rows, rows);
  for (std::size_t i = 0; i < vial.hidden.size(); ++i) {
    const double u = vial.hidden[i].u;
    if (u == 0.0) continue;
    std::vector<double> up = vial.truth, down = vial.truth;
    up[i] += 1e-3 * u;
    down[i] -= 1e-3 * u;
    const Eigen::VectorXd slope = (all_shown(vial, up) - all_shown(vial, down)) / 2e-3;
    covariance += slope * slope.transpose();
  }
  return covariance.inverse();
}

/// Length of a shift of the colours in units of their standard uncertainty given everything else
/// that is read and known. It is the square root of the noncentrality.
/// @param beyond_mixes  only along what no mix of the known dyes explains, in any amount, those
///                      that were not dosed included.
inline double size_of_shift(const TintedVial& vial, const std::map<int, Eigen::VectorXd>& extra,
                            bool beyond_mixes) {
  const Eigen::VectorXd none = all_shown(vial, vial.truth);
  const Eigen::VectorXd shift = all_shown(vial, vial.truth, extra) - none;
  const Eigen::MatrixXd weight = weight_of_all(vial);
  if (!beyond_mixes) return std::sqrt(shift.dot(weight * shift));
  Eigen::MatrixXd mixes(shift.size(), 3);
  for (int k = 1; k <= 3; ++k) {
    std::map<int, Eigen::VectorXd> of_dye;
    for (const auto& [gauge, optics] : vial.optics)
      of_dye[gauge] = 1e-5 * optics->absorptivity.col(k);  // mg/mL: far below what is dosed
    mixes.col(k - 1) = (all_shown(vial, vial.truth, of_dye) - none) / 1e-5;
  }
  const Eigen::MatrixXd between = mixes.transpose() * weight * mixes;
  const Eigen::VectorXd along = mixes.transpose() * (weight * shift);
  const double rest = shift.dot(weight * shift) - along.dot(between.ldlt().solve(along));
  return std::sqrt(std::max(0.0, rest));
}

}  // namespace vialwright::support
