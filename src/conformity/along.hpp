/// A colour line along the last variable t, at many points at once. Private to this module.
#pragma once

#include <Eigen/Core>
#include <span>
#include <utility>
#include <vector>

#include "conformity/look.hpp"
#include "conformity/sequential.hpp"

namespace vialwright::conformity {

class Along {
 public:
  /// @param axes, rows  as Seen and SeenConditioning have them: axes = their means + rows z.
  Along(const ColourLine& line, const Look& look, const Eigen::VectorXd& mean,
        const std::vector<int>& axes, const Eigen::MatrixXd& rows);

  /// From now on `points` below are entries of these.
  void stand_at(const Drawn& drawn);

  /// CIEDE2000^2 - tolerance^2 of points[k] at t[k], for all k. At most 0: within the tolerance.
  void excess(std::span<const int> points, std::span<const double> t, std::span<double> result);

  /// The same to first order along the whole of t: square t^2 + 2 slope t + constant.
  struct Parabola {
    double square = 0.0, slope = 0.0, constant = 0.0;
  };
  [[nodiscard]] Parabola first_order(int point) const;
  /// The same as a ball: within it the excess is at most 0 to first order.
  [[nodiscard]] const Ball& ball() const { return ball_; }
  [[nodiscard]] double tolerance() const { return line_.high; }

 private:
  void fill_amounts(std::span<const int> points, std::span<const double> t, std::size_t padded);

  const ColourLine& line_;
  int given_ = 0;
  std::vector<int> mass_, deviation_;  // columns of base_, or -1; one an amount
  int volume_ = -1;
  Eigen::MatrixXd rows_;           // (columns, variables but the last)
  Eigen::VectorXd middle_, step_;  // (columns): mean and slope along t
  Eigen::MatrixXd base_;           // (count, columns): at t = 0
  Ball ball_;                      // of L*, a*, b* in the metric's root
  Eigen::MatrixXd lab_base_;       // (3, count): the same at t = 0
  std::vector<double> amounts_, labs_, difference_;
};

}  // namespace vialwright::conformity
