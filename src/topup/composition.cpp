#include "topup/composition.hpp"

#include <algorithm>
#include <cmath>

#include "topup/topup.hpp"

namespace vialwright::topup {
namespace {

using PerStock = std::array<double, most_stocks>;

double largest(std::span<const double> values) {
  double found = 0.0;
  for (const double each : values) found = std::max(found, std::abs(each));
  return found;
}

/// Totals that are possible. Empty when low > high.
struct Window {
  double low = 0.0, high = 0.0;
};

/// A total, what it costs at least, and a slope whose line through it lies under all such costs.
struct Point {
  double total = 0.0, cost = 0.0, slope = 0.0;
};

/// How much the limits of all stocks leave at one total, and how that changes with the total.
struct Balance {
  double spare = 0.0, spare_slope = 0.0;    ///< most that can be in it, less the total
  double excess = 0.0, excess_slope = 0.0;  ///< the total, less the least that must be in it
};

/// One problem with its stocks in order of weight (price, or price with a charge on volume).
class Ordered {
 public:
  Ordered(const Composition& problem, std::span<const double> weight)
      : count_(problem.have.size()), total_(problem.total) {
    for (std::size_t i = 0; i < count_; ++i) insert(i, weight);
    for (std::size_t i = 0; i < count_; ++i) {
      const std::size_t stock = stock_[i];
      have_[i] = problem.have[stock];
      low_[i] = problem.low[stock];
      high_[i] = std::min(problem.high[stock], no_share);
      cap_[i] = problem.cap[stock];
      weight_[i] = weight[stock];
    }
  }

  [[nodiscard]] Window window(double total_low, double total_high) const;
  [[nodiscard]] Point cheapest(const Window& window) const;
  /// Writes the additions of least weight at that total, in the order of the problem.
  void additions_at(double total, std::span<double> additions) const;

 private:
  void insert(std::size_t stock, std::span<const double> weight) {
    std::size_t at = stock;
    for (; at > 0 && weight[stock_[at - 1]] > weight[stock]; --at) stock_[at] = stock_[at - 1];
    stock_[at] = stock;
  }
  [[nodiscard]] double least(std::size_t i, double total) const {
    return std::max(0.0, low_[i] * total - have_[i]);
  }
  [[nodiscard]] double most(std::size_t i, double total) const {
    return std::min(cap_[i], high_[i] * total - have_[i]);
  }
  [[nodiscard]] Window window_of_each(double total_low, double total_high) const;
  /// Moves one end of the window inwards until the balances hold there.
  /// @returns false where they hold at no total.
  [[nodiscard]] bool raise_low(Window& open) const;
  void lower_high(Window& open) const;
  [[nodiscard]] Balance balance(double total, bool upwards) const;
  [[nodiscard]] Point at(double total) const;
  [[nodiscard]] Point between(Point left, Point right) const;

