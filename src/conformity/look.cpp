#include "conformity/look.hpp"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

namespace vialwright::conformity {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

colour::Lab moved(const colour::Lab& lab, const Eigen::Vector3d& by) {
  return {lab.l + by(0), lab.a + by(1), lab.b + by(2)};
}

/// Near the target CIEDE2000^2 is a quadratic form, but for its hue jumps and its own curvature. By
/// differences, since its formula is not made to be differentiated; they are taken where the
/// difference is about `size`, since what matters is where the tolerance ends.
Eigen::Matrix3d metric_at(const colour::Lab& target, double size) {
  const auto squared = [&](const Eigen::Vector3d& along) {
    const auto at = [&](double step) {
      return colour::difference_00(target, moved(target, step * along));
    };
    const double first = 0.25;
    double squares = 0.0;
    for (const double sign : {-1.0, 1.0}) {
      const double step = first * size / at(sign * first);
      squares += 0.5 * std::pow(at(sign * step) / step, 2);
    }
    return squares;
  };
  Eigen::Matrix3d metric;
  for (int i = 0; i < 3; ++i) metric(i, i) = squared(Eigen::Vector3d::Unit(i));
  for (int i = 0; i < 3; ++i) {
    for (int j = 0; j < i; ++j) {
      const Eigen::Vector3d both = Eigen::Vector3d::Unit(i) + Eigen::Vector3d::Unit(j);
      const Eigen::Vector3d against = Eigen::Vector3d::Unit(i) - Eigen::Vector3d::Unit(j);
      metric(i, j) = metric(j, i) = 0.25 * (squared(both) - squared(against));
    }
  }
  return metric;
}

/// Amounts at x, and their slopes as columns of `slopes`, (amounts, x).
Eigen::VectorXd amounts_at(const ColourLine& line, const Eigen::VectorXd& x,
                           Eigen::MatrixXd& slopes) {
  const int given = amounts_given(line);
  Eigen::VectorXd amounts = Eigen::VectorXd::Zero(given);
  slopes.setZero(given, x.size());
  for (int i = 0; i < given; ++i) {
    const int mass = line.mass[at(i)], deviation = line.deviation[at(i)];
    if (mass < 0) continue;
    const bool dissolved = is_dissolved(line, i);
    const double per = dissolved ? 1.0 / x(line.volume) : 1.0;
    const double scale = per * (deviation < 0 ? 1.0 : 1.0 + x(deviation));
    amounts(i) = x(mass) * scale;
    slopes(i, mass) += scale;
    if (deviation >= 0) slopes(i, deviation) += x(mass) * per;
    if (dissolved) slopes(i, line.volume) -= amounts(i) * per;
  }
  return amounts;
}

std::vector<int> axes_of(const ColourLine& line) {
  std::vector<int> axes;
  for (int i = 0; i < amounts_given(line); ++i) {
    if (line.mass[at(i)] < 0) continue;
    if (line.view->absorption().col(i).cwiseAbs().maxCoeff() == 0.0) continue;
    axes.push_back(line.mass[at(i)]);
    if (line.deviation[at(i)] >= 0) axes.push_back(line.deviation[at(i)]);
    if (is_dissolved(line, i)) axes.push_back(line.volume);
  }
  std::ranges::sort(axes);
  axes.erase(std::unique(axes.begin(), axes.end()), axes.end());
  return axes;
}

/// Half the gradient of the squared difference, which has no kink at the target.
Eigen::Vector3d pull_of(const colour::Lab& lab, const colour::Lab& target) {
  constexpr double step = 0.01;
  const auto squared = [&](const Eigen::Vector3d& by) {
    const double difference = colour::difference_00(moved(lab, by), target);
    return difference * difference;
  };
  Eigen::Vector3d pull;
  for (int i = 0; i < 3; ++i) {
    const Eigen::Vector3d by = step * Eigen::Vector3d::Unit(i);
    pull(i) = (squared(by) - squared(-by)) / (4.0 * step);
  }
  return pull;
}

/// For a Gaussian e, d^2 + 2 pull'e + e'M e has a known mean and variance; u(d) is u(d^2) over
/// 2 sqrt(mean d^2). Far from the target this is the first order, and at the target, where d has no
/// slope, it stays finite.
double u_of_difference(const Look& look, const colour::Lab& target) {
  const Eigen::Vector3d pull = pull_of(look.lab, target);
  const Eigen::Matrix3d spread = look.metric * look.covariance;
  const double mean = look.difference * look.difference + spread.trace();
  const double variance = 4.0 * pull.dot(look.covariance * pull) + 2.0 * (spread * spread).trace();
  return mean > 0.0 ? std::sqrt(std::max(variance, 0.0) / (4.0 * mean)) : 0.0;
}

}  // namespace

int amounts_given(const ColourLine& line) {
  int given = static_cast<int>(line.mass.size());
  while (given > 0 && line.mass[at(given - 1)] < 0) --given;
  return given;
}

bool is_dissolved(const ColourLine& line, int amount) {
  return line.volume >= 0 && amount < line.view->amounts() - mixing::foreign_shapes;
}

Look look_at(const ColourLine& line, const Eigen::VectorXd& mean,
             const Eigen::MatrixXd& covariance) {
  Look look;
  Eigen::MatrixXd of_x;
  const Eigen::VectorXd amounts = amounts_at(line, mean, of_x);
  mixing::Gradient of_amounts;
  look.lab = line.view->lab(amounts, of_amounts);
  look.difference = colour::difference_00(look.lab, line.target);
  look.off << look.lab.l - line.target.l, look.lab.a - line.target.a, look.lab.b - line.target.b;
  look.axes = axes_of(line);
  look.metric = metric_at(line.target, std::clamp(line.high, 0.1, 5.0));
  const auto axes = static_cast<Eigen::Index>(look.axes.size());
  look.slopes.resize(3, axes);
  Eigen::MatrixXd doubt(axes, axes);
  for (Eigen::Index j = 0; j < axes; ++j) {
    const int axis = look.axes[static_cast<std::size_t>(j)];
    look.slopes.col(j) = of_amounts * of_x.col(axis);
    for (Eigen::Index k = 0; k < axes; ++k)
      doubt(j, k) = covariance(axis, look.axes[static_cast<std::size_t>(k)]);
  }
  look.covariance = look.slopes * doubt * look.slopes.transpose();
  look.u = u_of_difference(look, line.target);
  return look;
}

Eigen::MatrixXd Look::effect(double high) const {
  const Eigen::Matrix3d moments = off * off.transpose() + covariance;
  const double scale = (metric * moments).trace() * high * high;
  const Eigen::Matrix3d squares = metric * moments * metric / std::max(scale, 1e-300);
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> parts(squares);
  const Eigen::Vector3d sizes = parts.eigenvalues().cwiseMax(0.0).cwiseSqrt();
  return sizes.asDiagonal() * parts.eigenvectors().transpose() * slopes;
}

}  // namespace vialwright::conformity
