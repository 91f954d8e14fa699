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

double least(const Composition& problem, std::size_t i, double total) {
  return std::max(0.0, problem.low[i] * total - problem.have[i]);
}
double share_limit(const Composition& problem, std::size_t i) {
  return std::min(problem.high[i], no_share);
}

/// How much the limits of all stocks leave at one total, and how that changes with the total.
struct Balance {
  double spare = 0.0, spare_slope = 0.0;    ///< most that can be in it, less the total
  double excess = 0.0, excess_slope = 0.0;  ///< the total, less the least that must be in it
};

/// The totals that are possible: an interval, for both balances are concave in the total.
class Totals {
 public:
  Totals(const Composition& problem, double total_high) : problem_(problem) {
    double all_caps = problem.total;
    for (const double cap : problem.cap) all_caps += cap;
    window_of_each(std::min(total_high, all_caps));
    any_ = low_ <= high_ + same_mass * high_;
    low_ = std::min(low_, high_);
    if (any_) raise_low();
  }

  [[nodiscard]] bool any() const { return any_; }
  [[nodiscard]] double low() const { return low_; }
  /// What is left at `low` when every stock is at its least.
  [[nodiscard]] double excess_at_low() const { return excess_at_low_; }
  /// Found on demand: where more liquid costs more, nobody asks.
  [[nodiscard]] double high() {
    if (!high_is_sharp_) lower_high();
    return high_;
  }

 private:
  void window_of_each(double total_high);
  [[nodiscard]] Balance balance(double total, bool upwards) const;
  void raise_low();
  void lower_high();

  const Composition& problem_;
  double low_ = 0.0, high_ = 0.0, excess_at_low_ = 0.0;
  bool any_ = false, high_is_sharp_ = false;
};

/// What each stock alone asks of the total: its content must not be above its limit, and its cap
/// must reach its lower limit.
void Totals::window_of_each(double total_high) {
  low_ = std::max(problem_.total_low, problem_.total);
  high_ = total_high;
  for (std::size_t i = 0; i < problem_.have.size(); ++i) {
    const double have = problem_.have[i], share = share_limit(problem_, i);
    if (have > share * low_ + same_mass * low_) low_ = have / share;
    const double reach = have + problem_.cap[i];
    if (problem_.low[i] * high_ > reach + same_mass * high_) high_ = reach / problem_.low[i];
  }
}

/// @param upwards  slopes hold for larger totals; else for smaller ones.
Balance Totals::balance(double total, bool upwards) const {
  double least_sum = 0.0, most_sum = 0.0, least_slope = 0.0, most_slope = 0.0;
  for (std::size_t i = 0; i < problem_.have.size(); ++i) {
    const double share = share_limit(problem_, i), cap = problem_.cap[i];
    const double must = problem_.low[i] * total - problem_.have[i];
    const double may = share * total - problem_.have[i];
    const bool must_grows = upwards ? must >= 0.0 : must > 0.0;
    const bool may_grows = upwards ? may < cap : may <= cap;
    least_sum += std::max(0.0, must);
    most_sum += std::min(cap, may);
    least_slope += must_grows ? problem_.low[i] : 0.0;
    most_slope += may_grows ? share : 0.0;
  }
  const double added = total - problem_.total;
  return {most_sum - added, most_slope - 1.0, added - least_sum, 1.0 - least_slope};
}

/// Where the tangent of a concave balance reaches zero, or `end` where it never does.
double meets_zero(double total, double value, double slope, double end) {
  if (end > total) return slope > 0.0 ? std::min(total - value / slope, end) : end;
  return slope < 0.0 ? std::max(total - value / slope, end) : end;
}

/// One-sided Newton: a tangent never steps past the first total at which a concave balance holds.
/// A step a linear piece; more would be rounding.
void Totals::raise_low() {
  for (std::size_t step = 0;; ++step) {
    const Balance now = balance(low_, true);
    const double worst = std::min(now.spare, now.excess), rounding = sweep_rounding * low_;
    excess_at_low_ = now.excess;
    if (worst >= -rounding) return;
    double next = low_;
    if (now.spare < -rounding) next = meets_zero(low_, now.spare, now.spare_slope, high_);
    if (now.excess < -rounding)
      next = std::max(next, meets_zero(low_, now.excess, now.excess_slope, high_));
    if (next <= low_ || step == 4 * problem_.have.size() + 8) {
      any_ = worst >= -same_mass * low_;
      return;
    }
    low_ = next;
  }
}

/// @pre the balances hold at the low end, so the steps stop there at the latest.
void Totals::lower_high() {
  high_is_sharp_ = true;
  for (std::size_t step = 0; high_ > low_ && step < 4 * problem_.have.size() + 8; ++step) {
    const Balance now = balance(high_, false);
    const double rounding = sweep_rounding * high_;
    double next = high_;
    if (now.spare < -rounding) next = meets_zero(high_, now.spare, now.spare_slope, low_);
    if (now.excess < -rounding)
      next = std::min(next, meets_zero(high_, now.excess, now.excess_slope, low_));
    if (next >= high_) return;
    high_ = next;
  }
}

/// A total, what it costs at least, and a slope whose line through it lies under all such costs.
struct Point {
  double total = 0.0, cost = 0.0, slope = 0.0;
};

