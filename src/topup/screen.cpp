// The composition solver of composition.cpp, one recipe a lane: the same steps in the same order,
// without fused multiply-adds, so that every vector width gives the same bits. Compiled once a
// target by foreach_target; the widest that the processor has is chosen at run time.

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "topup/screen.cpp"
// Vectors of unknown size cannot be members of a struct; those processors run the fixed-size path.
#define HWY_DISABLED_TARGETS (HWY_SVE | HWY_SVE2 | HWY_SVE_256 | HWY_SVE2_128 | HWY_RVV)
#include <hwy/foreach_target.h>  // must come before highway.h
#include <hwy/highway.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "topup/composition.hpp"
#include "topup/topup.hpp"

#ifndef VIALWRIGHT_TOPUP_SCREEN_COMMON
#define VIALWRIGHT_TOPUP_SCREEN_COMMON
namespace vialwright::topup {

/// What all recipes share.
struct Screening {
  const RecipeTable* recipes;
  std::size_t stocks;
  std::array<std::size_t, most_stocks> order;        ///< stocks from the cheapest on
  std::array<const double*, most_stocks> low, high;  ///< rows of the table
  std::array<double, most_stocks> have, cap, price, volume;
  double total, all_caps, by_volume, volume_room, largest_volume, dearest;
};

}  // namespace vialwright::topup
#endif

HWY_BEFORE_NAMESPACE();
namespace vialwright::topup::HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;
using Tag = hn::ScalableTag<double>;
using V = hn::Vec<Tag>;
using M = hn::Mask<Tag>;

constexpr Tag d{};

V set(double value) { return hn::Set(d, value); }
M no_lane() { return hn::MaskFromVec(hn::Zero(d)); }
bool none(M mask) { return hn::AllFalse(d, mask); }

struct Point {
  V total, cost, slope;
};
struct Balance {
  V spare, spare_slope, excess, excess_slope;
};

/// The recipes from `first` on, as many as there are lanes.
class Lanes {
 public:
  Lanes(const Screening& all, std::size_t first) : all_(all), first_(first) {}

  /// Least costs, infinity where impossible. `unsure` gets the lanes whose volume row may bind.
  V least_costs(M& unsure);

 private:
  V low(std::size_t i) const { return hn::LoadU(d, all_.low[i] + first_); }
  V high(std::size_t i) const {
    return hn::Min(hn::LoadU(d, all_.high[i] + first_), set(no_share));
  }
  V least(std::size_t i, V total) const {
    return hn::Max(hn::Zero(d), hn::Sub(hn::Mul(low(i), total), set(all_.have[i])));
  }
  V most(std::size_t i, V total) const {
    return hn::Min(set(all_.cap[i]), hn::Sub(hn::Mul(high(i), total), set(all_.have[i])));
  }
  bool prune();
  void window_of_each();
  Balance balance(V total, bool upwards) const;
  void raise_low();
  void lower_high();
  V left_at(V total) const;
  Point at(V total, V left) const;
  V volume_at(V total) const;
  Point cheapest();
  void between(Point left, Point right, M open, Point& best) const;

  const Screening& all_;
  std::size_t first_;
  V from_ = hn::Zero(d), to_ = hn::Zero(d);  ///< totals that are possible
  V excess_ = hn::Zero(d);                   ///< what is left at from_ with all at their least
  M dead_ = no_lane();
};

/// Most recipes cannot take what is already there; a look at their upper limits settles them.
/// The margin keeps every recipe that the exact window might still accept.
bool Lanes::prune() {
  const auto* table = all_.recipes;
  from_ = hn::Max(hn::LoadU(d, table->total_low.data() + first_), set(all_.total));
  to_ = hn::Min(hn::LoadU(d, table->total_high.data() + first_),
                set(std::min(all_.by_volume, all_.all_caps)));
  const V margin = hn::Mul(to_, set(10.0 * same_mass));
  const V reach = hn::Add(to_, hn::Max(margin, hn::Neg(margin)));
  dead_ = hn::Not(hn::Le(from_, reach));
  for (std::size_t i = 0; i < all_.stocks; ++i) {
    if (hn::AllTrue(d, dead_)) return true;
    const V allowed = hn::Add(hn::Mul(high(i), reach), margin);
    dead_ = hn::Or(dead_, hn::Gt(set(all_.have[i]), allowed));
  }
  return hn::AllTrue(d, dead_);
}

