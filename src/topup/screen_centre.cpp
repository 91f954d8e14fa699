#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "topup/screen_doses.hpp"

namespace vialwright::topup {
namespace {

using Values = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, most_stocks, 1>;
using Square = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, most_stocks, most_stocks>;

double squared(double x) { return x * x; }
double normal_cdf(double z) { return 0.5 * std::erfc(-z * 0.70710678118654752); }
double normal_density(double z) { return 0.39894228040143268 * std::exp(-0.5 * z * z); }

/// Standard deviations of the margins hi T - x and x - lo T of every stock, and of the total.
struct Spreads {
  PerStock upper, lower;
  double total = 0.0;
};

/// None is taken as nothing: a line without doubt is still a wall.
Spreads spreads_at(const DoseCase& all, const PerStock& grams) {
  PerStock dose;
  double total = squared(all.u_total), mass = all.total;
  for (std::size_t i = 0; i < all.count; ++i) {
    const double a = grams[i];
    dose[i] = a > 0.0 ? squared(all.spread_g[i]) + squared(all.spread_rel[i] * a) : 0.0;
    total += dose[i];
    mass += a;
  }
  const double least = 1e-7 * mass;
  Spreads sd;
  sd.total = std::max(std::sqrt(total), least);
  for (std::size_t i = 0; i < all.count; ++i) {
    const double own = squared(all.u_have[i]) + dose[i] + squared(all.u_strength_rel[i] * grams[i]);
    const double cov = all.with_total[i] + dose[i];
    const auto of = [&](double share) {
      return std::max(std::sqrt(std::max(0.0, own - 2.0 * share * cov + share * share * total)),
                      least);
    };
    sd.upper[i] = std::isfinite(all.high[i]) ? of(all.high[i]) : least;
    sd.lower[i] = of(all.low[i]);
  }
  return sd;
}

/// z standard deviations off every limit, but never all of a band: a narrow line must not keep the
/// others from their middle.
Margins margins_of(const DoseCase& all, const Spreads& sd, double z) {
  constexpr double most = 0.98;
  Margins margins;
  const double total = std::min(all.total_high, std::max(all.total, all.total_low));
  margins.total = std::min(z * sd.total, most * 0.5 * (all.total_high - all.total_low));
  for (std::size_t i = 0; i < all.count; ++i) {
    const double wanted = z * std::max(sd.upper[i], sd.lower[i]) / std::max(total, 1e-9);
    const double low = std::max(all.low[i], 0.0);
    margins.share[i] = std::min(wanted, most * 0.5 * (all.high[i] - low));
  }
  return margins;
}

/// Halves the interval of margins that can be had; ends with the widest found.
DoseAnswer widest_margin(const DoseCase& all, const DoseAnswer& start) {
  constexpr double most_deviations = 4.0;
  const Spreads sd = spreads_at(all, start.grams);
  DoseAnswer best = start;
  double had = 0.0, refused = most_deviations;
  for (int step = 0; step < 6; ++step) {
    const double z = step == 0 ? most_deviations : 0.5 * (had + refused);
    const Margins margins = margins_of(all, sd, z);
    const DoseAnswer answer = least_cost_of_doses(all, &margins);
    if (answer.found) {
      best = answer;
      had = z;
      if (step == 0) break;
    } else {
      refused = z;
    }
  }
  return best;
}

/// Sum over the lines of the logarithm of their own odds, in the amounts of the doses that are
/// made, with the spreads held: concave, smooth, and its top near that of the joint odds.
class Middle {
 public:
  Middle(const DoseCase& all, PerStock& grams) : all_(all), grams_(grams) {
    for (std::size_t i = 0; i < all.count; ++i)
      if (grams[i] > 0.0) doses_.push(i);
  }

  void climb();

