/// A colour line as a belief sees it, first order about the mean. Private to this module.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "conformity/conformity.hpp"

namespace vialwright::conformity {

struct Look {
  colour::Lab lab;          ///< of the mean
  double difference = 0.0;  ///< CIEDE2000 of the mean
  double u = 0.0;           ///< of the difference, by the moments of its square
  std::vector<int> axes;    ///< of x, rising: those the colour hangs on
  Eigen::MatrixXd slopes;   ///< d(L, a, b) / d axes, (3, axes)
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();  ///< of L*, a*, b*
  Eigen::Matrix3d metric =
      Eigen::Matrix3d::Zero();                    ///< CIEDE2000^2 ~ e' metric e, e = lab - target
  Eigen::Vector3d off = Eigen::Vector3d::Zero();  ///< lab - target of the mean

  /// No doubt about the colour that could matter.
  [[nodiscard]] bool sure() const { return (metric * covariance).trace() <= 1e-18; }
  /// Rows whose squared norm tells how much a move of the axes changes the difference, on the
  /// average over the belief: E of the squared slope of the difference, over the tolerance squared.
  [[nodiscard]] Eigen::MatrixXd effect(double high) const;
};

[[nodiscard]] Look look_at(const ColourLine& line, const Eigen::VectorXd& mean,
                           const Eigen::MatrixXd& covariance);

/// How many of the view's amounts there are: those after the last one that x has are zero.
[[nodiscard]] int amounts_given(const ColourLine& line);
/// Is that amount a concentration, mass over volume?
[[nodiscard]] bool is_dissolved(const ColourLine& line, int amount);

}  // namespace vialwright::conformity
