#include "conformity/joint.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "conformity/normal.hpp"
#include "conformity/spread.hpp"

namespace vialwright::conformity {
namespace {

Seen seen_by(const std::vector<Watched>& colours) {
  Seen seen;
  for (const Watched& each : colours)
    seen.axes.insert(seen.axes.end(), each.look.axes.begin(), each.look.axes.end());
  std::ranges::sort(seen.axes);
  seen.axes.erase(std::unique(seen.axes.begin(), seen.axes.end()), seen.axes.end());
  const auto rows = static_cast<Eigen::Index>(3 * colours.size());
  seen.effect.setZero(rows, static_cast<Eigen::Index>(seen.axes.size()));
  for (std::size_t c = 0; c < colours.size(); ++c) {
    const Eigen::MatrixXd effect = colours[c].look.effect(colours[c].line->high);
    for (std::size_t j = 0; j < colours[c].look.axes.size(); ++j) {
      const auto place = std::ranges::lower_bound(seen.axes, colours[c].look.axes[j]);
      seen.effect.block<3, 1>(static_cast<Eigen::Index>(3 * c), place - seen.axes.begin()) =
          effect.col(static_cast<Eigen::Index>(j));
    }
  }
  return seen;
}

std::vector<Interval> common(std::span<const Interval> ones, std::span<const Interval> others) {
  std::vector<Interval> both;
  for (const Interval& one : ones) {
    for (const Interval& other : others) {
      const Interval shared{std::max(one.from, other.from), std::min(one.to, other.to)};
      if (shared.from < shared.to) both.push_back(shared);
    }
  }
  return both;
}

std::vector<Along> along_last(const std::vector<Watched>& colours, const Eigen::VectorXd& mean,
                              const Seen& seen, const SeenConditioning& way) {
  std::vector<Along> along;
  along.reserve(colours.size());
  for (const Watched& each : colours)
    along.emplace_back(*each.line, each.look, mean, seen.axes, way.rows);
  return along;
}

std::vector<Ball> balls_of(const std::vector<Along>& along) {
  std::vector<Ball> balls;
  balls.reserve(along.size());
  for (const Along& each : along) balls.push_back(each.ball());
  return balls;
}

/// How badly a way suits: how far off a few points may be with the first order. Eight hands tell
/// that roughly, so two sets are asked; and steep limits gain less by more points.
double doubt_of(const SeenConditioning& way, const std::vector<Ball>& balls, std::uint64_t seed) {
  if (way.lines.stages.size() == 1) return 0.0;
  const int dimensions = static_cast<int>(way.lines.stages.size()) - 1;
  double squares = 0.0;
  for (const int level : {7, 9}) {
    const auto means = means_over(way.lines, lattice(dimensions, level, seed), balls);
    const double doubt = mean_of(means).doubt * std::ldexp(1.0, level - 9);
    squares += doubt * doubt;
  }
  return (std::sqrt(squares) + unresolved(9, way.lines.steepest)) * std::sqrt(way.lines.steepest);
}

/// Tolerances on colour this much wider.
std::vector<Ball> widened(std::vector<Ball> balls, double share) {
  for (Ball& ball : balls) ball.limit *= (1.0 + share) * (1.0 + share);
  return balls;
}

// The first order is off by less than this share of the tolerance, as a rule.
constexpr double shell_share = 0.1;

}  // namespace

Joint::Joint(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
             const std::vector<Line>& lines, const std::vector<Watched>& colours,
             std::uint64_t seed) {
  const Seen seen = seen_by(colours);
  double least = recipe::no_limit;
  for (SeenConditioning& way : conditions(mean, covariance, lines, seen)) {
    std::vector<Along> along = along_last(colours, mean, seen, way);
    std::vector<Ball> balls = balls_of(along);
    const double doubt = doubt_of(way, balls, seed);
    if (doubt >= least) continue;
    least = doubt;
    conditioned_ = std::move(way);
    along_ = std::move(along);
    balls_ = std::move(balls);
  }
  possible_ = !along_.empty();
  inside_.resize(colours.size());
}

std::array<double, hands> Joint::first_order(const Lattice& lattice) const {
  return means_over(conditioned_.lines, lattice, balls_);
}

double Joint::shell(const Lattice& lattice) const {
  const auto wider = means_over(conditioned_.lines, lattice, widened(balls_, shell_share));
  const auto narrower = means_over(conditioned_.lines, lattice, widened(balls_, -shell_share));
  return mean_of(wider).value - mean_of(narrower).value;
}

double Joint::first_order_at(std::size_t point, const Drawn& drawn, double wider) const {
  double low = drawn.low[point], high = drawn.high[point];
  for (const Along& along : along_) {
    const Along::Parabola p = along.first_order(static_cast<int>(point));
    const double square = std::max(p.square, 1e-300);
    const double more = ((1.0 + wider) * (1.0 + wider) - 1.0) * along.ball().limit;
    const double room = p.slope * p.slope - square * (p.constant - more);
    if (room < 0.0) return 0.0;
    low = std::max(low, -(p.slope + std::sqrt(room)) / square);
    high = std::min(high, (std::sqrt(room) - p.slope) / square);
  }
  return normal_between(low, high);
}

/// What the last variable may be, as a probability.
double Joint::mass_at(std::size_t point, const Drawn& drawn) const {
  const Interval room{drawn.low[point], drawn.high[point]};
  if (inside_.size() == 1 && inside_.front().list[point] < 0) {
    const Interval& one = inside_.front().one[point];
    return normal_between(std::max(one.from, room.from), std::min(one.to, room.to));
  }
  std::vector<Interval> left = {room};
  for (const Inside& inside : inside_) left = common(left, inside.of(point));
  double mass = 0.0;
  for (const Interval& each : left) mass += normal_between(each.from, each.to);
  return mass;
}

/// Is a place in one of the intervals? None where that hangs on how exact their ends are.
std::optional<bool> is_in(std::span<const Interval> intervals, double t) {
  constexpr double hair = 0.03;
  bool in = false;
  for (const Interval& each : intervals) {
    if (std::abs(t - each.from) < hair || std::abs(t - each.to) < hair) return std::nullopt;
    in = in || (each.from < t && t < each.to);
  }
  return in;
}

/// Some places between the limits of the last variable, evenly by their probability.
struct Places {
  std::vector<int> points;
  std::vector<double> t;
};

Places places_in(const Drawn& drawn) {
  constexpr std::size_t looked_at = 32;
  constexpr int each = 4;
  Places made;
  std::vector<double> p;
  for (std::size_t r = 0; r < drawn.count; r += std::max<std::size_t>(1, drawn.count / looked_at)) {
    const double low = normal_cdf(drawn.low[r]), width = normal_cdf(drawn.high[r]) - low;
    if (!(drawn.weight[r] * width > 0.0)) continue;
    for (int k = 0; k < each; ++k) {
      made.points.push_back(static_cast<int>(r));
      p.push_back(low + (k + 0.5) / each * width);
    }
  }
  p.resize((p.size() + hands - 1) / hands * hands, 0.5);
  made.t.resize(p.size());
  batch_quantile(p, made.t);
  made.t.resize(made.points.size());
  return made;
}

/// Checks what was found against the colours themselves: is any place within a tolerance that was
/// not found to be, or the other way round, and not by a hair?
bool Joint::missed(const Drawn& drawn) {
  const Places places = places_in(drawn);
  std::vector<double> excess(places.points.size());
  for (std::size_t c = 0; c < along_.size(); ++c) {
    along_[c].excess(places.points, places.t, excess);
    const double hair = 0.02 * along_[c].tolerance() * along_[c].tolerance();
    for (std::size_t k = 0; k < excess.size(); ++k) {
      const auto point = static_cast<std::size_t>(places.points[k]);
      const auto found = is_in(inside_[c].of(point), places.t[k]);
      if (found && *found != (excess[k] <= 0.0) && !(std::abs(excess[k]) < hair)) return true;
    }
  }
  return false;
}

void Joint::find(const Drawn& drawn) {
  for (Along& along : along_) along.stand_at(drawn);
  const auto search = [&] {
    for (std::size_t c = 0; c < along_.size(); ++c)
      find_inside(along_[c], drawn, search_, inside_[c]);
  };
  search();
  if (search_ == Search::everywhere || !missed(drawn)) return;
  search_ = Search::everywhere;
  search();
}

Joint::Changes Joint::changes(const Lattice& lattice) {
  constexpr std::uint32_t chunk = 64;
  const std::uint32_t points = 1U << (lattice.level - hands_level);
  Changes made;
  Drawn drawn;
  for (std::uint32_t from = 0; from < points; from += chunk) {
    draw_points(conditioned_.lines, lattice, from, std::min(chunk, points - from), drawn);
    find(drawn);
    for (std::size_t r = 0; r < drawn.count; ++r) {
      if (!(drawn.weight[r] > 0.0)) continue;
      const double change = mass_at(r, drawn) - first_order_at(r, drawn, 0.0);
      const double shell =
          first_order_at(r, drawn, shell_share) - first_order_at(r, drawn, -shell_share);
      made.means[r % hands] += drawn.weight[r] * change / points;
      made.size += drawn.weight[r] * std::abs(change) / (points * hands);
      made.shell += drawn.weight[r] * shell / (points * hands);
    }
  }
  return made;
}

double Joint::of_one_variable() {
  Drawn drawn;
  draw_points(conditioned_.lines, lattice(0, coarsest_level, 0), 0, 1, drawn);
  search_ = Search::everywhere;
  find(drawn);
  return mass_at(0, drawn);
}

}  // namespace vialwright::conformity
