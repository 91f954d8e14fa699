#include "conformity/joint.hpp"

#include <algorithm>
#include <cmath>

#include "conformity/normal.hpp"

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

}  // namespace

Joint::Joint(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
             const std::vector<Line>& lines, const std::vector<Watched>& colours) {
  const Seen seen = seen_by(colours);
  conditioned_ = condition(mean, covariance, lines, seen);
  for (const Watched& each : colours)
    along_.emplace_back(*each.line, each.look, mean, seen.axes, conditioned_.rows);
  inside_.resize(colours.size());
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

/// Checks what was found against the colours themselves at some places between the limits: is any
/// place within a tolerance that was not found to be, or the other way round, and not by a hair?
bool Joint::missed(const Drawn& drawn) {
  constexpr std::size_t looked_at = 32;
  constexpr int places = 4;
  std::vector<int> points;
  std::vector<double> p, t;
  for (std::size_t r = 0; r < drawn.count; r += std::max<std::size_t>(1, drawn.count / looked_at)) {
    const double low = normal_cdf(drawn.low[r]), width = normal_cdf(drawn.high[r]) - low;
    if (!(drawn.weight[r] * width > 0.0)) continue;
    for (int k = 0; k < places; ++k) {
      points.push_back(static_cast<int>(r));
      p.push_back(low + (k + 0.5) / places * width);
    }
  }
  p.resize((p.size() + hands - 1) / hands * hands, 0.5);
  t.resize(p.size());
  batch_quantile(p, t);
  t.resize(points.size());
  std::vector<double> excess(points.size());
  for (std::size_t c = 0; c < along_.size(); ++c) {
    along_[c].excess(points, t, excess);
    const double hair = 0.02 * along_[c].tolerance() * along_[c].tolerance();
    for (std::size_t k = 0; k < points.size(); ++k) {
      const auto intervals = inside_[c].of(static_cast<std::size_t>(points[k]));
      const bool found = std::ranges::any_of(
          intervals, [&](const Interval& each) { return each.from <= t[k] && t[k] <= each.to; });
      if (found != (excess[k] <= 0.0) && !(std::abs(excess[k]) < hair)) return true;
    }
  }
  return false;
}

std::array<double, hands> Joint::means_over(const Lattice& lattice) {
  constexpr std::uint32_t chunk = 64;
  const std::uint32_t points = 1U << (lattice.level - hands_level);
  std::array<double, hands> means{};
  Drawn drawn;
  for (std::uint32_t from = 0; from < points; from += chunk) {
    draw_points(conditioned_.lines, lattice, from, std::min(chunk, points - from), drawn);
    const auto find = [&] {
      for (std::size_t c = 0; c < along_.size(); ++c)
        find_inside(along_[c], drawn, search_, inside_[c]);
    };
    for (Along& along : along_) along.stand_at(drawn);
    find();
    if (search_ == Search::nearby && missed(drawn)) {
      search_ = Search::everywhere;
      find();
    }
    for (std::size_t r = 0; r < drawn.count; ++r)
      if (drawn.weight[r] > 0.0) means[r % hands] += drawn.weight[r] * mass_at(r, drawn);
  }
  for (double& mean : means) mean /= points;
  return means;
}

}  // namespace vialwright::conformity
