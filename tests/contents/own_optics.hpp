/// How a tinted liquid looks through an instrument, written apart from src/mixing, with sums of its
/// own: Beer-Lambert, CIELAB and camera channels from their definitions. Its form can be told to
/// differ from what the estimator thinks.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <utility>
#include <vector>

#include "colour/colour.hpp"
#include "plant/plant.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::support {

struct Optics {
  plant::ColourGauge::Gives gives = plant::ColourGauge::Gives::lab;
  bool absorbance = true;
  std::vector<double> nm;
  Eigen::MatrixXd weights;                        ///< (values, nm)
  Eigen::MatrixXd absorptivity;                   ///< (nm, components) mL/(mg cm)
  std::vector<std::pair<double, double>> chords;  ///< length in cm, share of the light

  [[nodiscard]] int values() const { return static_cast<int>(weights.rows()); }

  /// @param mg_per_ml (components) @param extra (nm) absorbance of 1 cm of something else, or
  /// empty.
  [[nodiscard]] Eigen::VectorXd show(const Eigen::VectorXd& mg_per_ml, double path, double stray,
                                     const Eigen::VectorXd& extra = {}) const {
    Eigen::VectorXd per_cm = absorptivity * mg_per_ml;
    if (extra.size() > 0) per_cm += extra;
    Eigen::VectorXd through = Eigen::VectorXd::Zero(per_cm.size());
    for (const auto& [length, share] : chords)
      through += share * (-2.302585092994046 * path * length * per_cm.array()).exp().matrix();
    through = ((through.array() + stray) / (1.0 + stray)).matrix();
    const Eigen::VectorXd sums = weights * through;
    if (gives == plant::ColourGauge::Gives::lab) return lab(sums);
    if (gives == plant::ColourGauge::Gives::spectrum && !absorbance) return sums;
    return (-sums.array().log() / 2.302585092994046).matrix();
  }

 private:
  [[nodiscard]] Eigen::VectorXd lab(const Eigen::VectorXd& xyz) const {
    const Eigen::VectorXd white = weights.rowwise().sum();
    double f[3];
    for (int i = 0; i < 3; ++i) {
      const double t = xyz[i] / white[i];
      f[i] = t > 216.0 / 24389.0 ? std::cbrt(t) : (24389.0 / 27.0 * t + 16.0) / 116.0;
    }
    Eigen::VectorXd all(3);
    all << 116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2]);
    return all;
  }
};

/// Where the form of the world differs from what the estimator thinks.
struct OpticalForm {
  double band_scale = 1.0;  ///< of the width of bands
  double shift_nm = 0.0;    ///< of the wavelengths of bands and channels
  int points = 9;           ///< over a triangular band
  int strips = 16;          ///< over a round vial's window
  bool fine = false;        ///< 1 nm instead of 5
};

/// Rows of a table of 1 nm: nm, then whatever a caller wants of x2, y2, z2, D65.
using FineTable = std::vector<std::vector<double>>;

inline void see_bands(Optics& optics, const plant::ColourGauge& gauge, const OpticalForm& form) {
  const int count = gauge.bands.size();
  const double width = form.band_scale * gauge.bandwidth_nm;
  const int points = width > 0.0 ? form.points : 1;
  optics.weights.setZero(count, count * points);
  for (int v = 0; v < count; ++v) {
    double sum = 0.0;
    for (int p = 0; p < points; ++p) {
      const double t = points == 1 ? 0.0 : 2.0 * (p + 1.0) / (points + 1.0) - 1.0;
      optics.nm.push_back(gauge.bands.at(v) + form.shift_nm + t * width);
      sum += optics.weights(v, v * points + p) = 1.0 - std::abs(t);
    }
    optics.weights.row(v) /= sum;
  }
}

/// D65 and the 2 degree observer, in steps of 5 nm or by a finer table.
inline void see_colour(Optics& optics, const FineTable& fine) {
  const colour::Weights& table =
      colour::weights(colour::Observer::cie1931, colour::Illuminant::d65);
  const int count = fine.empty() ? table.grid.size() : static_cast<int>(fine.size());
  optics.weights.resize(3, count);
  for (int i = 0; i < count; ++i) {
    const auto at = static_cast<std::size_t>(i);
    optics.nm.push_back(fine.empty() ? table.grid.at(i) : fine[at][0]);
    if (fine.empty())
      optics.weights.col(i) << table.x[at], table.y[at], table.z[at];
    else
      for (int axis = 0; axis < 3; ++axis)
        optics.weights(axis, i) = fine[at][static_cast<std::size_t>(axis + 1)] * fine[at][9];
  }
}

inline void see_channels(Optics& optics, const plant::ColourGauge& gauge, const OpticalForm& form) {
  const double step = form.fine ? 1.0 : 5.0;
  for (double nm = 380.0; nm <= 780.0; nm += step) optics.nm.push_back(nm + form.shift_nm);
  optics.weights.setZero(static_cast<Eigen::Index>(gauge.channels.size()),
                         static_cast<Eigen::Index>(optics.nm.size()));
  for (Eigen::Index v = 0; v < optics.weights.rows(); ++v) {
    const colour::Spectrum& channel = gauge.channels[static_cast<std::size_t>(v)];
    for (Eigen::Index i = 0; i < optics.weights.cols(); ++i)
      optics.weights(v, i) =
          colour::at(channel, 380.0 + step * static_cast<double>(i), colour::Between::linear);
    optics.weights.row(v) /= optics.weights.row(v).sum();
  }
}

/// @param fine  rows of the CIE tables at 1 nm (column 9 is D65), or empty for steps of 5 nm.
inline Optics own_optics(const recipe::Book& book, const plant::ColourGauge& gauge,
                         double inner_diameter_mm, const OpticalForm& form = {},
                         const FineTable& fine = {}) {
  Optics optics;
  optics.gives = gauge.gives;
  optics.absorbance = gauge.absorbance;
  switch (gauge.gives) {
    case plant::ColourGauge::Gives::spectrum:
      see_bands(optics, gauge, form);
      break;
    case plant::ColourGauge::Gives::lab:
      see_colour(optics, fine);
      break;
    case plant::ColourGauge::Gives::channels:
      see_channels(optics, gauge, form);
      break;
  }
  optics.absorptivity.setZero(static_cast<Eigen::Index>(optics.nm.size()),
                              static_cast<Eigen::Index>(book.components.size()));
  for (Eigen::Index k = 0; k < optics.absorptivity.cols(); ++k) {
    const auto& spectrum = book.components[static_cast<std::size_t>(k)].absorptivity;
    if (spectrum.nm.empty()) continue;
    for (Eigen::Index i = 0; i < optics.absorptivity.rows(); ++i)
      optics.absorptivity(i, k) = colour::at(spectrum, optics.nm[static_cast<std::size_t>(i)]);
  }
  if (gauge.path_cm > 0.0) {
    optics.chords = {{gauge.path_cm, 1.0}};
  } else if (gauge.strip_rel == 0.0) {
    optics.chords = {{0.1 * inner_diameter_mm, 1.0}};
  } else {
    for (int s = 0; s < form.strips; ++s) {
      const double off = gauge.strip_rel * (s + 0.5) / form.strips;
      optics.chords.emplace_back(0.1 * inner_diameter_mm * std::sqrt(1.0 - off * off),
                                 1.0 / form.strips);
    }
  }
  return optics;
}

}  // namespace vialwright::support
