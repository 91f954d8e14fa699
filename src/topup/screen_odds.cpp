#include <algorithm>
#include <cmath>

#include "topup/screen_doses.hpp"

namespace vialwright::topup {
namespace {

double normal_cdf(double z) { return 0.5 * std::erfc(-z * 0.70710678118654752); }
double normal_density(double z) { return 0.39894228040143268 * std::exp(-0.5 * z * z); }

double squared(double x) { return x * x; }

/// Means and second moments after dosing: of every stock's part, and of the total.
struct After {
  PerStock mean, variance, with_total;
  double total = 0.0, u_total = 0.0;
};

After after_doses(const DoseCase& all, const PerStock& grams) {
  After then;
  then.total = all.total;
  double variance = squared(all.u_total);
  for (std::size_t i = 0; i < all.count; ++i) {
    const double a = grams[i];
    const double spread = a > 0.0 ? squared(all.spread_g[i]) + squared(all.spread_rel[i] * a) : 0.0;
    then.mean[i] = all.have[i] + a;
    then.variance[i] = squared(all.u_have[i]) + spread + squared(all.u_strength_rel[i] * a);
    then.with_total[i] = all.with_total[i] + spread;
    then.total += a;
    variance += spread;
  }
  then.u_total = std::sqrt(variance);
  return then;
}

bool bounded(const DoseCase& all, std::size_t i) {
  return all.low[i] > 0.0 || std::isfinite(all.high[i]);
}

/// The normal interval from `low` to `high`, in standard deviations: its probability, and what the
/// densities at its ends give, for the terms of what two lines have in common.
struct Band {
  double p = 1.0, first = 0.0, second = 0.0;
};
constexpr double far = 7.0;  ///< beyond, a tail is below 2e-12

Band band(double low, double high) {
  if (low < -far && high > far) return {};
  Band b;
  const double at_low = low > -far ? normal_density(low) : 0.0;
  const double at_high = high < far ? normal_density(high) : 0.0;
  // From the smaller tail, so that nothing cancels.
  b.p = low > 0.0 ? normal_cdf(-low) - normal_cdf(-high) : normal_cdf(high) - normal_cdf(low);
  b.first = at_low - at_high;
  b.second = (low > -far ? low * at_low : 0.0) - (high < far ? high * at_high : 0.0);
  return b;
}

/// One line given the total: low < (x - mean(T)) / sd < high, the bounds linear in T.
struct Conditional {
  double low = 0.0, low_slope = 0.0, high = 0.0, high_slope = 0.0;  ///< at the mean total; per g
  double shared = 0.0;  ///< the correlation of two lines given T is minus the product of theirs
};

/// A line whose value hangs on the total alone given T would be sharp; the least spread keeps it a
/// steep but smooth step.
Conditional conditional(const DoseCase& all, const After& then, std::size_t i) {
  const double v = squared(then.u_total), cov = then.with_total[i];
  const double slope = v > 0.0 ? cov / v : 0.0;
  const double least = squared(1e-9 * then.total);
  const double sd = std::sqrt(std::max(then.variance[i] - slope * cov, least));
  Conditional c;
  c.low = all.low[i] > 0.0 ? (all.low[i] * then.total - then.mean[i]) / sd : -no_share;
  c.low_slope = all.low[i] > 0.0 ? (all.low[i] - slope) / sd : 0.0;
  const bool open = !std::isfinite(all.high[i]);
  c.high = open ? no_share : (all.high[i] * then.total - then.mean[i]) / sd;
  c.high_slope = open ? 0.0 : (all.high[i] - slope) / sd;
  c.shared = v > 0.0 ? cov / (then.u_total * sd) : 0.0;
  return c;
}

struct Joint {
  double value = 1.0, left_out = 0.0;
};

/// All lines at one total. Given T two lines have the correlation -r_i r_j in what they share with
/// it. P = product (1 + sum over pairs of the tetrachoric series, to its second term).
/// Source: Pearson, Phil. Trans. R. Soc. A 195 (1900) 1; pair sums by squares of sums.
Joint joint_at(const std::array<Conditional, most_stocks>& lines, std::size_t count, double away) {
  double product = 1.0, first = 0.0, first_own = 0.0, second = 0.0, second_own = 0.0;
  for (std::size_t k = 0; k < count; ++k) {
    const Conditional& c = lines[k];
    const Band b = band(c.low + away * c.low_slope, c.high + away * c.high_slope);
    if (b.p <= 1e-12) return {0.0, 0.0};
    product *= b.p;
    const double one = c.shared * b.first / b.p, two = squared(c.shared) * b.second / b.p;
    first += one;
    first_own += one * one;
    second += two;
    second_own += two * two;
  }
  const double by_first = -0.5 * (first * first - first_own);
  const double by_second = 0.25 * (second * second - second_own);
  const double value = product * (1.0 + by_first + by_second);
  // What is left out begins with products of two correlations among three or four lines.
  const double left_out = std::abs(by_second) + 0.5 * by_first * by_first;
  return {std::clamp(value, 0.0, 1.0), product * left_out};
}

// Gauss and Kronrod's rule with 10 and 21 points, and the error made of their gap.
// Source: Piessens et al., QUADPACK (Springer 1983), qk21.
constexpr std::array<double, 11> kronrod_at = {0.995657163025808080735527280689003,
                                               0.973906528517171720077964012084452,
                                               0.930157491355708226001207180059508,
                                               0.865063366688984510732096688423493,
                                               0.780817726586416897063717578345042,
                                               0.679409568299024406234327365114874,
                                               0.562757134668604683339000099272694,
                                               0.433395394129247190799265943165784,
                                               0.294392862701460198131126603103866,
                                               0.148874338981631210884826001129720,
                                               0.0};
constexpr std::array<double, 11> kronrod_weight = {
    0.011694638867371874278064396062192, 0.032558162307964727478818972459390,
    0.054755896574351996031381300244580, 0.075039674810919952767043140916190,
    0.093125454583697605535065465083366, 0.109387158802297641899210590325805,
    0.123491976262065851077958109585166, 0.134709217311473325928054001771707,
    0.142775938577060080797094273138717, 0.147739104901338491374841515972068,
    0.149445554002916905664936468389821};
constexpr std::array<double, 5> gauss_weight = {
    0.066671344308688137593568809893332, 0.149451349150580593145863396957658,
    0.219086362515982043995534934228163, 0.269266719309996355091226921569469,
    0.295524224714752870173815619188769};

struct Integral {
  double kronrod = 0.0, gauss = 0.0, left_out = 0.0;
};

/// Over the totals that their own line allows, as far as they are likely.
QuickOdds over_totals(const DoseCase& all, const After& then,
                      const std::array<Conditional, most_stocks>& lines, std::size_t count) {
  constexpr double reach = 5.0;  // leaves out 6e-7
  const double u = then.u_total;
  const double from = std::max((all.total_low - then.total) / u, -reach);
  const double to = std::min((all.total_high - then.total) / u, reach);
  if (!(from < to)) return {0.0, 6e-7};
  const double half = 0.5 * (to - from), middle = 0.5 * (to + from);
  Integral sum;
  const auto point = [&](double at, std::size_t k) {
    const double z = middle + half * at;
    const Joint joint = joint_at(lines, count, u * z);
    const double density = normal_density(z);
    sum.kronrod += kronrod_weight[k] * density * joint.value;
    sum.left_out += kronrod_weight[k] * density * joint.left_out;
    if (k % 2 == 1) sum.gauss += gauss_weight[k / 2] * density * joint.value;
  };
  for (std::size_t k = 0; k + 1 < kronrod_at.size(); ++k) {
    point(kronrod_at[k], k);
    point(-kronrod_at[k], k);
  }
  point(0.0, kronrod_at.size() - 1);
  const double gap = half * std::abs(sum.kronrod - sum.gauss);
  const double quadrature = std::min(gap, std::pow(200.0 * gap, 1.5));
  return {std::clamp(half * sum.kronrod, 0.0, 1.0), quadrature + half * sum.left_out + 6e-7};
}

}  // namespace

QuickOdds quick_odds(const DoseCase& all, const PerStock& grams) {
  const After then = after_doses(all, grams);
  std::array<Conditional, most_stocks> lines;
  std::size_t count = 0;
  for (std::size_t i = 0; i < all.count; ++i)
    if (bounded(all, i)) lines[count++] = conditional(all, then, i);
  if (then.u_total > 0.0) return over_totals(all, then, lines, count);
  const double slack = same_mass * then.total;
  if (then.total < all.total_low - slack || then.total > all.total_high + slack) return {};
  const Joint joint = joint_at(lines, count, 0.0);
  return {joint.value, joint.left_out};
}

namespace {

/// Standard deviations of hi T - x and of x - lo T.
struct Sides {
  double upper = 0.0, lower = 0.0;
};
double sd_of(double share, double varies, double with_total, double total) {
  return std::sqrt(std::max(0.0, varies - 2.0 * share * with_total + share * share * total));
}

double both_tails(double half_width, double sd) {
  return sd > 0.0 ? 2.0 * normal_cdf(half_width / sd) - 1.0 : 1.0;
}
double one_tail(double margin, double sd) {
  if (sd > 0.0) return normal_cdf(margin / sd);
  return margin >= 0.0 ? 1.0 : 0.5;
}

}  // namespace

/// Odds above one half need every line met at the mean; then a smaller spread is always better, and
/// each line's margin is at most what the largest total leaves it.
double odds_at_most(const DoseCase& all) {
  const double least_total = std::max(all.total_low, all.total);
  double spread_of_musts = 0.0, all_caps = all.total, least_volume = no_share;
  PerStock must;
  for (std::size_t i = 0; i < all.count; ++i) {
    const bool dosed = all.low[i] * least_total > all.have[i] * (1.0 + 1e-9);
    const double a = dosed ? std::max(all.least[i], all.low[i] * least_total - all.have[i]) : 0.0;
    must[i] = dosed ? squared(all.spread_g[i]) + squared(all.spread_rel[i] * a) : 0.0;
    spread_of_musts += must[i];
    all_caps += all.cap[i];
    if (all.cap[i] > 0.0) least_volume = std::min(least_volume, all.volume[i]);
  }
  const double of_total = std::sqrt(squared(all.u_total) + spread_of_musts);
  const double by_volume =
      total_by_volume(all.total, all.volume_room, least_volume < no_share ? least_volume : 0.0);
  const double reach = std::min(all_caps, by_volume);
  double most = both_tails(0.5 * (all.total_high - all.total_low), of_total);
  most = std::min(most, one_tail(reach - all.total_low, of_total));
  for (std::size_t i = 0; i < all.count; ++i) {
    if (!std::isfinite(all.high[i])) continue;
    const double high = all.high[i], low = all.low[i];
    const double now = squared(all.u_total), dose = squared(1.0 - high) * must[i];
    const double upper =
        std::hypot(sd_of(high, squared(all.u_have[i]), all.with_total[i], now), std::sqrt(dose));
    const double total_high = std::min(all.total_high, reach);
    // The total and this line pull against each other: equal where both have this many deviations.
    most = std::min(most, one_tail(high * all.total_high - all.have[i], upper + high * of_total));
    most = std::min(most, one_tail(high * reach - all.have[i], upper));
    if (low <= 0.0) continue;
    const double lower = std::hypot(sd_of(low, squared(all.u_have[i]), all.with_total[i], now),
                                    (1.0 - low) * std::sqrt(must[i]));
    most = std::min(most, both_tails(0.5 * (high - low) * total_high, std::min(upper, lower)));
  }
  return std::max(0.5, most);
}

}  // namespace vialwright::topup