/// The search for the lightest additions by one weight a stock: its price, or its price with a
/// charge on volume.
class Lightest {
 public:
  /// @param additions  holds those of the last total looked at.
  Lightest(const Composition& problem, std::span<const double> weight, std::span<double> additions)
      : problem_(problem), weight_(weight), additions_(additions) {
    for (std::size_t i = 0; i < weight.size(); ++i) insert(i);
  }

  /// Writes the additions of least weight.
  void find(Totals& totals) const {
    const Point best = search(totals);
    if (best.total != last_total_) at(best.total);
  }

 private:
  void insert(std::size_t stock) {
    std::size_t at = stock;
    for (; at > 0 && weight_[order_[at - 1]] > weight_[stock]; --at) order_[at] = order_[at - 1];
    order_[at] = stock;
  }
  [[nodiscard]] Point search(Totals& totals) const;
  [[nodiscard]] Point between(Point left, Point right) const;
  Point at(double total) const {
    double left = total - problem_.total;
    for (std::size_t i = 0; i < weight_.size(); ++i) left -= least(problem_, i, total);
    return at(total, left);
  }
  Point at(double total, double left) const;

  const Composition& problem_;
  std::span<const double> weight_;
  std::span<double> additions_;
  mutable double last_total_ = -1.0;
  std::array<std::size_t, most_stocks> order_;
};

/// Least weight at one total: every stock at its least, then what is `left` by the lightest first.
/// The slope is that of the linear programme's dual with the last stock touched as the price of
/// mass, so its line is a lower bound for every total (weak duality), whatever side of a kink
/// rounding puts us.
Point Lightest::at(double total, double left) const {
  last_total_ = total;
  double cost = 0.0, slope = 0.0, share = 0.0, marginal = 0.0;
  bool found = false;
  for (std::size_t position = 0; position < weight_.size(); ++position) {
    const std::size_t i = order_[position];
    const double must = problem_.low[i] * total, have = problem_.have[i], cap = problem_.cap[i];
    const double limit = share_limit(problem_, i), may = limit * total - have;
    const double floor = std::max(0.0, must - have);
    const double room = std::max(0.0, std::min(cap, may) - floor);
    const double taken = std::min(room, std::max(left, 0.0));
    additions_[i] = floor + taken;
    cost += weight_[i] * (floor + taken);
    if (!found && (left <= room || position + 1 == weight_.size())) {
      found = true;
      marginal = weight_[i];
    } else {
      // Below the marginal stock all is at its most, above it at its least.
      const double above = must > have ? problem_.low[i] : 0.0, below = may < cap ? limit : 0.0;
      const double grows = found ? above : below;
      share += grows;
      slope += weight_[i] * grows;
    }
    left -= taken;
  }
  return {total, cost, slope + marginal * (1.0 - share)};
}

Point Lightest::search(Totals& totals) const {
  const Point left = at(totals.low(), totals.excess_at_low());
  if (left.slope >= 0.0 || totals.high() <= totals.low()) return left;
  const Point right = at(totals.high());
  if (right.slope <= 0.0) return right;
  return between(left, right);
}

/// Two tangents under a convex cost meet below its minimum; a cost that reaches the meeting point
/// is the minimum. Each other meeting finds a new linear piece, so the search is finite.
Point Lightest::between(Point left, Point right) const {
  const double dearest = largest(weight_);
  for (std::size_t step = 0; step < 4 * weight_.size() + 8; ++step) {
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

Side lightest(const Composition& problem, Totals& totals, std::span<const double> weight) {
  Side side;
  const std::span<double> additions(side.additions.data(), problem.have.size());
  Lightest(problem, weight, additions).find(totals);
  side.cost = dot(problem.cost, additions);
  side.volume = dot(problem.volume, additions);
  return side;
}

/// The volume row binds: find its price. Cost and volume of the best additions trade along a convex
/// chain; the price is the slope of the edge that crosses the room, found by meeting lines.
Solution within_room(const Composition& problem, Totals& totals, Side beyond, double slack,
                     std::span<double> additions) {
  const std::size_t count = problem.have.size();
  Side within = lightest(problem, totals, problem.volume);
  if (within.volume > problem.volume_room + slack) return Solution::impossible;
  const double dearest = largest(problem.cost);
  PerStock weight;
  for (std::size_t step = 0; step < 8 * count + 8; ++step) {
    const double price = (within.cost - beyond.cost) / (beyond.volume - within.volume);
    for (std::size_t i = 0; i < count; ++i) weight[i] = problem.cost[i] + price * problem.volume[i];
    Side middle = lightest(problem, totals, {weight.data(), count});
    const double edge = beyond.cost + price * beyond.volume;
    const double rounding = cost_rounding * (dearest + std::abs(price)) * totals.high();
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
  const double by_volume =
      total_by_volume(problem.total, problem.volume_room, least_volume(problem));
  Totals totals(problem, std::min(problem.total_high, by_volume));
  if (!totals.any()) return Solution::impossible;
  Lightest(problem, problem.cost, additions).find(totals);
  cost = dot(problem.cost, additions);
  const double volume = dot(problem.volume, additions);
  if (volume <= problem.volume_room) return Solution::found;
  const double slack = same_mass * totals.high() * largest(problem.volume);
  if (volume <= problem.volume_room + slack) return Solution::found;
  Side beyond{{}, cost, volume};
  std::copy(additions.begin(), additions.end(), beyond.additions.begin());
  if (within_room(problem, totals, beyond, slack, additions) == Solution::impossible)
    return Solution::impossible;
  cost = dot(problem.cost, additions);
  return Solution::found;
}

}  // namespace vialwright::topup
