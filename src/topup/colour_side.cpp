#include "topup/colour_side.hpp"

namespace vialwright::topup {
namespace {

using Eigen::Index;

std::vector<std::size_t> spoken_of(const conformity::ColourLine& line) {
  std::vector<std::size_t> used;
  for (std::size_t i = 0; i < line.mass.size(); ++i)
    if (line.mass[i] >= 0) used.push_back(i);
  return used;
}

Eigen::MatrixXd units(const std::vector<std::size_t>& used, int amounts) {
  Eigen::MatrixXd all = Eigen::MatrixXd::Zero(amounts, static_cast<Index>(used.size()));
  for (std::size_t k = 0; k < used.size(); ++k)
    all(static_cast<Index>(used[k]), static_cast<Index>(k)) = 1.0;
  return all;
}

}  // namespace

ColourSide::ColourSide(conformity::ColourLine line)
    : line_(std::move(line)),
      wanted_(topup::wanted(line_.target, line_.high)),
      used_(spoken_of(line_)),
      look_(*line_.view, units(used_, line_.view->amounts())) {}

bool ColourSide::is_foreign(std::size_t amount) const {
  const int components = line_.view->amounts() - mixing::foreign_shapes;
  return line_.volume < 0 || static_cast<int>(amount) >= components;
}

/// What one unit of the mass colours the liquid.
double ColourSide::scale(std::size_t amount, const Eigen::VectorXd& x) const {
  if (is_foreign(amount)) return 1.0;
  const int deviation = line_.deviation[amount];
  return (deviation >= 0 ? 1.0 + x[deviation] : 1.0) / x[line_.volume];
}

std::vector<double> ColourSide::amounts(const Eigen::VectorXd& x) const {
  std::vector<double> amounts;
  for (const std::size_t i : used_) amounts.push_back(x[line_.mass[i]] * scale(i, x));
  return amounts;
}

colour::Lab ColourSide::lab(const Eigen::VectorXd& x, Slopes& slopes) const {
  slopes.setZero(3, x.size());
  Look::Gradient of_amounts;
  const std::vector<double> amounts = this->amounts(x);
  const colour::Lab lab = look_.lab(amounts.data(), &of_amounts);
  for (std::size_t k = 0; k < used_.size(); ++k) {
    const std::size_t i = used_[k];
    const auto slope = of_amounts.col(static_cast<Index>(k));
    slopes.col(line_.mass[i]) += scale(i, x) * slope;
    if (is_foreign(i)) continue;
    const double volume = x[line_.volume];
    slopes.col(line_.volume) -= amounts[k] / volume * slope;
    if (line_.deviation[i] >= 0)
      slopes.col(line_.deviation[i]) += x[line_.mass[i]] / volume * slope;
  }
  return lab;
}

ColourOdds ColourSide::odds(const Eigen::VectorXd& x, const Eigen::MatrixXd& covariance) const {
  Slopes slopes;
  const colour::Lab lab = this->lab(x, slopes);
  return colour_odds(vector_of(lab), slopes * covariance * slopes.transpose(), wanted_);
}

Shade ColourSide::shade(const Eigen::VectorXd& x, const Eigen::MatrixXd& grams) const {
  const double volume = x[line_.volume];
  Eigen::VectorXd now = Eigen::VectorXd::Zero(line_.view->amounts());
  Eigen::MatrixXd per_g = Eigen::MatrixXd::Zero(now.size(), grams.cols());
  for (const std::size_t i : used_) {
    const auto row = static_cast<Index>(i);
    now[row] = x[line_.mass[i]] * scale(i, x);
    if (!is_foreign(i)) per_g.row(row) = volume * scale(i, x) * grams.row(line_.mass[i]);
  }
  return {*line_.view, now, per_g, volume, grams.row(line_.volume).transpose()};
}

}  // namespace vialwright::topup