void Lanes::window_of_each() {
  const V same = set(same_mass);
  for (std::size_t i = 0; i < all_.stocks; ++i) {
    const V have = set(all_.have[i]), reach = set(all_.have[i] + all_.cap[i]);
    const V lo = low(i), hi = high(i);
    const M up = hn::Gt(have, hn::Add(hn::Mul(hi, from_), hn::Mul(same, from_)));
    from_ = hn::IfThenElse(up, hn::Div(have, hi), from_);
    const M down = hn::Gt(hn::Mul(lo, to_), hn::Add(reach, hn::Mul(same, to_)));
    to_ = hn::IfThenElse(down, hn::Div(reach, lo), to_);
  }
  dead_ = hn::Or(dead_, hn::Not(hn::Le(from_, hn::Add(to_, hn::Mul(same, to_)))));
  from_ = hn::Min(from_, to_);
}

Balance Lanes::balance(V total, bool upwards) const {
  const V zero = hn::Zero(d);
  V least_sum = zero, most_sum = zero, least_slope = zero, most_slope = zero;
  for (std::size_t i = 0; i < all_.stocks; ++i) {
    const V lo = low(i), hi = high(i), have = set(all_.have[i]), cap = set(all_.cap[i]);
    const V must = hn::Sub(hn::Mul(lo, total), have);
    const V may = hn::Sub(hn::Mul(hi, total), have);
    const M must_grows = upwards ? hn::Ge(must, zero) : hn::Gt(must, zero);
    const M may_grows = upwards ? hn::Lt(may, cap) : hn::Le(may, cap);
    least_sum = hn::Add(least_sum, hn::Max(zero, must));
    most_sum = hn::Add(most_sum, hn::Min(cap, may));
    least_slope = hn::Add(least_slope, hn::IfThenElseZero(must_grows, lo));
    most_slope = hn::Add(most_slope, hn::IfThenElseZero(may_grows, hi));
  }
  const V added = hn::Sub(total, set(all_.total));
  return {hn::Sub(most_sum, added), hn::Sub(most_slope, set(1.0)), hn::Sub(added, least_sum),
          hn::Sub(set(1.0), least_slope)};
}

V meets_zero_above(V total, V value, V slope, V end) {
  const V met = hn::Min(hn::Sub(total, hn::Div(value, slope)), end);
  return hn::IfThenElse(hn::Gt(slope, hn::Zero(d)), met, end);
}
V meets_zero_below(V total, V value, V slope, V end) {
  const V met = hn::Max(hn::Sub(total, hn::Div(value, slope)), end);
  return hn::IfThenElse(hn::Lt(slope, hn::Zero(d)), met, end);
}

void Lanes::raise_low() {
  M open = hn::Not(dead_);
  for (std::size_t step = 0; !none(open); ++step) {
    const Balance now = balance(from_, true);
    const V worst = hn::Min(now.spare, now.excess);
    const V rounding = hn::Neg(hn::Mul(set(sweep_rounding), from_));
    excess_ = hn::IfThenElse(open, now.excess, excess_);
    open = hn::And(open, hn::Lt(worst, rounding));
    if (none(open)) return;
    const V by_spare = meets_zero_above(from_, now.spare, now.spare_slope, to_);
    const V by_excess = meets_zero_above(from_, now.excess, now.excess_slope, to_);
    V next = hn::IfThenElse(hn::Lt(now.spare, rounding), by_spare, from_);
    next = hn::IfThenElse(hn::Lt(now.excess, rounding), hn::Max(next, by_excess), next);
    M stuck = hn::And(open, hn::Le(next, from_));
    if (step == 4 * all_.stocks + 8) stuck = open;
    const M missed = hn::Lt(worst, hn::Neg(hn::Mul(set(same_mass), from_)));
    dead_ = hn::Or(dead_, hn::And(stuck, missed));
    open = hn::AndNot(stuck, open);
    from_ = hn::IfThenElse(open, next, from_);
  }
}

void Lanes::lower_high() {
  M open = hn::AndNot(dead_, hn::Gt(to_, from_));
  for (std::size_t step = 0; !none(open) && step < 4 * all_.stocks + 8; ++step) {
    const Balance now = balance(to_, false);
    const V rounding = hn::Neg(hn::Mul(set(sweep_rounding), to_));
    open = hn::And(open, hn::Lt(hn::Min(now.spare, now.excess), rounding));
    if (none(open)) return;
    const V by_spare = meets_zero_below(to_, now.spare, now.spare_slope, from_);
    const V by_excess = meets_zero_below(to_, now.excess, now.excess_slope, from_);
    V next = hn::IfThenElse(hn::Lt(now.spare, rounding), by_spare, to_);
    next = hn::IfThenElse(hn::Lt(now.excess, rounding), hn::Min(next, by_excess), next);
    open = hn::And(open, hn::Lt(next, to_));
    to_ = hn::IfThenElse(open, next, to_);
    open = hn::And(open, hn::Gt(to_, from_));
  }
}

V Lanes::left_at(V total) const {
  V left = hn::Sub(total, set(all_.total));
  for (std::size_t i = 0; i < all_.stocks; ++i) left = hn::Sub(left, least(i, total));
  return left;
}

