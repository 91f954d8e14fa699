#include "topup/set_search.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

namespace vialwright::topup {
namespace {

// Beyond nine standard deviations a line holds for certain; the centre need not go farther in.
constexpr double far_enough = 9.0;
// Weight of the walls of the region in the climbed logarithm: costs some 1e-4 of the odds.
constexpr double wall = 2e-5;
// The climb starts off the walls by this share of a standard deviation.
constexpr double off_the_wall = 0.02;
constexpr double least_odds = 1e-12;

double normal_cdf(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

/// Gradient and Hessian by central differences: the climbed functions are smooth, and cheap.
struct Shape {
  double value = 0.0;
  Eigen::VectorXd gradient;
  Eigen::MatrixXd hessian;
};

template <class F>
Shape shape_at(const Amounts& grams, const Amounts& step, const F& value) {
  const Eigen::Index n = grams.size();
  Shape shape{value(grams), Eigen::VectorXd(n), Eigen::MatrixXd(n, n)};
  Eigen::VectorXd up(n), down(n);
  Amounts moved = grams;
  for (Eigen::Index j = 0; j < n; ++j) {
    moved[j] = grams[j] + step[j];
    up[j] = value(moved);
    moved[j] = grams[j] - step[j];
    down[j] = value(moved);
    moved[j] = grams[j];
    shape.gradient[j] = (up[j] - down[j]) / (2.0 * step[j]);
    shape.hessian(j, j) = (up[j] + down[j] - 2.0 * shape.value) / (step[j] * step[j]);
  }
  for (Eigen::Index i = 0; i < n; ++i) {
    for (Eigen::Index j = 0; j < i; ++j) {
      moved[i] = grams[i] + step[i];
      moved[j] = grams[j] + step[j];
      const double both = value(moved);
      moved[i] = grams[i];
      moved[j] = grams[j];
      shape.hessian(i, j) = shape.hessian(j, i) =
          (both - up[i] - up[j] + shape.value) / (step[i] * step[j]);
    }
  }
  return shape;
}

/// A direction that climbs: Newton's, with curvatures turned downwards and small ones propped up.
Eigen::VectorXd uphill(const Shape& shape, const Amounts& scale) {
  const Eigen::VectorXd unit = scale;
  const Eigen::MatrixXd scaled = unit.asDiagonal() * shape.hessian * unit.asDiagonal();
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(scaled);
  const Eigen::VectorXd along =
      eigen.eigenvectors().transpose() * (unit.asDiagonal() * shape.gradient);
  const Eigen::VectorXd curvature = eigen.eigenvalues().cwiseAbs().cwiseMax(1e-3);
  Eigen::VectorXd step = along.cwiseQuotient(curvature);
  const double length = step.norm();
  if (length > 4.0) step *= 4.0 / length;  // in standard deviations: the shape is local
  return unit.asDiagonal() * (eigen.eigenvectors() * step);
}

}  // namespace

SetSearch::SetSearch(const OddsModel& model, DoseSet set, const conformity::Options& points)
    : model_(model), set_(std::move(set)), points_(points) {
  const Eigen::Index n = set_.low.size();
  const double room_g = set_.room_g - set_.low.sum();
  const double room_ml = set_.room_ml - set_.ml_per_g.dot(set_.low);
  fits_ = room_g >= 0.0 && room_ml >= 0.0 && (set_.low.array() <= set_.high.array()).all();
  if (!fits_) return;
  for (Eigen::Index j = 0; j < n; ++j) {
    set_.high[j] =
        std::min(set_.high[j], set_.low[j] + std::min(room_g, room_ml / set_.ml_per_g[j]));
  }
  const std::size_t sides = model_.sides().size();
  std::vector<double> sd(sides);
  for (std::size_t i = 0; i < sides; ++i) sd[i] = model_.least_sd(i, set_.low, set_.high);
  double margin = 0.0;
  const auto rough = centre(sd, &margin);
  if (!rough) {
    fits_ = false;
    return;
  }
  paper_ = margin >= 0.0;
  odds_at_most_ = paper_ ? normal_cdf(margin) : 0.5;
  // The region of at least even odds lies where every line holds at the mean.
  cost_at_least_ = set_.visits_cost;
  for (Eigen::Index j = 0; j < n; ++j)
    cost_at_least_ += set_.price[j] * (set_.price[j] >= 0.0 ? set_.low[j] : set_.high[j]);
  for (std::size_t i = 0; i < sides; ++i) sd[i] = model_.margin(i, *rough).sd;
  centre_ = centre(sd, &margin).value_or(*rough);
  scale_ = Amounts::Constant(n, std::numeric_limits<double>::infinity());
  for (std::size_t i = 0; i < sides; ++i) {
    const double here = model_.margin(i, centre_).sd;
    for (Eigen::Index j = 0; j < n; ++j) {
      const double slope = std::abs(model_.slope(i, static_cast<int>(j)));
      if (slope > 0.0) scale_[j] = std::min(scale_[j], std::max(here, 1e-12) / slope);
    }
  }
  for (Eigen::Index j = 0; j < n; ++j) {
    const double width = set_.high[j] - set_.low[j];
    scale_[j] = std::clamp(scale_[j], 1e-9, std::max(1e-9, 0.25 * width));
  }
  keep_off_the_walls();
}

/// The climb needs a start inside: the centre often lies on a wall, such as a least dose.
void SetSearch::keep_off_the_walls() {
  const Amounts inset = (off_the_wall * scale_).cwiseMin(0.25 * (set_.high - set_.low));
  centre_ = centre_.cwiseMax(set_.low + inset).cwiseMin(set_.high - inset);
  const auto squeeze = [&](const Amounts& weights, double room) {
    const double used = weights.dot(centre_), least = weights.dot(set_.low);
    const double aim = room - std::min(weights.dot(inset), 0.5 * (room - least));
    if (used <= aim || used <= least) return;
    centre_ = set_.low + (aim - least) / (used - least) * (centre_ - set_.low);
  };
  squeeze(Amounts::Ones(centre_.size()), set_.room_g);
  squeeze(set_.ml_per_g, set_.room_ml);
}

/// A row's standard deviation; where nothing is in doubt a small share of its size, so that the
/// numbers of all rows stay of one kind.
double SetSearch::unit_of(std::size_t side, double sd) const {
  double size = std::abs(model_.at_nothing(side));
  for (int j = 0; j < model_.doses(); ++j)
    size = std::max(size, std::abs(model_.slope(side, j)) * set_.high[j]);
  return std::max({sd, 1e-5 * size, 1e-300});
}

/// The amounts whose smallest margin in standard deviations is largest.
std::optional<Amounts> SetSearch::centre(const std::vector<double>& sd, double* margin) const {
  const Eigen::Index n = set_.low.size();
  const auto sides = static_cast<Eigen::Index>(model_.sides().size());
  if (n == 0) {
    *margin = far_enough;
    for (Eigen::Index i = 0; i < sides; ++i) {
      const auto side = static_cast<std::size_t>(i);
      const double here = model_.at_nothing(side);
      *margin = std::min(
          *margin, sd[side] > 0.0 ? here / sd[side] : (here >= 0.0 ? far_enough : -far_enough));
    }
    return Amounts(0);
  }
  LinearProgram programme;
  programme.rows.setZero(sides + 2, n + 1);
  programme.row_low.setConstant(sides + 2, -recipe::no_limit);
  programme.row_high.setConstant(sides + 2, recipe::no_limit);
  for (Eigen::Index i = 0; i < sides; ++i) {
    const auto side = static_cast<std::size_t>(i);
    // Rows in standard deviations, so that their sizes agree.
    const double unit = unit_of(side, sd[side]);
    for (Eigen::Index j = 0; j < n; ++j)
      programme.rows(i, j) = model_.slope(side, static_cast<int>(j)) / unit;
    programme.rows(i, n) = -1.0;
    programme.row_low[i] = -model_.at_nothing(side) / unit;
  }
  programme.rows.row(sides).head(n).setOnes();
  programme.row_high[sides] = set_.room_g;
  programme.rows.row(sides + 1).head(n) = set_.ml_per_g.transpose();
  programme.row_high[sides + 1] = set_.room_ml;
  programme.cost.setZero(n + 1);
  programme.cost[n] = -1.0;
  programme.low.resize(n + 1);
  programme.high.resize(n + 1);
  programme.low.head(n) = set_.low;
  programme.high.head(n) = set_.high;
  programme.low[n] = -1e6;
  programme.high[n] = far_enough;
  const LinearAnswer answer = solve(programme);
  if (answer.status != LinearAnswer::Status::found) return std::nullopt;
  *margin = answer.x[n];
  return Amounts(answer.x.head(n));
}

bool SetSearch::inside(const Amounts& grams) const {
  return (grams.array() >= set_.low.array()).all() && (grams.array() <= set_.high.array()).all() &&
         grams.sum() <= set_.room_g && set_.ml_per_g.dot(grams) <= set_.room_ml;
}

/// Logarithms of the distances from the walls, relative to their width; -infinity outside.
double SetSearch::barrier(const Amounts& grams) const {
  double sum = 0.0;
  const auto add = [&](double distance, double width) {
    sum += distance > 0.0 ? std::log(distance / width) : -std::numeric_limits<double>::infinity();
  };
  for (Eigen::Index j = 0; j < grams.size(); ++j) {
    const double width = std::max(1e-300, set_.high[j] - set_.low[j]);
    add(grams[j] - set_.low[j], width);
    add(set_.high[j] - grams[j], width);
  }
  if (std::isfinite(set_.room_g)) add(set_.room_g - grams.sum(), set_.room_g);
  if (std::isfinite(set_.room_ml)) add(set_.room_ml - set_.ml_per_g.dot(grams), set_.room_ml);
  return wall * sum;
}

template <class F>
void SetSearch::climb(Amounts& grams, const F& value, int steps, double first_step) const {
  const auto climbed = [&](const Amounts& x) {
    const double walls = barrier(x);
    return std::isfinite(walls) ? value(x) + walls : -std::numeric_limits<double>::infinity();
  };
  for (int step = 0; step < steps; ++step) {
    // Differences must not step over a wall.
    Amounts delta = first_step * scale_;
    for (Eigen::Index j = 0; j < grams.size(); ++j) {
      const double near = std::min(grams[j] - set_.low[j], set_.high[j] - grams[j]);
      delta[j] = std::min(delta[j], 0.4 * near);
    }
    const double slack_g = set_.room_g - grams.sum();
    const double slack_ml = set_.room_ml - set_.ml_per_g.dot(grams);
    const double used_g = delta.sum(), used_ml = set_.ml_per_g.dot(delta);
    const double shrink = std::min({1.0, 0.4 * slack_g / std::max(used_g, 1e-300),
                                    0.4 * slack_ml / std::max(used_ml, 1e-300)});
    delta *= shrink;
    if (delta.minCoeff() < 1e-12) return;
    const Shape shape = shape_at(grams, delta, climbed);
    const Eigen::VectorXd direction = uphill(shape, scale_);
    double share = 1.0;
    Amounts next = grams;
    bool better = false;
    for (int half = 0; half < 12 && !better; ++half, share *= 0.4) {
      next = grams + share * direction;
      better = inside(next) && climbed(next) > shape.value + 1e-9;
    }
    if (!better) return;
    const double moved = (next - grams).cwiseQuotient(scale_).norm();
    grams = next;
    if (moved < 0.02) return;
  }
}

Found SetSearch::at(const Amounts& grams) const { return {grams, odds_of(grams), cost_of(grams)}; }

Found SetSearch::surest(double success) const {
  Amounts grams = centre_;
  if (grams.size() == 0) return at(grams);
  const bool can_move = ((set_.high - set_.low).array() > 4e-9).all();
  if (can_move) {
    climb(
        grams, [&](const Amounts& x) { return model_.log_of_marginals(x); }, 12, 0.05);
    const auto worth = [&](const Amounts& x) {
      const double odds = std::max(least_odds, odds_of(x));
      return success > 0.0 ? odds - cost_of(x) / success : std::log(odds);
    };
    climb(grams, worth, 4, 0.3);
  }
  Found best = at(grams);
  const auto value = [&](const Found& each) {
    return success > 0.0 ? success * each.odds - each.cost : each.odds;
  };
  // The walls themselves are tried: the climb keeps a little off them.
  for (Eigen::Index j = 0; j < grams.size(); ++j) {
    for (const double at_wall : {set_.low[j], set_.high[j]}) {
      if (std::abs(at_wall - best.grams[j]) > 0.5 * scale_[j]) continue;
      Amounts moved = best.grams;
      moved[j] = at_wall;
      if (!inside(moved)) continue;
      const Found tried = at(moved);
      if (value(tried) > value(best)) best = tried;
    }
  }
  return best;
}

/// Supporting hyperplanes: the region where the odds are enough is (nearly) convex, as the odds of
/// a Gaussian vector to lie in a polytope are log-concave in its mean (Prékopa, Acta Sci. Math. 34
/// (1973) 335). Each round cuts off what the tangent at the region's edge rules out; the small
/// programme then gives a lower limit of the cost.
Found SetSearch::cheapest(const Found& start, double wanted) const {
  const Eigen::Index n = start.grams.size();
  Found best = start;
  if (n == 0) return best;
  const auto sides = static_cast<Eigen::Index>(model_.sides().size());
  constexpr int most_cuts = 24;
  LinearProgram programme;
  programme.rows.setZero(sides + 2, n);
  programme.row_low.setConstant(sides + 2, -recipe::no_limit);
  programme.row_high.setConstant(sides + 2, recipe::no_limit);
  for (Eigen::Index i = 0; i < sides; ++i) {
    const auto side = static_cast<std::size_t>(i);
    const double unit = unit_of(side, model_.margin(side, start.grams).sd);
    for (Eigen::Index j = 0; j < n; ++j)
      programme.rows(i, j) = model_.slope(side, static_cast<int>(j)) / unit;
    programme.row_low[i] = -model_.at_nothing(side) / unit;
  }
  programme.rows.row(sides).setOnes();
  programme.row_high[sides] = set_.room_g;
  programme.rows.row(sides + 1) = set_.ml_per_g.transpose();
  programme.row_high[sides + 1] = set_.room_ml;
  programme.cost = set_.price;
  programme.low = set_.low;
  programme.high = set_.high;
  for (int cut = 0; cut < most_cuts; ++cut) {
    const LinearAnswer relaxed = solve(programme);
    if (relaxed.status != LinearAnswer::Status::found) return best;
    const double at_least = relaxed.cost + set_.visits_cost;
    if (best.cost - at_least <= 0.003 * std::max(std::abs(best.cost), 1e-9)) return best;
    // From the cheap point back towards the start until the odds are enough.
    const Amounts cheap = relaxed.x;
    double inside = 1.0, outside = 0.0;  // shares of the start
    double odds_inside = start.odds;
    if (odds_of(cheap) >= wanted) {
      best = at(cheap);
      return best;
    }
    for (int half = 0; half < 9; ++half) {
      const double middle = 0.5 * (inside + outside);
      const double odds = odds_of(cheap + middle * (start.grams - cheap));
      if (odds >= wanted) {
        inside = middle;
        odds_inside = odds;
      } else {
        outside = middle;
      }
    }
    const Amounts edge = cheap + inside * (start.grams - cheap);
    const Found there{edge, odds_inside, cost_of(edge)};
    if (there.cost < best.cost) best = there;
    Eigen::RowVectorXd gradient(n);
    for (Eigen::Index j = 0; j < n; ++j) {
      Amounts up = edge, down = edge;
      const double step = 0.1 * scale_[j];
      up[j] += step;
      down[j] = std::max(0.0, edge[j] - step);
      gradient[j] = (std::log(std::max(least_odds, odds_of(up))) -
                     std::log(std::max(least_odds, odds_of(down)))) /
                    (up[j] - down[j]) * 1.0;
    }
    const double length = gradient.norm();
    if (length <= 0.0) return best;
    gradient /= length;
    const Eigen::Index rows = programme.rows.rows();
    programme.rows.conservativeResize(rows + 1, Eigen::NoChange);
    programme.row_low.conservativeResize(rows + 1);
    programme.row_high.conservativeResize(rows + 1);
    programme.rows.row(rows) = gradient;
    programme.row_low[rows] = gradient.dot(edge);
    programme.row_high[rows] = recipe::no_limit;
  }
  return best;
}

}  // namespace vialwright::topup
