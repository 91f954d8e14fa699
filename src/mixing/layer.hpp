/// An absorbing layer and what weighs the light behind it, over any number of bands, laid out for
/// vectors. Private to this module.
#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "colour/colour.hpp"

namespace vialwright::mixing {

/// Columns are padded with bands that weigh nothing, to a whole number of the widest vectors.
struct Layer {
  static constexpr std::size_t widest = 8;  ///< doubles in 512 bits

  /// @param absorbance  decadic, of one unit of each amount, (bands, amounts).
  Layer(const Eigen::MatrixXd& absorbance, const colour::Weights& weights);

  std::size_t bands = 0, stride = 0, amounts = 0;
  std::vector<double> natural;          ///< d ln T / d amount: natural[amount * stride + band]
  std::vector<double> by_band;          ///< the same as by_band[band * amounts + amount]
  std::vector<double> x, y, z;          ///< (stride)
  std::vector<double> weights_by_band;  ///< x, y, z of each band in turn
  std::vector<bool> absorbs;            ///< (amounts): is there any colour in it
};

/// Tristimulus values of one liquid. @param amounts  the first ones; those left out are zero.
[[nodiscard]] colour::Xyz tristimulus(const Layer& layer, std::span<const double> amounts);
/// The same with d(X, Y, Z) / d(amounts given), column-major (3, amounts given).
[[nodiscard]] colour::Xyz tristimulus(const Layer& layer, std::span<const double> amounts,
                                      std::span<double> gradient);

/// Tristimulus values of many: amounts[i * count + r] is amount i of liquid r.
void tristimulus(const Layer& layer, std::span<const double> amounts, std::size_t count,
                 std::span<double> x, std::span<double> y, std::span<double> z);

/// y = exp(x), in place allowed. Same to 2 units in the last place on every processor.
void exponentials(std::span<const double> x, std::span<double> y);

}  // namespace vialwright::mixing
