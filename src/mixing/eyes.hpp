/// What a colour gauge makes of the light that comes through: sums over wavelengths. Private to
/// this module.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "mixing/through.hpp"
#include "plant/plant.hpp"

namespace vialwright::mixing {

/// Two layouts, so that a spectrum costs one product a wavelength and not one a wavelength and
/// value: a band sees only wavelengths of its own.
struct Eyes {
  std::vector<double> nm;
  Eigen::VectorXd blank;      ///< (values) of clear solvent: the sums of the weights
  Rows weights;               ///< lab and channels: a row a value
  std::vector<double> bands;  ///< spectrum: nm[g * padded(values) + v] counts for value v alone, by
                              ///< bands[g]

  [[nodiscard]] std::size_t values() const { return static_cast<std::size_t>(blank.size()); }
  /// @param light  (nm, padded) @returns (values)
  [[nodiscard]] Eigen::VectorXd sums(std::span<const double> light) const;
  /// Of slope * natural[i], for the first amounts. @returns (values, amounts)
  [[nodiscard]] Eigen::MatrixXd sums(const Rows& natural, std::size_t amounts,
                                     std::span<const double> slope) const;
};

/// @pre  the gauge has no problems (plant::problems).
[[nodiscard]] Eyes eyes(const plant::ColourGauge& gauge);

}  // namespace vialwright::mixing
