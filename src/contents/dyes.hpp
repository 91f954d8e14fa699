/// Private: what colours the liquid of one vial, as a function of the unknowns.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "contents/liquid.hpp"

namespace vialwright::contents {

/// Concentrations of the coloured components that were dosed, each with the deviation of its
/// absorptivity, then the amplitudes of an unknown colourant where there is one.
struct Dyes {
  std::vector<int> components;    ///< those that were dosed and have a colour
  std::vector<int> deviation_at;  ///< beside them: unknown of the relative deviation, or -1
  int foreign_at = -1;            ///< first of mixing::foreign_shapes amplitudes, or -1
  double foreign_ml = 1.0;        ///< the volume in which the amplitudes are meant

  [[nodiscard]] int count() const;
  /// Place of each in mixing's order of amounts.
  [[nodiscard]] int amount(int i, int all_components) const;
  /// @param values (count) and @param slopes (unknowns, count): set whole.
  void linearise(const Liquid& liquid, const Moment& moment, const Eigen::VectorXd& x,
                 Eigen::VectorXd& values, Eigen::MatrixXd& slopes) const;
};

}  // namespace vialwright::contents