Point Lanes::at(V total, V left) const {
  const V zero = hn::Zero(d);
  V cost = zero, slope = zero, share = zero, marginal = zero;
  M found = no_lane();
  for (std::size_t position = 0; position < all_.stocks; ++position) {
    const std::size_t i = all_.order[position];
    const V lo = low(i), hi = high(i), have = set(all_.have[i]), cap = set(all_.cap[i]);
    const V price = set(all_.price[i]);
    const V must = hn::Mul(lo, total), may = hn::Sub(hn::Mul(hi, total), have);
    const V floor = hn::Max(zero, hn::Sub(must, have));
    const V room = hn::Max(zero, hn::Sub(hn::Min(cap, may), floor));
    const V taken = hn::Min(room, hn::Max(left, zero));
    cost = hn::Add(cost, hn::Mul(price, hn::Add(floor, taken)));
    M here = hn::AndNot(found, hn::Le(left, room));
    if (position + 1 == all_.stocks) here = hn::Not(found);
    marginal = hn::IfThenElse(here, price, marginal);
    const V above = hn::IfThenElseZero(hn::Gt(must, have), lo);
    const V below = hn::IfThenElseZero(hn::Lt(may, cap), hi);
    const V grows = hn::IfThenZeroElse(here, hn::IfThenElse(found, above, below));
    share = hn::Add(share, grows);
    slope = hn::Add(slope, hn::Mul(price, grows));
    found = hn::Or(found, here);
    left = hn::Sub(left, taken);
  }
  slope = hn::Add(slope, hn::Mul(marginal, hn::Sub(set(1.0), share)));
  return {total, cost, slope};
}

V Lanes::volume_at(V total) const {
  V left = left_at(total), volume = hn::Zero(d);
  for (std::size_t position = 0; position < all_.stocks; ++position) {
    const std::size_t i = all_.order[position];
    const V floor = least(i, total);
    const V room = hn::Max(hn::Zero(d), hn::Sub(most(i, total), floor));
    const V taken = hn::Min(room, hn::Max(left, hn::Zero(d)));
    volume = hn::Add(volume, hn::Mul(set(all_.volume[i]), hn::Add(floor, taken)));
    left = hn::Sub(left, taken);
  }
  return volume;
}

void choose(M where, const Point& from, Point& into) {
  into.total = hn::IfThenElse(where, from.total, into.total);
  into.cost = hn::IfThenElse(where, from.cost, into.cost);
  into.slope = hn::IfThenElse(where, from.slope, into.slope);
}

Point Lanes::cheapest() {
  Point best = at(from_, excess_);
  const M down = hn::AndNot(dead_, hn::Lt(best.slope, hn::Zero(d)));
  if (none(down)) return best;
  lower_high();
  const M open = hn::And(down, hn::Gt(to_, from_));
  if (none(open)) return best;
  const Point right = at(to_, left_at(to_));
  const M falls = hn::Le(right.slope, hn::Zero(d));
  const Point left = best;
  choose(hn::And(open, falls), right, best);
  between(left, right, hn::AndNot(falls, open), best);
  return best;
}

void Lanes::between(Point left, Point right, M open, Point& best) const {
  for (std::size_t step = 0; !none(open) && step < 4 * all_.stocks + 8; ++step) {
    const V width = hn::Sub(right.total, left.total);
    const V gain = hn::Sub(hn::Sub(right.cost, left.cost), hn::Mul(right.slope, width));
    const V ahead = hn::Div(gain, hn::Sub(left.slope, right.slope));
    const M inside = hn::And(hn::Gt(ahead, hn::Zero(d)), hn::Lt(ahead, width));
    const M ends = hn::AndNot(inside, open);
    choose(ends, left, best);
    choose(hn::And(ends, hn::Lt(right.cost, left.cost)), right, best);
    open = hn::And(open, inside);
    if (none(open)) return;
    const V total = hn::IfThenElse(open, hn::Add(left.total, ahead), left.total);
    const Point middle = at(total, left_at(total));
    const V rounding = hn::Mul(set(cost_rounding * all_.dearest), middle.total);
    const V bound = hn::Add(hn::Add(left.cost, hn::Mul(left.slope, ahead)), rounding);
    const M met = hn::And(open, hn::Le(middle.cost, bound));
    choose(met, middle, best);
    open = hn::AndNot(met, open);
    const M falls = hn::Lt(middle.slope, hn::Zero(d));
    choose(hn::And(open, falls), middle, left);
    choose(hn::AndNot(falls, open), middle, right);
  }
  choose(open, left, best);
  choose(hn::And(open, hn::Lt(right.cost, left.cost)), right, best);
}

