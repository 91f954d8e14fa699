#include "topup/search_bounds.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace vialwright::topup {
namespace {

// Beyond nine standard deviations a line holds for certain; the centre need not go farther in.
constexpr double far_enough = 9.0;

double normal_cdf(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

/// The candidates of a family that may be dosed.
std::vector<int> open_ones(const Family& family, const Doses& doses) {
  std::vector<int> open = family.in;
  for (int j = family.next; j < static_cast<int>(doses.low.size()); ++j)
    if (doses.high[j] > 0.0) open.push_back(j);
  return open;
}

Region region_of(const Family& family, const std::vector<int>& open, const Doses& doses) {
  const auto n = static_cast<Eigen::Index>(open.size());
  Region region{Eigen::MatrixXd(2, n), Eigen::VectorXd(2), Eigen::VectorXd::Zero(n),
                Eigen::VectorXd(n)};
  region.limits << doses.room_g, doses.room_ml;
  for (Eigen::Index c = 0; c < n; ++c) {
    const int j = open[static_cast<std::size_t>(c)];
    region.rows(0, c) = 1.0;
    region.rows(1, c) = doses.ml_per_g[j];
    if (c < static_cast<Eigen::Index>(family.in.size())) region.low[c] = doses.low[j];
    region.high[c] = doses.high[j];
  }
  return region;
}

Sides sides_of(const OddsModel& model, const std::vector<int>& open, const Region& region) {
  const auto n = static_cast<Eigen::Index>(open.size());
  const auto count = static_cast<Eigen::Index>(model.sides().size());
  Eigen::VectorXd low = Eigen::VectorXd::Zero(model.candidates()), high = low;
  for (Eigen::Index c = 0; c < n; ++c) {
    low[open[static_cast<std::size_t>(c)]] = region.low[c];
    high[open[static_cast<std::size_t>(c)]] = region.high[c];
  }
  Sides sides{Eigen::MatrixXd(count, n), Eigen::VectorXd(count), Eigen::VectorXd(count)};
  for (Eigen::Index i = 0; i < count; ++i) {
    const auto side = static_cast<std::size_t>(i);
    for (Eigen::Index c = 0; c < n; ++c)
      sides.slopes(i, c) = model.slope(side, open[static_cast<std::size_t>(c)]);
    sides.at_nothing[i] = model.at_nothing(side);
    sides.sd[i] = model.least_sd(side, low, high);
  }
  return sides;
}

/// Rows of one kind of size, so that the programme's tolerances mean the same in all of them.
double size_of(const Sides& sides, Eigen::Index side, const Region& region) {
  const double moved =
      (sides.slopes.row(side).transpose().cwiseAbs().cwiseProduct(region.high)).sum();
  return std::max({moved, std::abs(sides.at_nothing[side]), sides.sd[side], 1e-300});
}

/// rows x - margin * sd >= -at_nothing, with the margin as one more column where `free`.
LinearProgram programme_of(const Region& region, const Sides& sides, bool free, double margin) {
  const Eigen::Index n = region.low.size(), more = free ? 1 : 0, count = sides.slopes.rows();
  const Eigen::Index room = region.rows.rows();
  LinearProgram programme;
  programme.rows.setZero(count + room, n + more);
  programme.row_low.setConstant(count + room, -recipe::no_limit);
  programme.row_high.setConstant(count + room, recipe::no_limit);
  programme.cost.setZero(n + more);
  programme.low.resize(n + more);
  programme.high.resize(n + more);
  for (Eigen::Index i = 0; i < count; ++i) {
    const double size = size_of(sides, i, region);
    programme.rows.row(i).head(n) = sides.slopes.row(i) / size;
    if (free) programme.rows(i, n) = -sides.sd[i] / size;
    programme.row_low[i] = ((free ? 0.0 : margin * sides.sd[i]) - sides.at_nothing[i]) / size;
  }
  programme.rows.bottomLeftCorner(room, n) = region.rows;
  programme.row_high.tail(room) = region.limits;
  programme.low.head(n) = region.low;
  programme.high.head(n) = region.high;
  if (free) {
    programme.cost[n] = -1.0;
    programme.low[n] = -1e6;
    programme.high[n] = far_enough;
  }
  return programme;
}

/// Without doses there is nothing to choose. Rounding of a line that holds by a hair is forgiven.
std::optional<Middle> as_it_is(const Sides& sides) {
  Middle middle{Amounts(0), far_enough};
  for (Eigen::Index i = 0; i < sides.sd.size(); ++i) {
    if (sides.sd[i] > 0.0)
      middle.margin = std::min(middle.margin, sides.at_nothing[i] / sides.sd[i]);
    else if (sides.at_nothing[i] < -1e-12)
      return std::nullopt;
  }
  return middle;
}

}  // namespace

std::optional<Middle> centre_of(const Region& region, const Sides& sides) {
  const Eigen::Index n = region.low.size();
  if (n == 0) return as_it_is(sides);
  const LinearAnswer answer = solve(programme_of(region, sides, true, 0.0));
  if (answer.status != LinearAnswer::Status::found) return std::nullopt;
  return Middle{Amounts(answer.x.head(n)), answer.x[n]};
}

std::optional<double> least_price(const Region& region, const Sides& sides,
                                  const Eigen::VectorXd& price, double margin) {
  if (region.low.size() == 0) {
    const auto middle = as_it_is(sides);
    return middle && middle->margin >= margin ? std::optional(0.0) : std::nullopt;
  }
  LinearProgram programme = programme_of(region, sides, false, margin);
  programme.cost = price;
  const LinearAnswer answer = solve(programme);
  if (answer.status != LinearAnswer::Status::found) return std::nullopt;
  return answer.cost;
}

Bounds bounds_of(const Family& family, const OddsModel& model, const Doses& doses, double margin) {
  const std::vector<int> open = open_ones(family, doses);
  const Region region = region_of(family, open, doses);
  Bounds bounds;
  bounds.fits = (region.low.array() <= region.high.array()).all() &&
                ((region.rows * region.low).array() <= region.limits.array()).all();
  if (!bounds.fits) return bounds;
  const Sides sides = sides_of(model, open, region);
  const auto middle = centre_of(region, sides);
  // A line that fails at the mean is no likelier than not.
  bounds.on_paper = middle && middle->margin >= 0.0;
  bounds.odds_at_most = middle ? normal_cdf(middle->margin) : 0.5;
  bounds.cost_at_least = std::numeric_limits<double>::infinity();
  if (margin > 0.0 && (!middle || middle->margin < std::min(margin, far_enough))) return bounds;
  Eigen::VectorXd price(static_cast<Eigen::Index>(open.size()));
  for (std::size_t c = 0; c < open.size(); ++c)
    price[static_cast<Eigen::Index>(c)] = doses.price[open[c]];
  const double visits = doses.visit * static_cast<double>(family.in.size());
  if (margin <= 0.0) {
    // Less than even odds ask nothing of the means.
    bounds.cost_at_least =
        visits + price.cwiseProduct(region.low).cwiseMin(price.cwiseProduct(region.high)).sum();
    return bounds;
  }
  if (const auto least = least_price(region, sides, price, margin))
    bounds.cost_at_least = visits + *least;
  return bounds;
}

}  // namespace vialwright::topup
