/// Private to topup: one limit on colour, over the properties of a vial.
#pragma once

#include <vector>

#include "conformity/conformity.hpp"
#include "topup/colour_odds.hpp"

namespace vialwright::topup {

/// What the eye sees of properties at any values. An unknown colourant is a property of its own,
/// an absorbance; all else is a mass over the volume.
class ColourSide {
 public:
  using Slopes = Eigen::Matrix<double, 3, Eigen::Dynamic>;  ///< (3, properties)

  /// @param line  its axes are properties.
  explicit ColourSide(conformity::ColourLine line);

  [[nodiscard]] const conformity::ColourLine& line() const { return line_; }
  [[nodiscard]] const Wanted& wanted() const { return wanted_; }
  [[nodiscard]] colour::Lab lab(const Eigen::VectorXd& x, Slopes& slopes) const;
  /// The chance that the colour is within its limit, first order about x.
  [[nodiscard]] ColourOdds odds(const Eigen::VectorXd& x, const Eigen::MatrixXd& covariance) const;
  /// The liquid of properties x, and what doses of these grams each bring (properties, doses).
  [[nodiscard]] Shade shade(const Eigen::VectorXd& x, const Eigen::MatrixXd& grams) const;

 private:
  [[nodiscard]] bool is_foreign(std::size_t amount) const;
  [[nodiscard]] double scale(std::size_t amount, const Eigen::VectorXd& x) const;
  [[nodiscard]] std::vector<double> amounts(const Eigen::VectorXd& x) const;

  conformity::ColourLine line_;
  Wanted wanted_;
  std::vector<std::size_t> used_;  ///< amounts that some property speaks of
  Look look_;                      ///< of those
};

}  // namespace vialwright::topup
