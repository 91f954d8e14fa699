#include "topup/odds_model.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "topup/after.hpp"

namespace vialwright::topup {
namespace {

using contents::Belief;
using Kind = contents::Effect::Kind;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// The axes of the belief that some line of the recipe looks at.
std::vector<Eigen::Index> axes_looked_at(const std::vector<conformity::Line>& lines) {
  std::vector<Eigen::Index> axes;
  const auto note = [&](const Eigen::VectorXd& weights) {
    for (Eigen::Index i = 0; i < weights.size(); ++i) {
      if (weights[i] != 0.0 && std::ranges::find(axes, i) == axes.end()) axes.push_back(i);
    }
  };
  for (const conformity::Line& line : lines) {
    note(line.weights);
    note(line.divisor);
  }
  std::ranges::sort(axes);
  return axes;
}

Eigen::VectorXd only(const Eigen::VectorXd& full, const std::vector<Eigen::Index>& axes) {
  Eigen::VectorXd part(static_cast<Eigen::Index>(axes.size()));
  for (std::size_t i = 0; i < axes.size(); ++i)
    part[static_cast<Eigen::Index>(i)] = full.size() == 0 ? 0.0 : full[axes[i]];
  return part;
}

/// R with R R' = covariance, for a covariance that may be singular.
Eigen::MatrixXd root_of(const Eigen::MatrixXd& covariance) {
  const Eigen::LDLT<Eigen::MatrixXd> ldlt(covariance);
  const Eigen::VectorXd d = ldlt.vectorD().cwiseMax(0.0).cwiseSqrt();
  const Eigen::MatrixXd lower = Eigen::MatrixXd(ldlt.matrixL()) * d.asDiagonal();
  return ldlt.transpositionsP().transpose() * lower;
}

std::vector<Addition> additions_of(const std::vector<Candidate>& chosen) {
  std::vector<Addition> additions;
  for (const Candidate& each : chosen) additions.push_back(each.addition);
  return additions;
}

/// What one gram more of a candidate does to every axis.
Eigen::VectorXd gram_of(const Candidate& candidate, const Belief& wide) {
  Eigen::VectorXd gram = Eigen::VectorXd::Zero(wide.mean.size());
  for (int k = 0; k < wide.components; ++k) gram[wide.component(k)] = candidate.mg_per_g[at(k)];
  gram[wide.stock(candidate.addition.stock)] = 1.0;
  gram[wide.net()] = 1.0;
  gram[wide.volume()] = candidate.ml_per_g;
  return gram;
}

void add_side(std::vector<Side>& sides, int index, const conformity::Line& line, double limit,
              double sign) {
  if (!std::isfinite(limit)) return;
  Side side;
  side.line = index;
  side.weights = sign * line.weights;
  if (line.divisor.size() > 0) {
    side.weights -= sign * limit * line.divisor;
  } else {
    side.constant = -sign * limit;
  }
  sides.push_back(std::move(side));
}

/// log Phi(z), without underflow.
double log_normal_cdf(double z) {
  if (z > -8.0) return std::log(0.5 * std::erfc(-z / std::sqrt(2.0)));
  return -0.5 * z * z - std::log(-z) - 0.918938533204672742;  // log sqrt(2 pi)
}

}  // namespace

OddsModel::OddsModel(const Belief& belief, const recipe::Recipe& recipe,
                     const std::vector<Candidate>& chosen, const plant::Plant& plant,
                     const recipe::Book& book) {
  const Belief wide = with_effects_of(belief, additions_of(chosen), plant, book);
  const std::vector<conformity::Line> lines = conformity::lines_of(recipe, wide);
  const std::vector<Eigen::Index> axes = axes_looked_at(lines);
  const auto properties = static_cast<Eigen::Index>(axes.size());
  const Eigen::MatrixXd root = root_of(wide.covariance);
  mean_ = only(wide.mean, axes);
  root_.resize(properties, root.cols());
  for (Eigen::Index p = 0; p < properties; ++p)
    root_.row(p) = root.row(axes[at(static_cast<int>(p))]);

  const auto n = static_cast<Eigen::Index>(chosen.size());
  std::vector<Eigen::MatrixXd> density(at(wide.stocks));
  for (Eigen::Index j = 0; j < n; ++j) {
    const Candidate& each = chosen[static_cast<std::size_t>(j)];
    const Dosing dosing =
        dosing_of(belief, each.addition.station, each.addition.stock, plant, book);
    const Eigen::VectorXd gram = only(gram_of(each, wide), axes);
    Eigen::MatrixXd moves = Eigen::MatrixXd::Zero(properties, root.cols());
    if (dosing.meter) {
      // A meter that reads high stops the dose early: by its gain for every gram, by its offset
      // once.
      const double scale = -1.0 / (1.0 + dosing.gain);
      if (const auto gain = find_meter(wide, Kind::gain, *dosing.meter, plant))
        moves += scale * gram * root.row(wide.effect(*gain));
      if (const auto offset = find_meter(wide, Kind::offset, *dosing.meter, plant))
        root_ += scale * dosing.g_per_unit * gram * root.row(wide.effect(*offset));
    }
    for (int k = 0; k < wide.components; ++k) {
      const auto effect = find_strength(wide, each.addition.lot, k);
      if (!effect) continue;
      const Eigen::VectorXd unit =
          only(Eigen::VectorXd::Unit(wide.mean.size(), wide.component(k)), axes);
      moves += unit * root.row(wide.effect(*effect));
    }
    const recipe::Stock& stock = book.stocks[at(each.addition.stock)];
    if (stock.u_density_g_per_ml > 0.0) {
      Eigen::MatrixXd& spread = density[at(each.addition.stock)];
      if (spread.size() == 0) spread.setZero(properties, n);
      const double rho = stock.density_g_per_ml;
      const Eigen::VectorXd volume =
          only(Eigen::VectorXd::Unit(wide.mean.size(), wide.volume()), axes);
      if (dosing.by_volume) spread.col(j) += stock.u_density_g_per_ml / rho * gram;
      spread.col(j) -= stock.u_density_g_per_ml / (rho * rho) * volume;
    }
    gram_.push_back(gram);
    moves_.push_back(std::move(moves));
    noise_.push_back({dosing.spread_g, dosing.spread_rel});
  }
  for (Eigen::MatrixXd& each : density)
    if (each.size() > 0) density_.push_back(std::move(each));

  for (std::size_t i = 0; i < lines.size(); ++i) {
    conformity::Line line = lines[i];
    line.weights = only(lines[i].weights, axes);
    if (line.divisor.size() > 0) line.divisor = only(lines[i].divisor, axes);
    add_side(sides_, static_cast<int>(i), line, line.low, 1.0);
    add_side(sides_, static_cast<int>(i), line, line.high, -1.0);
    lines_.push_back(std::move(line));
  }
}

double OddsModel::slope(std::size_t side, int dose) const {
  return sides_[side].weights.dot(gram_[at(dose)]);
}

double OddsModel::at_nothing(std::size_t side) const {
  return sides_[side].weights.dot(mean_) + sides_[side].constant;
}

Eigen::MatrixXd OddsModel::covariance(const Amounts& grams) const {
  Eigen::MatrixXd root = root_;
  for (Eigen::Index j = 0; j < grams.size(); ++j)
    root += grams[j] * moves_[static_cast<std::size_t>(j)];
  Eigen::MatrixXd made = root * root.transpose();
  for (Eigen::Index j = 0; j < grams.size(); ++j) {
    const auto i = static_cast<std::size_t>(j);
    const double spread = std::hypot(noise_[i].spread_g, noise_[i].spread_rel * grams[j]);
    made += spread * spread * gram_[i] * gram_[i].transpose();
  }
  for (const Eigen::MatrixXd& each : density_) {
    const Eigen::VectorXd moved = each * grams;
    made += moved * moved.transpose();
  }
  return made;
}

double OddsModel::variance_of(const Eigen::VectorXd& weights, const Amounts& grams,
                              Amounts* slope) const {
  Eigen::RowVectorXd root = weights.transpose() * root_;
  std::array<Eigen::RowVectorXd, most_doses> moves;
  const Eigen::Index n = grams.size();
  for (Eigen::Index j = 0; j < n; ++j) {
    const auto i = static_cast<std::size_t>(j);
    moves[i] = weights.transpose() * moves_[i];
    root += grams[j] * moves[i];
  }
  double variance = root.squaredNorm();
  for (Eigen::Index j = 0; j < n; ++j) {
    const auto i = static_cast<std::size_t>(j);
    const double by = std::pow(weights.dot(gram_[i]), 2);
    const double relative = noise_[i].spread_rel * noise_[i].spread_rel;
    variance += by * (noise_[i].spread_g * noise_[i].spread_g + relative * grams[j] * grams[j]);
    if (slope != nullptr) (*slope)[j] = 2.0 * root.dot(moves[i]) + 2.0 * by * relative * grams[j];
  }
  for (const Eigen::MatrixXd& each : density_) {
    const Eigen::RowVectorXd along = weights.transpose() * each;
    const double moved = along.dot(grams);
    variance += moved * moved;
    if (slope != nullptr) *slope += 2.0 * moved * along.transpose();
  }
  return variance;
}

OddsModel::Margin OddsModel::margin(std::size_t side, const Amounts& grams) const {
  Margin found;
  found.mean = at_nothing(side);
  for (Eigen::Index j = 0; j < grams.size(); ++j)
    found.mean += grams[j] * slope(side, static_cast<int>(j));
  found.sd = std::sqrt(std::max(0.0, variance_of(sides_[side].weights, grams, nullptr)));
  return found;
}

double OddsModel::least_sd(std::size_t side, const Amounts& low, const Amounts& high) const {
  const Eigen::VectorXd& weights = sides_[side].weights;
  Amounts grams = low, slope = Amounts::Zero(low.size());
  double variance = variance_of(weights, grams, &slope);
  // A tangent of a convex function lies below it everywhere; at the lower corner it is mostly
  // tight, as doubt grows with the amounts.
  double bound = variance;
  for (Eigen::Index j = 0; j < grams.size(); ++j)
    bound += std::min(0.0, slope[j] * (high[j] - low[j]));
  return std::sqrt(std::max(0.0, bound));
}

conformity::Probability OddsModel::odds(const Amounts& grams,
                                        const conformity::Options& options) const {
  Eigen::VectorXd mean = mean_;
  for (Eigen::Index j = 0; j < grams.size(); ++j)
    mean += grams[j] * gram_[static_cast<std::size_t>(j)];
  return conformity::probability(mean, covariance(grams), lines_, options);
}

double OddsModel::log_of_marginals(const Amounts& grams) const {
  Eigen::VectorXd mean = mean_;
  for (Eigen::Index j = 0; j < grams.size(); ++j)
    mean += grams[j] * gram_[static_cast<std::size_t>(j)];
  const Eigen::MatrixXd covariance = this->covariance(grams);
  double sum = 0.0;
  for (std::size_t i = 0; i < sides_.size(); ++i) {
    const Side& side = sides_[i];
    const double sd = std::sqrt(std::max(1e-300, side.weights.dot(covariance * side.weights)));
    const double z = (side.weights.dot(mean) + side.constant) / sd;
    const bool paired = i + 1 < sides_.size() && sides_[i + 1].line == side.line;
    if (!paired) {
      sum += log_normal_cdf(z);
      continue;
    }
    // Both sides of one line: what is missed low and what is missed high exclude each other.
    const Side& other = sides_[++i];
    const double other_sd =
        std::sqrt(std::max(1e-300, other.weights.dot(covariance * other.weights)));
    const double other_z = (other.weights.dot(mean) + other.constant) / other_sd;
    const double missed =
        0.5 * std::erfc(z / std::sqrt(2.0)) + 0.5 * std::erfc(other_z / std::sqrt(2.0));
    sum += missed < 0.999 ? std::log1p(-missed) : log_normal_cdf(z) + log_normal_cdf(other_z);
  }
  return sum;
}

}  // namespace vialwright::topup
