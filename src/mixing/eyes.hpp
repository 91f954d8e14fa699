/// What a colour gauge makes of the light that comes through: sums over wavelengths. Private to
/// this module.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "plant/plant.hpp"

namespace vialwright::mixing {

/// value = sum_p sum over the wavelengths it takes part in; two layouts, so that a spectrum costs
/// one product a wavelength and not one a wavelength and value.
struct Eyes {
  std::vector<double> nm;
  Eigen::VectorXd blank;    ///< (values) of clear solvent: the sums of the weights
  Eigen::MatrixXd weights;  ///< lab and channels: (values, wavelengths)
  /// Spectrum: wavelength nm[p * values + v] counts for value v alone, by band_weights[p].
  std::vector<double> band_weights;

  [[nodiscard]] Eigen::Index values() const { return blank.size(); }
  /// @param light (wavelengths, any) @returns (values, any)
  [[nodiscard]] Eigen::MatrixXd sums(const Eigen::MatrixXd& light) const;
};

/// @pre  the gauge has no problems (plant::problems).
[[nodiscard]] Eyes eyes(const plant::ColourGauge& gauge);

}  // namespace vialwright::mixing
