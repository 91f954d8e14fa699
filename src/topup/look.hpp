/// Private to topup: how a liquid looks, for the few things that colour it and that a search moves.
/// The same law and eye as mixing::View, laid out for vectors.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "mixing/mixing.hpp"

namespace vialwright::topup {

class Look {
 public:
  using Gradient = Eigen::Matrix<double, 3, Eigen::Dynamic>;  ///< (3, things)

  /// @param things  (amounts of the view, things): what one unit of each thing colours the liquid.
  Look(const mixing::View& view, const Eigen::MatrixXd& things);

  [[nodiscard]] int things() const { return things_; }
  /// @param amounts  (things), of each. @param gradient  d(X, Y, Z) / d amounts, or nullptr.
  [[nodiscard]] colour::Xyz xyz(const double* amounts, Gradient* gradient = nullptr) const;
  /// The same with L*, a*, b*.
  [[nodiscard]] colour::Lab lab(const double* amounts, Gradient* gradient = nullptr) const;
  [[nodiscard]] const colour::Xyz& white() const { return white_; }

 private:
  int things_ = 0;
  std::size_t bands_ = 0;           ///< padded to whole vectors, with weights of zero
  std::vector<double> absorption_;  ///< (things, bands), natural logarithm
  std::vector<double> weights_;     ///< (3, bands)
  colour::Xyz white_;
};

}  // namespace vialwright::topup