V Lanes::least_costs(M& unsure) {
  const V infinite = set(std::numeric_limits<double>::infinity());
  unsure = no_lane();
  if (prune()) return infinite;
  window_of_each();
  raise_low();
  if (hn::AllTrue(d, dead_)) return infinite;
  const Point best = cheapest();
  // The row cannot bind where even the bulkiest stock alone would fit.
  const V added = hn::Sub(best.total, set(all_.total));
  const V tight = set(all_.volume_room - 1e-9 * std::abs(all_.volume_room));
  unsure = hn::AndNot(dead_, hn::Gt(hn::Mul(added, set(all_.largest_volume)), tight));
  if (!none(unsure)) unsure = hn::And(unsure, hn::Gt(volume_at(best.total), tight));
  return hn::IfThenElse(dead_, infinite, best.cost);
}

/// @returns how many recipes were done: all but the last few that do not fill the lanes.
std::size_t screen_lanes(const Screening& all, double* cost,
                         double (*exact)(const Screening&, std::size_t)) {
  const std::size_t lanes = hn::Lanes(d), count = static_cast<std::size_t>(all.recipes->count);
  std::size_t first = 0;
  for (; first + lanes <= count; first += lanes) {
    M unsure;
    hn::StoreU(Lanes(all, first).least_costs(unsure), d, cost + first);
    if (none(unsure)) continue;
    std::uint8_t bits[8] = {};
    hn::StoreMaskBits(d, unsure, bits);
    for (std::size_t lane = 0; lane < lanes; ++lane)
      if ((bits[lane / 8] >> (lane % 8)) & 1U) cost[first + lane] = exact(all, first + lane);
  }
  return first;
}

}  // namespace
}  // namespace vialwright::topup::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace vialwright::topup {
namespace {

HWY_EXPORT(screen_lanes);

/// One recipe by the single solver: the volume row may bind, or the lanes are not full.
double exact_cost(const Screening& all, std::size_t recipe) {
  std::array<double, most_stocks> low, high, additions;
  for (std::size_t i = 0; i < all.stocks; ++i) {
    low[i] = all.low[i][recipe];
    high[i] = all.high[i][recipe];
  }
  Composition problem;
  problem.have = {all.have.data(), all.stocks};
  problem.low = {low.data(), all.stocks};
  problem.high = {high.data(), all.stocks};
  problem.cap = {all.cap.data(), all.stocks};
  problem.cost = {all.price.data(), all.stocks};
  problem.volume = {all.volume.data(), all.stocks};
  problem.total = all.total;
  problem.total_low = all.recipes->total_low[recipe];
  problem.total_high = all.recipes->total_high[recipe];
  problem.volume_room = all.volume_room;
  double cost = 0.0;
  const Solution solution = least_cost(problem, {additions.data(), all.stocks}, cost);
  return solution == Solution::found ? cost : std::numeric_limits<double>::infinity();
}

}  // namespace

void screen(const RecipeTable& recipes, std::span<const double> have, std::span<const double> cap,
            std::span<const double> price, std::span<const double> volume, double total,
            double volume_room, std::span<double> cost) {
  const auto stocks = static_cast<std::size_t>(recipes.stocks);
  const auto count = static_cast<std::size_t>(recipes.count);
  require(stocks <= most_stocks, "a composition problem has at most 64 stocks");
  require(have.size() == stocks && cap.size() == stocks && price.size() == stocks &&
              volume.size() == stocks && cost.size() == count &&
              recipes.low.size() == stocks * count && recipes.high.size() == stocks * count &&
              recipes.total_low.size() == count && recipes.total_high.size() == count,
          "one entry a stock, a recipe, or both");
  Screening all{};
  for (std::size_t i = 0; i < stocks; ++i) all.order[i] = i;
  std::stable_sort(all.order.begin(), all.order.begin() + stocks,
                   [&](std::size_t a, std::size_t b) { return price[a] < price[b]; });
  all.recipes = &recipes;
  all.stocks = stocks;
  all.total = all.all_caps = total;
  all.volume_room = volume_room;
  double least_volume = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < stocks; ++i) {
    all.low[i] = recipes.low.data() + i * count;
    all.high[i] = recipes.high.data() + i * count;
    all.have[i] = have[i];
    all.cap[i] = cap[i];
    all.price[i] = price[i];
    all.volume[i] = volume[i];
    all.all_caps += cap[i];
    all.dearest = std::max(all.dearest, std::abs(price[i]));
    all.largest_volume = std::max(all.largest_volume, volume[i]);
    if (cap[i] > 0.0) least_volume = std::min(least_volume, volume[i]);
  }
  all.by_volume =
      total_by_volume(total, volume_room, std::isfinite(least_volume) ? least_volume : 0.0);
  const std::size_t done = HWY_DYNAMIC_DISPATCH(screen_lanes)(all, cost.data(), exact_cost);
  for (std::size_t r = done; r < count; ++r) cost[r] = exact_cost(all, r);
}

}  // namespace vialwright::topup
#endif  // HWY_ONCE
