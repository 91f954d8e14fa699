#include "conformity/along.hpp"

#include <Eigen/Eigenvalues>
#include <algorithm>

namespace vialwright::conformity {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// Vectors of liquids are whole.
std::size_t whole(std::size_t count) { return (count + hands - 1) / hands * hands; }

Eigen::Matrix3d root_of(const Eigen::Matrix3d& metric) {
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> parts(metric);
  const Eigen::Vector3d sizes = parts.eigenvalues().cwiseMax(0.0).cwiseSqrt();
  return sizes.asDiagonal() * parts.eigenvectors().transpose();
}

}  // namespace

Along::Along(const ColourLine& line, const Look& look, const Eigen::VectorXd& mean,
             const std::vector<int>& axes, const Eigen::MatrixXd& rows)
    : line_(line), given_(amounts_given(line)) {
  const Eigen::Index drawn = rows.cols() - 1;
  std::vector<int> columns;  // axes of x
  const auto column = [&](int axis) {
    if (axis < 0) return -1;
    const auto found = std::ranges::find(columns, axis);
    if (found != columns.end()) return static_cast<int>(found - columns.begin());
    columns.push_back(axis);
    return static_cast<int>(columns.size()) - 1;
  };
  for (int i = 0; i < given_; ++i) {
    mass_.push_back(column(line.mass[at(i)]));
    deviation_.push_back(column(line.deviation[at(i)]));
  }
  volume_ = column(line.volume);
  const auto size = static_cast<Eigen::Index>(columns.size());
  rows_.setZero(size, drawn);
  step_.setZero(size);
  middle_.resize(size);
  Eigen::MatrixXd lab_rows = Eigen::MatrixXd::Zero(3, rows.cols());
  for (Eigen::Index c = 0; c < size; ++c) {
    const int axis = columns[static_cast<std::size_t>(c)];
    middle_(c) = mean(axis);
    const auto moves = std::ranges::find(axes, axis);
    if (moves == axes.end()) continue;
    const auto row = static_cast<Eigen::Index>(moves - axes.begin());
    rows_.row(c) = rows.row(row).head(drawn);
    step_(c) = rows(row, drawn);
    const auto known = std::ranges::find(look.axes, axis);
    if (known == look.axes.end()) continue;
    lab_rows += look.slopes.col(known - look.axes.begin()) * rows.row(row);
  }
  const Eigen::Matrix3d root = root_of(look.metric);
  ball_.rows.resize(static_cast<std::size_t>(3 * drawn));
  Eigen::Map<Eigen::MatrixXd>(ball_.rows.data(), 3, drawn) = root * lab_rows.leftCols(drawn);
  Eigen::Map<Eigen::Vector3d>(ball_.step.data()) = root * lab_rows.col(drawn);
  Eigen::Map<Eigen::Vector3d>(ball_.off.data()) = root * look.off;
  ball_.limit = line.high * line.high;
}

void Along::stand_at(const Drawn& drawn) {
  const auto count = static_cast<Eigen::Index>(drawn.count);
  const Eigen::Map<const Eigen::MatrixXd> z(drawn.z.data(), count, rows_.cols());
  base_.noalias() = z * rows_.transpose();
  base_.rowwise() += middle_.transpose();
  const Eigen::Map<const Eigen::MatrixXd> rows(ball_.rows.data(), 3, z.cols());
  lab_base_.noalias() = rows * z.transpose();
  lab_base_.colwise() += Eigen::Map<const Eigen::Vector3d>(ball_.off.data());
}

Along::Parabola Along::first_order(int point) const {
  const Eigen::Vector3d here = lab_base_.col(point);
  const Eigen::Map<const Eigen::Vector3d> step(ball_.step.data());
  return {step.squaredNorm(), step.dot(here), here.squaredNorm() - ball_.limit};
}

void Along::fill_amounts(std::span<const int> points, std::span<const double> t,
                         std::size_t padded) {
  amounts_.resize(at(given_) * padded);
  const auto value = [&](int column, std::size_t k) {
    return base_(points[k], column) + step_(column) * t[k];
  };
  double* row = amounts_.data();
  for (int i = 0; i < given_; ++i, row += padded) {
    const int mass = mass_[at(i)], deviation = deviation_[at(i)];
    if (mass < 0) {
      std::fill(row, row + padded, 0.0);
      continue;
    }
    for (std::size_t k = 0; k < points.size(); ++k) row[k] = value(mass, k);
    if (deviation >= 0)
      for (std::size_t k = 0; k < points.size(); ++k) row[k] *= 1.0 + value(deviation, k);
    if (is_dissolved(line_, i))
      for (std::size_t k = 0; k < points.size(); ++k) row[k] /= value(volume_, k);
    std::fill(row + points.size(), row + padded, row[0]);
  }
}

void Along::excess(std::span<const int> points, std::span<const double> t,
                   std::span<double> result) {
  if (points.empty()) return;
  const std::size_t padded = whole(points.size());
  fill_amounts(points, t, padded);
  labs_.resize(3 * padded);
  difference_.resize(padded);
  const std::span<double> l(labs_.data(), padded), a(labs_.data() + padded, padded),
      b(labs_.data() + 2 * padded, padded);
  line_.view->labs(amounts_, static_cast<int>(padded), l, a, b);
  colour::difference_00({l, a, b}, line_.target, difference_);
  const double limit = line_.high * line_.high;
  for (std::size_t k = 0; k < points.size(); ++k)
    result[k] = difference_[k] * difference_[k] - limit;
}

}  // namespace vialwright::conformity
