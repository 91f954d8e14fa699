#include "contents/fitted.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <boost/math/special_functions/erf.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <numbers>

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

double below(double t) { return 0.5 * std::erfc(-t / std::numbers::sqrt2); }

/// The z >= 0 that a standard normal exceeds in size with that chance.
double as_normal(double value, int degrees) {
  const double tail = chi_squared_tail(value, degrees);
  if (tail > 1e-290) return std::numbers::sqrt2 * boost::math::erfc_inv(std::min(tail, 1.0));
  // Wilson & Hilferty's cube root, where the tail is too small for a double.
  const double ninth = 2.0 / (9.0 * degrees);
  return (std::cbrt(value / degrees) - (1.0 - ninth)) / std::sqrt(ninth);
}

/// Pull and weight (diagonal only) of every value, back in its own unit.
struct ByValue {
  VectorXd pull, weight;
};

ByValue by_value(const Fit& fit, const VialModel::Rows& rows, const ColourRows& reading,
                 const ColourRows::Beyond& beyond) {
  const MatrixXd whitening = reading.whitening();
  // Along `turn` the fit knows more than the noise; across it, only the noise.
  const MatrixXd less = MatrixXd::Identity(rows.count, rows.count) -
                        fit.weight.block(rows.first, rows.first, rows.count, rows.count);
  const MatrixXd turned = whitening.transpose() * beyond.turn;  // (values, rows)
  ByValue all;
  all.pull =
      turned * fit.pull.segment(rows.first, rows.count) + whitening.transpose() * beyond.left;
  all.weight = whitening.colwise().squaredNorm().transpose();
  all.weight -= (turned * less).cwiseProduct(turned).rowwise().sum();
  return all;
}

/// K'(t) of the cumulant generating function of the weighted sum.
double slope_of_cumulant(const VectorXd& weights, double t) {
  return (weights.array() / (1.0 - 2.0 * t * weights.array())).sum();
}

}  // namespace

double chi_squared_tail(double value, int degrees) {
  if (degrees <= 0) return 1.0;
  return boost::math::gamma_q(0.5 * degrees, 0.5 * std::max(0.0, value));
}

double weighted_tail(double value, const VectorXd& weights) {
  const double mean = weights.sum();
  if (!(value > 0.0)) return 1.0;
  double high = 0.5 / weights.maxCoeff(), low = -0.5 * static_cast<double>(weights.size()) / value;
  for (int step = 0; step < 60; ++step) {
    const double middle = 0.5 * (low + high);
    (slope_of_cumulant(weights, middle) < value ? low : high) = middle;
  }
  const double t = low;
  if (std::abs(value - mean) < 1e-3 * mean) return 0.4;  // the formula divides by zero there
  const auto shrunk = 1.0 - 2.0 * t * weights.array();
  const double cumulant = -0.5 * shrunk.log().sum();
  const double w = std::copysign(std::sqrt(2.0 * std::max(0.0, t * value - cumulant)), t);
  const double v = t * std::sqrt(2.0 * (weights.array() / shrunk).square().sum());
  return below(-(w + std::log(v / w) / w));
}

Fitted fitted(const VialModel& model, int max_iterations) {
  Fitted all{map_estimate(model.unknowns(), model.observed(), model, max_iterations), {}};
  const ColourPart& colour = model.colour();
  for (const ColourRows& it : colour.rows) {
    all.beyond.push_back(it.beyond(model.liquid(), colour.dyes, all.fit.at));
    all.fit.chi_squared += all.beyond.back().left.squaredNorm();
    all.fit.degrees += it.values() - it.rows();
  }
  return all;
}

ReadingReport colour_report(const Fitted& fitted, const VialModel& model, std::size_t i) {
  const Fit& fit = fitted.fit;
  const ColourRows& reading = model.colour().rows[i];
  const ColourRows::Beyond& beyond = fitted.beyond[i];
  const VialModel::Rows& rows = model.rows(model.colour().reading[i]);
  const auto pull = fit.pull.segment(rows.first, rows.count);
  const MatrixXd weight = fit.weight.block(rows.first, rows.first, rows.count, rows.count);
  const ByValue each = by_value(fit, rows, reading, beyond);
  ReadingReport report;
  report.values = reading.values();
  report.chi_squared = beyond.left.squaredNorm();
  if (rows.count > 0) report.chi_squared += pull.dot(weight.ldlt().solve(pull));
  Index worst = 0;
  (each.pull.array().square() / each.weight.array()).maxCoeff(&worst);
  report.worst_value = static_cast<int>(worst);
  report.residual = each.pull[worst] / each.weight[worst];
  report.predicted = reading.read()[worst] - report.residual;
  report.standardised =
      std::copysign(as_normal(report.chi_squared, report.values), report.residual);
  report.share = (static_cast<double>(rows.count) - weight.trace()) / report.values;
  return report;
}

double chance_of_no_colourant(const Fitted& fitted, const VialModel& model) {
  const Fit& fit = fitted.fit;
  const ColourPart& colour = model.colour();
  if (!colour.counts() || colour.dyes.foreign_at >= 0) return 1.0;
  MatrixXd pattern = MatrixXd::Zero(fit.pull.size(), mixing::foreign_shapes);
  MatrixXd seen = MatrixXd::Zero(mixing::foreign_shapes, mixing::foreign_shapes);
  VectorXd score = VectorXd::Zero(mixing::foreign_shapes);
  for (std::size_t i = 0; i < colour.rows.size(); ++i) {
    const ColourRows::Beyond& it = fitted.beyond[i];
    const VialModel::Rows& rows = model.rows(colour.reading[i]);
    const MatrixXd along = it.turn.transpose() * it.foreign;
    pattern.middleRows(rows.first, rows.count) = along;
    score += it.foreign.transpose() * it.left;
    seen += it.foreign.transpose() * it.foreign - along.transpose() * along;
  }
  seen += pattern.transpose() * fit.weight * pattern;
  score += pattern.transpose() * fit.pull;
  const Eigen::SelfAdjointEigenSolver<MatrixXd> axes(seen);
  // At this size of the amplitudes the expected noncentrality is 20: it can just be seen.
  const VectorXd sight = axes.eigenvalues().cwiseMax(0.0) * (20.0 / seen.trace());
  const VectorXd weights = sight.array() / (1.0 + sight.array());
  const VectorXd along = axes.eigenvectors().transpose() * score;
  double sum = 0.0;
  int count = 0;
  VectorXd used(weights.size());
  for (Index a = 0; a < weights.size(); ++a) {
    if (sight[a] < 1e-6) continue;  // nothing of it is seen
    sum += weights[a] * along[a] * along[a] / axes.eigenvalues()[a];
    used[count++] = weights[a];
  }
  return count == 0 ? 1.0 : weighted_tail(sum, used.head(count));
}

}  // namespace vialwright::contents