 private:
  struct Doses {
    std::array<std::size_t, most_stocks> stock;
    std::size_t count = 0;
    void push(std::size_t i) { stock[count++] = i; }
  };
  struct Slopes {
    Values gradient;
    Square curvature;  ///< minus the second derivative
  };

  [[nodiscard]] double value(const PerStock& grams) const;
  [[nodiscard]] Slopes slopes() const;
  void add_line(Slopes& slopes, double at_high, double by_high, double at_low, double by_low,
                double high, double low, std::size_t stock) const;
  [[nodiscard]] Values step(const Slopes& slopes) const;
  [[nodiscard]] double volume_of(const PerStock& grams) const;
  bool move(const Values& step, double& now);
  [[nodiscard]] double mass(const PerStock& grams) const {
    double total = all_.total;
    for (std::size_t i = 0; i < all_.count; ++i) total += grams[i];
    return total;
  }

  const DoseCase& all_;
  PerStock& grams_;
  Doses doses_;
  Spreads sd_;
};

constexpr double least_odds = 1e-30;

double log_odds(double up, double down) {
  return std::log(std::max(normal_cdf(up) - normal_cdf(-down), least_odds));
}

double Middle::value(const PerStock& grams) const {
  const double total = mass(grams);
  double sum =
      log_odds((all_.total_high - total) / sd_.total, (total - all_.total_low) / sd_.total);
  for (std::size_t i = 0; i < all_.count; ++i) {
    const double x = all_.have[i] + grams[i];
    const bool has_low = all_.low[i] > 0.0, has_high = std::isfinite(all_.high[i]);
    if (!has_low && !has_high) continue;
    sum += log_odds(has_high ? (all_.high[i] * total - x) / sd_.upper[i] : no_share,
                    has_low ? (x - all_.low[i] * total) / sd_.lower[i] : no_share);
  }
  return sum;
}

/// One band: the margins `at` in standard deviations, 1 / sd as `by`. The margins move by `high`
/// and -`low` per gram of any dose, and the stock's own by one gram less and more.
void Middle::add_line(Slopes& slopes, double at_high, double by_high, double at_low, double by_low,
                      double high, double low, std::size_t stock) const {
  const double p = std::max(normal_cdf(at_high) - normal_cdf(-at_low), least_odds);
  const double a = by_high * normal_density(at_high) / p;
  const double b = by_low * normal_density(at_low) / p;
  if (a == 0.0 && b == 0.0) return;
  const auto n = static_cast<Eigen::Index>(doses_.count);
  Values up = Values::Constant(n, high), down = Values::Constant(n, -low);
  for (Eigen::Index j = 0; j < n; ++j) {
    if (doses_.stock[static_cast<std::size_t>(j)] != stock) continue;
    up[j] -= 1.0;
    down[j] += 1.0;
  }
  const Values gradient = a * up + b * down;
  slopes.gradient += gradient;
  slopes.curvature.noalias() += gradient * gradient.transpose();
  slopes.curvature.noalias() += (a * at_high * by_high) * up * up.transpose();
  slopes.curvature.noalias() += (b * at_low * by_low) * down * down.transpose();
}

Middle::Slopes Middle::slopes() const {
  const auto n = static_cast<Eigen::Index>(doses_.count);
  Slopes slopes{Values::Zero(n), Square::Zero(n, n)};
  const double total = mass(grams_);
  constexpr double out_of_sight = 40.0;  // standard deviations
  const auto deviations = [&](double margin, double sd) {
    return std::min(margin / sd, out_of_sight);
  };
  add_line(slopes, deviations(all_.total_high - total, sd_.total), 1.0 / sd_.total,
           deviations(total - all_.total_low, sd_.total), 1.0 / sd_.total, -1.0, -1.0, most_stocks);
  for (std::size_t i = 0; i < all_.count; ++i) {
    const double x = all_.have[i] + grams_[i];
    const bool has_low = all_.low[i] > 0.0, has_high = std::isfinite(all_.high[i]);
    if (!has_low && !has_high) continue;
    add_line(slopes, has_high ? deviations(all_.high[i] * total - x, sd_.upper[i]) : out_of_sight,
             has_high ? 1.0 / sd_.upper[i] : 0.0,
             has_low ? deviations(x - all_.low[i] * total, sd_.lower[i]) : out_of_sight,
             has_low ? 1.0 / sd_.lower[i] : 0.0, has_high ? all_.high[i] : 0.0, all_.low[i], i);
  }
  return slopes;
}

/// Newton's step within the stations' limits and the headspace: doses that it would carry beyond
/// stop there, a full vial is traded by volume, and the others answer for it.
Values Middle::step(const Slopes& slopes) const {
  const auto n = static_cast<Eigen::Index>(doses_.count);
  Square curvature = slopes.curvature;
  curvature.diagonal().array() += 1e-9 * curvature.trace();
  Square free = curvature;
  Values wanted = slopes.gradient, volume(n), step(n);
  for (Eigen::Index j = 0; j < n; ++j)
    volume[j] = all_.volume[doses_.stock[static_cast<std::size_t>(j)]];
  const double room = all_.volume_room - volume_of(grams_);
  std::array<bool, most_stocks> stopped{};
  for (int round = 0; round < 4; ++round) {
    const Eigen::LDLT<Square> factors(free);
    step = factors.solve(wanted);
    const double beyond = volume.dot(step) - room;
    if (beyond > 0.0) {
      Values movable = volume;
      for (Eigen::Index j = 0; j < n; ++j)
        if (stopped[static_cast<std::size_t>(j)]) movable[j] = 0.0;
      const Values by = factors.solve(movable);
      const double gained = movable.dot(by);
      if (gained > 0.0) step -= beyond / gained * by;
    }
    bool more = false;
    for (Eigen::Index j = 0; j < n; ++j) {
      const auto k = static_cast<std::size_t>(j);
      const std::size_t i = doses_.stock[k];
      const double inside = std::clamp(step[j], all_.least[i] - grams_[i], all_.cap[i] - grams_[i]);
      if (stopped[k] || inside == step[j]) continue;
      stopped[k] = more = true;
      wanted -= inside * free.col(j);
      free.row(j).setZero();
      free.col(j).setZero();
      free(j, j) = 1.0;
      wanted[j] = inside;
    }
    if (!more) break;
  }
  return step;
}

double Middle::volume_of(const PerStock& grams) const {
  double volume = 0.0;
  for (std::size_t i = 0; i < all_.count; ++i) volume += all_.volume[i] * grams[i];
  return volume;
}

bool Middle::move(const Values& step, double& now) {
  double share = 1.0;
  for (int halving = 0; halving < 5; ++halving, share *= 0.5) {
    PerStock tried = grams_;
    for (std::size_t j = 0; j < doses_.count; ++j) {
      const std::size_t i = doses_.stock[j];
      tried[i] = std::clamp(grams_[i] + share * step[static_cast<Eigen::Index>(j)], all_.least[i],
                            all_.cap[i]);
    }
    if (volume_of(tried) > all_.volume_room * (1.0 + same_mass)) continue;
    const double then = value(tried);
    if (!(then > now)) continue;
    const bool more = then - now > 1e-4;
    grams_ = tried;
    now = then;
    return more;
  }
  return false;
}

void Middle::climb() {
  if (doses_.count == 0) return;
  for (int round = 0; round < 2; ++round) {
    sd_ = spreads_at(all_, grams_);
    double now = value(grams_);
    for (int steps = 0; steps < 4; ++steps) {
      if (!move(step(slopes()), now)) break;
    }
  }
}

}  // namespace

PerStock centred(const DoseCase& all, const DoseAnswer& start) {
  DoseAnswer middle = widest_margin(all, start);
  Middle(all, middle.grams).climb();
  return middle.grams;
}

}  // namespace vialwright::topup
