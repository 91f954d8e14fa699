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
std::vector<Eigen::Index> axes_looked_at(const std::vector<conformity::Line>& lines,
                                         const std::vector<conformity::ColourLine>& colours) {
  std::vector<Eigen::Index> axes;
  const auto note_one = [&](Eigen::Index axis) {
    if (axis >= 0 && std::ranges::find(axes, axis) == axes.end()) axes.push_back(axis);
  };
  const auto note = [&](const Eigen::VectorXd& weights) {
    for (Eigen::Index i = 0; i < weights.size(); ++i)
      if (weights[i] != 0.0) note_one(i);
  };
  for (const conformity::Line& line : lines) {
    note(line.weights);
    note(line.divisor);
  }
  for (const conformity::ColourLine& colour : colours) {
    for (const int axis : colour.mass) note_one(axis);
    for (const int axis : colour.deviation) note_one(axis);
    note_one(colour.volume);
  }
  std::ranges::sort(axes);
  return axes;
}

Eigen::VectorXd only(const Eigen::VectorXd& full, const std::vector<Eigen::Index>& axes) {
  Eigen::VectorXd part(static_cast<Eigen::Index>(axes.size()));
  for (std::size_t i = 0; i < axes.size(); ++i) part[static_cast<Eigen::Index>(i)] = full[axes[i]];
  return part;
}

/// An axis of the belief as a property; -1 stays.
int property_of(int axis, const std::vector<Eigen::Index>& axes) {
  if (axis < 0) return axis;
  return static_cast<int>(std::ranges::find(axes, axis) - axes.begin());
}

conformity::ColourLine over_properties(conformity::ColourLine line,
                                       const std::vector<Eigen::Index>& axes) {
  for (int& axis : line.mass) axis = property_of(axis, axes);
  for (int& axis : line.deviation) axis = property_of(axis, axes);
  line.volume = property_of(line.volume, axes);
  return line;
}

/// R with R R' = covariance, for a covariance that may be singular.
Eigen::MatrixXd root_of(const Eigen::MatrixXd& covariance) {
  const Eigen::LDLT<Eigen::MatrixXd> ldlt(covariance);
  const Eigen::VectorXd d = ldlt.vectorD().cwiseMax(0.0).cwiseSqrt();
  const Eigen::MatrixXd lower = Eigen::MatrixXd(ldlt.matrixL()) * d.asDiagonal();
  return ldlt.transpositionsP().transpose() * lower;
}