  std::size_t count_;
  double total_;
  std::array<std::size_t, most_stocks> stock_;
  PerStock have_, low_, high_, cap_, weight_;
};

/// What each stock alone asks of the total: its content must not be above its limit, and its cap
/// must reach its lower limit.
Window Ordered::window_of_each(double total_low, double total_high) const {
  double low = std::max(total_low, total_), high = total_high;
  for (std::size_t i = 0; i < count_; ++i) {
    if (have_[i] > high_[i] * low + same_mass * low) low = have_[i] / high_[i];
    const double reach = have_[i] + cap_[i];
    if (low_[i] * high > reach + same_mass * high) high = reach / low_[i];
  }
  return {low, high};
}

/// @param upwards  slopes hold for larger totals; else for smaller ones.
Balance Ordered::balance(double total, bool upwards) const {
  double least_sum = 0.0, most_sum = 0.0, least_slope = 0.0, most_slope = 0.0;
  for (std::size_t i = 0; i < count_; ++i) {
    const double must = low_[i] * total - have_[i];
    const double may = high_[i] * total - have_[i];
    const bool must_grows = upwards ? must >= 0.0 : must > 0.0;
    const bool may_grows = upwards ? may < cap_[i] : may <= cap_[i];
    least_sum += std::max(0.0, must);
    most_sum += std::min(cap_[i], may);
    least_slope += must_grows ? low_[i] : 0.0;
    most_slope += may_grows ? high_[i] : 0.0;
  }
  const double added = total - total_;
  return {most_sum - added, most_slope - 1.0, added - least_sum, 1.0 - least_slope};
}

/// Where the tangent of a concave balance reaches zero, or `end` where it never does.
double meets_zero(double total, double value, double slope, double end) {
  if (end > total) return slope > 0.0 ? std::min(total - value / slope, end) : end;
  return slope < 0.0 ? std::max(total - value / slope, end) : end;
}

/// One-sided Newton: both balances are concave in the total, so a tangent never steps past the
/// first total at which they hold. A step a linear piece; more would be rounding.
bool Ordered::raise_low(Window& open) const {
  for (std::size_t step = 0;; ++step) {
    const Balance now = balance(open.low, true);
    const double worst = std::min(now.spare, now.excess);
    const double rounding = sweep_rounding * open.low;
    if (worst >= -rounding) return true;
    double next = open.low;
    if (now.spare < -rounding) next = meets_zero(open.low, now.spare, now.spare_slope, open.high);
    if (now.excess < -rounding)
      next = std::max(next, meets_zero(open.low, now.excess, now.excess_slope, open.high));
    if (next <= open.low || step == 4 * count_ + 8) return worst >= -same_mass * open.low;
    open.low = next;
  }
}

/// @pre the balances hold at open.low, so the steps stop there at the latest.
void Ordered::lower_high(Window& open) const {
  for (std::size_t step = 0; open.high > open.low && step < 4 * count_ + 8; ++step) {
    const Balance now = balance(open.high, false);
    const double rounding = sweep_rounding * open.high;
    double next = open.high;
    if (now.spare < -rounding) next = meets_zero(open.high, now.spare, now.spare_slope, open.low);
    if (now.excess < -rounding)
      next = std::min(next, meets_zero(open.high, now.excess, now.excess_slope, open.low));
    if (next >= open.high) return;
    open.high = next;
  }
}

Window Ordered::window(double total_low, double total_high) const {
  double all_caps = total_;
  for (std::size_t i = 0; i < count_; ++i) all_caps += cap_[i];
  Window open = window_of_each(total_low, std::min(total_high, all_caps));
  constexpr Window empty{1.0, 0.0};
  if (!(open.low <= open.high + same_mass * open.high)) return empty;
  open.low = std::min(open.low, open.high);
  if (!raise_low(open)) return empty;
  lower_high(open);
  return open;
}

/// Least weight at one total: every stock at its least, then the lightest first. The slope is that
/// of the linear programme's dual with the last stock touched as the price of mass, so its line is
/// a lower bound for every total (weak duality), whatever side of a kink rounding puts us.
Point Ordered::at(double total) const {
  double left = total - total_;
  for (std::size_t i = 0; i < count_; ++i) left -= least(i, total);
  double cost = 0.0, slope = 0.0, share = 0.0, marginal = 0.0;
  bool found = false;
  for (std::size_t i = 0; i < count_; ++i) {
    const double floor = least(i, total);
    const double room = std::max(0.0, most(i, total) - floor);
    const double taken = std::min(room, std::max(left, 0.0));
    cost += weight_[i] * (floor + taken);
    const bool last = i + 1 == count_;
    if (!found && (left <= room || last)) {
      found = true;
      marginal = weight_[i];
    } else {
      // Below the marginal stock all is at its most, above it at its least.
      const double grows = found ? (low_[i] * total > have_[i] ? low_[i] : 0.0)
                                 : (high_[i] * total - have_[i] < cap_[i] ? high_[i] : 0.0);
      share += grows;
      slope += weight_[i] * grows;
    }
    left -= taken;
  }
  return {total, cost, slope + marginal * (1.0 - share)};
}

void Ordered::additions_at(double total, std::span<double> additions) const {
  double left = total - total_;
  for (std::size_t i = 0; i < count_; ++i) left -= least(i, total);
  for (std::size_t i = 0; i < count_; ++i) {
    const double floor = least(i, total);
    const double room = std::max(0.0, most(i, total) - floor);
    const double taken = std::min(room, std::max(left, 0.0));
    additions[stock_[i]] = floor + taken;
    left -= taken;
  }
}

Point Ordered::cheapest(const Window& window) const {
  const Point left = at(window.low);
  if (left.slope >= 0.0 || window.high <= window.low) return left;
  const Point right = at(window.high);
  if (right.slope <= 0.0) return right;
  return between(left, right);
}

/// Two tangents under a convex cost meet below its minimum; a cost that reaches the meeting point
/// is the minimum. Each other meeting finds a new linear piece, so the search is finite.
Point Ordered::between(Point left, Point right) const {
  const double dearest = largest({weight_.data(), count_});
  for (std::size_t step = 0; step < 4 * count_ + 8; ++step) {
    const double width = right.total - left.total;
    const double ahead =
        (right.cost - left.cost - right.slope * width) / (left.slope - right.slope);
    if (!(ahead > 0.0 && ahead < width)) break;
    const Point middle = at(left.total + ahead);
    const double rounding = cost_rounding * dearest * middle.total;
    if (middle.cost <= left.cost + left.slope * ahead + rounding) return middle;
    (middle.slope < 0.0 ? left : right) = middle;
  }
  return left.cost <= right.cost ? left : right;
}

double dot(std::span<const double> a, std::span<const double> b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) sum += a[i] * b[i];
  return sum;
}

/// The two sides of the volume row: dearer but within the room, cheaper but beyond it.
struct Side {
  PerStock additions;
  double cost = 0.0, volume = 0.0;
};

Side solve(const Composition& problem, const Window& window, std::span<const double> weight) {
  const Ordered ordered(problem, weight);
  Side side;
  const std::span<double> additions(side.additions.data(), problem.have.size());
  ordered.additions_at(ordered.cheapest(window).total, additions);
  side.cost = dot(problem.cost, additions);
  side.volume = dot(problem.volume, additions);
  return side;
}

/// The volume row binds: find its price. Cost and volume of the best additions trade along a convex
/// chain; the price is the slope of the edge that crosses the room, found by meeting lines.
Solution within_room(const Composition& problem, const Window& window, Side beyond, double slack,
                     std::span<double> additions) {
  const std::size_t count = problem.have.size();
  Side within = solve(problem, window, problem.volume);
  if (within.volume > problem.volume_room + slack) return Solution::impossible;
  const double dearest = largest(problem.cost);
  PerStock weight;
  for (std::size_t step = 0; step < 8 * count + 8; ++step) {
    const double price = (within.cost - beyond.cost) / (beyond.volume - within.volume);
    for (std::size_t i = 0; i < count; ++i) weight[i] = problem.cost[i] + price * problem.volume[i];
    Side middle = solve(problem, window, {weight.data(), count});
    const double edge = beyond.cost + price * beyond.volume;
    const double rounding = cost_rounding * (dearest + std::abs(price)) * window.high;
    if (middle.cost + price * middle.volume >= edge - rounding) break;
    (middle.volume > problem.volume_room + slack ? beyond : within) = middle;
    if (!(beyond.volume - within.volume > 0.0)) break;
  }
  const double gap = beyond.volume - within.volume;
  const double share =
      gap > 0.0 ? std::clamp((problem.volume_room - within.volume) / gap, 0.0, 1.0) : 0.0;
  for (std::size_t i = 0; i < count; ++i)
    additions[i] = within.additions[i] + share * (beyond.additions[i] - within.additions[i]);
  return Solution::found;
}

double least_volume(const Composition& problem) {
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < problem.volume.size(); ++i)
    if (problem.cap[i] > 0.0) least = std::min(least, problem.volume[i]);
  return std::isfinite(least) ? least : 0.0;
}

}  // namespace