std::vector<Addition> additions_of(const std::vector<Candidate>& candidates) {
  std::vector<Addition> additions;
  additions.reserve(candidates.size());
  for (const Candidate& each : candidates) additions.push_back(each.addition);
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

/// The doubt of the doses as columns beside those of the belief: three more for each candidate, for
/// the two parts of its spread and for the density of its stock. (No stock is dosed twice.)
class Doubts {
 public:
  Doubts(const Belief& belief, const Belief& wide, const std::vector<Eigen::Index>& axes,
         const std::vector<Candidate>& candidates, const plant::Plant& plant,
         const recipe::Book& book)
      : belief_(belief),
        wide_(wide),
        axes_(axes),
        plant_(plant),
        book_(book),
        root_(root_of(wide.covariance)),
        properties_(static_cast<Eigen::Index>(axes.size())),
        count_(static_cast<Eigen::Index>(candidates.size())),
        rows_(Eigen::MatrixXd::Zero((1 + 2 * count_) * properties_, root_.cols() + 3 * count_)) {
    for (Eigen::Index p = 0; p < properties_; ++p)
      rows_.row(p).head(root_.cols()) = root_.row(axes_[static_cast<std::size_t>(p)]);
    for (Eigen::Index j = 0; j < count_; ++j) add(j, candidates[static_cast<std::size_t>(j)]);
  }
  [[nodiscard]] Eigen::MatrixXd covariances() const { return rows_ * rows_.transpose(); }

 private:
  [[nodiscard]] auto fixed(Eigen::Index j) {
    return rows_.middleRows((1 + j) * properties_, properties_);
  }
  [[nodiscard]] auto moves(Eigen::Index j) {
    return rows_.middleRows((1 + count_ + j) * properties_, properties_);
  }
  [[nodiscard]] Eigen::VectorXd unit(int axis) const {
    return only(Eigen::VectorXd::Unit(wide_.mean.size(), axis), axes_);
  }
  void add(Eigen::Index j, const Candidate& candidate);
  void hang_on_meter(Eigen::Index j, const Dosing& dosing, const Eigen::VectorXd& gram);

  const Belief &belief_, &wide_;
  const std::vector<Eigen::Index>& axes_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  Eigen::MatrixXd root_;
  Eigen::Index properties_, count_;
  Eigen::MatrixXd rows_;  ///< root, then fixed_j of each candidate, then moves_j of each
};

void Doubts::add(Eigen::Index j, const Candidate& candidate) {
  const Addition& addition = candidate.addition;
  const Dosing dosing = dosing_of(belief_, addition.station, addition.stock, plant_, book_);
  const Eigen::VectorXd gram = only(gram_of(candidate, wide_), axes_);
  const Eigen::Index own = root_.cols() + 3 * j;
  fixed(j).col(own) = dosing.spread_g * gram;
  moves(j).col(own + 1) = dosing.spread_rel * gram;
  if (dosing.meter) hang_on_meter(j, dosing, gram);
  for (int k = 0; k < wide_.components; ++k) {
    const auto effect = find_strength(wide_, addition.lot, k);
    if (!effect) continue;
    moves(j).leftCols(root_.cols()) += unit(wide_.component(k)) * root_.row(wide_.effect(*effect));
  }
  const recipe::Stock& stock = book_.stocks[at(addition.stock)];
  const double rho = stock.density_g_per_ml, u = stock.u_density_g_per_ml;
  if (dosing.by_volume) moves(j).col(own + 2) += u / rho * gram;
  moves(j).col(own + 2) -= u / (rho * rho) * unit(wide_.volume());
}

/// A meter that reads high stops the dose early: by its gain for every gram, by its offset once.
void Doubts::hang_on_meter(Eigen::Index j, const Dosing& dosing, const Eigen::VectorXd& gram) {
  const double scale = -1.0 / (1.0 + dosing.gain);
  if (const auto gain = find_meter(wide_, Kind::gain, *dosing.meter, plant_))
    moves(j).leftCols(root_.cols()) += scale * gram * root_.row(wide_.effect(*gain));
  if (const auto offset = find_meter(wide_, Kind::offset, *dosing.meter, plant_))
    fixed(j).leftCols(root_.cols()) +=
        scale * dosing.g_per_unit * gram * root_.row(wide_.effect(*offset));
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

double normal_cdf(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }
double normal_density(double z) {
  return 0.398942280401432678 * std::exp(-0.5 * z * z);  // 1 / sqrt(2 pi)
}

/// log Phi(z) and its first two derivatives, without underflow.
struct LogCdf {
  double value = 0.0, slope = 0.0, curvature = 0.0;  ///< curvature is minus the second derivative
};
LogCdf log_normal_cdf(double z) {
  if (z > -8.0) {
    const double p = normal_cdf(z), slope = normal_density(z) / p;
    return {std::log(p), slope, slope * (slope + z)};
  }
  // Mills' ratio: Phi(z) ~ phi(z) / -z.
  return {-0.5 * z * z - std::log(-z) - 0.918938533204672742, -z - 1.0 / z, 1.0};
}

}  // namespace

OddsModel::OddsModel(const Belief& belief, const recipe::Recipe& recipe,
                     const std::vector<Candidate>& candidates, const plant::Plant& plant,
                     const recipe::Book& book) {
  const Belief wide = with_effects_of(belief, additions_of(candidates), plant, book);
  const std::vector<conformity::Line> lines = conformity::lines_of(recipe, wide);
  const auto colours = conformity::colour_lines_of(recipe, wide, book);
  const std::vector<Eigen::Index> axes = axes_looked_at(lines, colours);
  mean_ = only(wide.mean, axes);
  for (const Candidate& each : candidates) gram_.push_back(only(gram_of(each, wide), axes));
  parts_ = Doubts(belief, wide, axes, candidates, plant, book).covariances();
  for (std::size_t i = 0; i < lines.size(); ++i) {
    conformity::Line line = lines[i];
    line.weights = only(lines[i].weights, axes);
    if (line.divisor.size() > 0) line.divisor = only(lines[i].divisor, axes);
    add_side(sides_, static_cast<int>(i), line, line.low, 1.0);
    add_side(sides_, static_cast<int>(i), line, line.high, -1.0);
    lines_.push_back(std::move(line));
  }
  for (const conformity::ColourLine& each : colours)
    colours_.emplace_back(over_properties(each, axes));
  if (!colours_.empty()) volume_ = colours_.front().line().volume;
  for (std::size_t p = 0; p < axes.size(); ++p) {
    const Eigen::Index effect = axes[p] - wide.effect(0);
    if (effect >= 0 && wide.effects[static_cast<std::size_t>(effect)].kind == Kind::foreign)
      foreign_.push_back(static_cast<Eigen::Index>(p));
  }
  const auto blocks = static_cast<Eigen::Index>(1 + 2 * candidates.size());
  for (const Side& side : sides_) {
    Eigen::MatrixXd form(blocks, blocks);
    for (Eigen::Index s = 0; s < blocks; ++s)
      for (Eigen::Index t = 0; t <= s; ++t)
        form(s, t) = form(t, s) = side.weights.dot(part(s, t) * side.weights);
    variance_.push_back(std::move(form));
  }
}

double OddsModel::slope(std::size_t side, int candidate) const {
  return sides_[side].weights.dot(gram_[at(candidate)]);
}

double OddsModel::at_nothing(std::size_t side) const {
  return sides_[side].weights.dot(mean_) + sides_[side].constant;
}

std::vector<Aim> OddsModel::aims(const std::vector<int>& members) const {
  Eigen::MatrixXd grams(mean_.size(), static_cast<Eigen::Index>(members.size()));
  for (std::size_t j = 0; j < members.size(); ++j)
    grams.col(static_cast<Eigen::Index>(j)) = gram_[at(members[j])];
  std::vector<Aim> aims;
  for (const ColourSide& each : colours_) aims.push_back({each.shade(mean_, grams), each.wanted()});
  return aims;
}

double OddsModel::doubt_of_colours(const std::vector<int>& members, const Amounts& grams) const {
  const SetOdds::State then = SetOdds(*this, members).state(grams);
  double largest = 0.0;
  ColourSide::Slopes slopes;
  for (const ColourSide& each : colours_) {
    (void)each.lab(then.mean, slopes);
    const Eigen::Matrix3d doubt = slopes * then.covariance * slopes.transpose();
    const double variance = (each.wanted().metric * doubt).trace();
    largest = std::max(largest, std::sqrt(variance) / each.wanted().high);
  }
  return largest;
}

double OddsModel::least_sd(std::size_t side, const Eigen::VectorXd& low,
                           const Eigen::VectorXd& high) const {
  const Eigen::MatrixXd& form = variance_[side];
  const Eigen::Index n = low.size();
  Eigen::VectorXd from(1 + 2 * n), to(1 + 2 * n);
  from << 1.0, (low.array() > 0.0).cast<double>(), low;
  to << 1.0, (high.array() > 0.0).cast<double>(), high;
  // A few rounds of coordinate descent come near the least variance; the tangent there is a bound.
  Eigen::VectorXd x = from, slope = 2.0 * form * x;
  for (int round = 0; round < 3; ++round) {
    for (Eigen::Index i = 1; i < x.size(); ++i) {
      if (to[i] <= from[i] || form(i, i) <= 0.0) continue;
      const double best = std::clamp(x[i] - 0.5 * slope[i] / form(i, i), from[i], to[i]);
      if (best == x[i]) continue;
      slope += 2.0 * (best - x[i]) * form.col(i);
      x[i] = best;
    }
  }
  double bound = 0.5 * slope.dot(x);
  for (Eigen::Index i = 1; i < x.size(); ++i)
    bound += std::min(slope[i] * (from[i] - x[i]), slope[i] * (to[i] - x[i]));
  return std::sqrt(std::max(0.0, bound));
}

SetOdds::SetOdds(const OddsModel& model, const std::vector<int>& members)
    : model_(model), members_(members) {
  const auto n = static_cast<Eigen::Index>(members.size());
  const Eigen::Index all = model.candidates();
  const auto fixed = [&](Eigen::Index j) { return 1 + members_[static_cast<std::size_t>(j)]; };
  const auto moves = [&](Eigen::Index j) { return fixed(j) + all; };
  // Where the set is given, what is fixed joins the vial's own doubt.
  const Eigen::Index p = model.mean_.size();
  Eigen::MatrixXd join = Eigen::MatrixXd::Zero(1 + 2 * all, 1 + n);
  join(0, 0) = 1.0;
  for (Eigen::Index j = 0; j < n; ++j) join(fixed(j), 0) = join(moves(j), 1 + j) = 1.0;
  const auto joined = [&](Eigen::Index one, Eigen::Index other) {
    Eigen::MatrixXd sum = Eigen::MatrixXd::Zero(p, p);
    for (Eigen::Index s = 0; s < join.rows(); ++s)
      for (Eigen::Index t = 0; t < join.rows(); ++t)
        if (join(s, one) != 0.0 && join(t, other) != 0.0) sum += model.part(s, t);
    return sum;
  };
  still_ = joined(0, 0);
  for (Eigen::Index j = 0; j < n; ++j) {
    const Eigen::MatrixXd crossed = joined(0, 1 + j);
    linear_.push_back(crossed + crossed.transpose());
    for (Eigen::Index k = 0; k <= j; ++k) {
      const Eigen::MatrixXd one = joined(1 + k, 1 + j);
      square_.push_back(k == j ? one : one + one.transpose());
    }
  }
  for (std::size_t i = 0; i < sides(); ++i) {
    Amounts slope(n);
    for (Eigen::Index j = 0; j < n; ++j)
      slope[j] = model.slope(i, members_[static_cast<std::size_t>(j)]);
    slopes_.push_back(slope);
    at_nothing_.push_back(model.at_nothing(i));
    variance_.push_back(join.transpose() * model.variance_[i] * join);
  }
}

SetOdds::Margin SetOdds::margin(std::size_t side, const Amounts& grams) const {
  const Eigen::MatrixXd& form = variance_[side];
  const Eigen::Index n = grams.size();
  const double variance = form(0, 0) + 2.0 * form.col(0).tail(n).dot(grams) +
                          grams.dot(form.bottomRightCorner(n, n) * grams);
  return {at_nothing_[side] + slopes_[side].dot(grams), std::sqrt(std::max(0.0, variance))};
}

SetOdds::State SetOdds::state(const Amounts& grams) const {
  State then{model_.mean_, still_};
  std::size_t next = 0;
  for (Eigen::Index j = 0; j < grams.size(); ++j) {
    const auto dose = static_cast<std::size_t>(j);
    then.mean += grams[j] * model_.gram_[at(members_[dose])];
    then.covariance += grams[j] * linear_[dose];
    for (Eigen::Index k = 0; k <= j; ++k) then.covariance += grams[j] * grams[k] * square_[next++];
  }
  for (const Eigen::Index each : model_.foreign_) {
    const double share = model_.mean_[model_.volume_] / then.mean[model_.volume_];
    then.mean[each] *= share;
    then.covariance.row(each) *= share;
    then.covariance.col(each) *= share;
  }
  return then;
}

conformity::Probability SetOdds::odds(const Amounts& grams,
                                      const conformity::Options& options) const {
  const State then = state(grams);
  if (!has_colours())
    return conformity::probability(then.mean, then.covariance, model_.lines_, options);
  std::vector<conformity::ColourLine> colours;
  for (const ColourSide& each : model_.colours()) colours.push_back(each.line());
  return conformity::probability(then.mean, then.covariance, model_.lines_, colours, options);
}

double SetOdds::quick_odds(const Amounts& grams, const conformity::Options& options) const {
  const State then = state(grams);
  double log_odds = 0.0;
  for (const ColourSide& each : model_.colours())
    log_odds += each.odds(then.mean, then.covariance).log_odds;
  return std::exp(log_odds) *
         conformity::probability(then.mean, then.covariance, model_.lines_, options).value;
}

SetOdds::Z SetOdds::standardised(std::size_t side, const Amounts& grams) const {
  const Eigen::MatrixXd& form = variance_[side];
  const Eigen::Index n = grams.size();
  const Margin here = margin(side, grams);
  // Where nothing is in doubt, a doubt far below any that matters keeps the numbers finite.
  const double sd = std::max(here.sd, 1e-9 * std::abs(model_.at_nothing(side)) + 1e-300);
  Z made;
  made.z = here.mean / sd;
  const Amounts half_slope = form.col(0).tail(n) + form.bottomRightCorner(n, n) * grams;
  made.gradient = (slopes_[side] - made.z / sd * half_slope) / sd;
  return made;
}

SetOdds::Marginals SetOdds::marginals(const Amounts& grams) const {
  const Eigen::Index n = grams.size();
  Marginals sum{0.0, Amounts::Zero(n), Eigen::MatrixXd::Zero(n, n)};
  const std::vector<Side>& all = model_.sides();
  for (std::size_t i = 0; i < all.size(); ++i) {
    const Z one = standardised(i, grams);
    const bool paired = i + 1 < all.size() && all[i + 1].line == all[i].line;
    const Z other = paired ? standardised(++i, grams) : Z{};
    // P(-z_low <= standard normal <= z_high), in the tail where it keeps its digits.
    const bool low_tail = one.z > other.z;
    const double both = !paired    ? 0.0
                        : low_tail ? normal_cdf(other.z) - normal_cdf(-one.z)
                                   : normal_cdf(one.z) - normal_cdf(-other.z);
    if (both > 1e-200) {
      const double slope = normal_density(one.z) / both, down = normal_density(other.z) / both;
      sum.value += std::log(both);
      sum.gradient += slope * one.gradient + down * other.gradient;
      // The two margins of a line move against each other.
      const double bend = (slope - down) * (slope - down) + one.z * slope + other.z * down;
      sum.curvature += std::max(0.0, bend) * one.gradient * one.gradient.transpose();
      continue;
    }
    const auto add = [&](const Z& side) {
      const LogCdf own = log_normal_cdf(side.z);
      sum.value += own.value;
      sum.gradient += own.slope * side.gradient;
      sum.curvature += own.curvature * side.gradient * side.gradient.transpose();
    };
    add(one);
    if (paired) add(other);
  }
  if (has_colours()) add_colours(grams, sum);
  return sum;
}

/// How mean and doubt of each colour move with each dose, by differences: the doubt has the slopes
/// of the eye in it, and those move too.
void SetOdds::add_colours(const Amounts& grams, Marginals& sum) const {
  const Eigen::Index n = grams.size();
  const State here = state(grams);
  std::vector<State> up, down;
  Amounts width(n);
  for (Eigen::Index j = 0; j < n; ++j) {
    width[j] = 1e-4 * std::abs(grams[j]) + 1e-7;
    Amounts moved = grams;
    moved[j] += width[j];
    up.push_back(state(moved));
    moved[j] -= 2.0 * width[j];
    down.push_back(state(moved));
  }
  ColourSide::Slopes slopes;
  for (const ColourSide& each : model_.colours()) {
    const auto seen = [&](const State& then, Eigen::Matrix3d& doubt) {
      const colour::Lab lab = each.lab(then.mean, slopes);
      doubt = slopes * then.covariance * slopes.transpose();
      return vector_of(lab);
    };
    Eigen::Matrix3d doubt, more, less;
    const Eigen::Vector3d lab = seen(here, doubt);
    const ColourOdds odds = colour_odds(lab, doubt, each.wanted());
    Eigen::Matrix<double, 3, Eigen::Dynamic> moves(3, n);
    for (Eigen::Index j = 0; j < n; ++j) {
      const auto dose = static_cast<std::size_t>(j);
      const Eigen::Vector3d above = seen(up[dose], more), below = seen(down[dose], less);
      moves.col(j) = (above - below) / (2.0 * width[j]);
      sum.gradient[j] += odds.by_mean.dot(moves.col(j)) +
                         (odds.by_covariance * (more - less)).trace() / (2.0 * width[j]);
    }
    sum.value += odds.log_odds;
    sum.curvature += moves.transpose() * odds.curvature * moves;
  }
}

}  // namespace vialwright::topup