Solution least_cost(const Composition& problem, std::span<double> additions, double& cost) {
  const std::size_t count = problem.have.size();
  require(count <= most_stocks, "a composition problem has at most 64 stocks");
  require(problem.low.size() == count && problem.high.size() == count &&
              problem.cap.size() == count && problem.cost.size() == count &&
              problem.volume.size() == count && additions.size() == count,
          "one entry a stock in every span");
  const Ordered ordered(problem, problem.cost);
  const double by_volume =
      total_by_volume(problem.total, problem.volume_room, least_volume(problem));
  const Window window = ordered.window(problem.total_low, std::min(problem.total_high, by_volume));
  if (window.low > window.high) return Solution::impossible;
  ordered.additions_at(ordered.cheapest(window).total, additions);
  const double volume = dot(problem.volume, additions);
  const double slack = same_mass * window.high * largest(problem.volume);
  if (volume > problem.volume_room + slack) {
    Side beyond;
    std::copy(additions.begin(), additions.end(), beyond.additions.begin());
    beyond.cost = dot(problem.cost, additions);
    beyond.volume = volume;
    if (within_room(problem, window, beyond, slack, additions) == Solution::impossible)
      return Solution::impossible;
  }
  cost = dot(problem.cost, additions);
  return Solution::found;
}

}  // namespace vialwright::topup
