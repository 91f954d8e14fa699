#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/gamma.hpp>
#include <cmath>
#include <limits>

#include "error/error.hpp"
#include "holding/holding.hpp"

namespace vialwright::holding {
namespace {

// Bursts are called when Poisson orders would be so uneven less than once in a hundred.
constexpr double sure_of_bursts = 0.01;
constexpr int most_windows = 50;
constexpr double orders_a_window = 2.0;

/// Weight of what happened that long ago, and what a stretch of watching weighs in all.
double kept(double days_ago, double half_life) {
  return std::isfinite(half_life) ? std::exp2(-days_ago / half_life) : 1.0;
}
double kept_exposure(double days, double half_life) {
  if (!std::isfinite(half_life)) return days;
  return half_life / std::log(2.0) * (1.0 - std::exp2(-days / half_life));
}

/// Variance over mean of the counts in equal windows, with what Poisson makes likely of it:
/// (windows - 1) dispersion ~ chi-squared (Fisher's index of dispersion).
void look_for_bursts(std::span<const double> days_ago, double watched, Demand& demand) {
  const auto n = static_cast<double>(days_ago.size());
  const int windows = std::min(most_windows, static_cast<int>(n / orders_a_window));
  if (windows < 3 || watched <= 0.0) return;
  std::vector<int> counts(static_cast<std::size_t>(windows), 0);
  for (const double ago : days_ago) {
    const int window = std::min(windows - 1, static_cast<int>(ago / watched * windows));
    ++counts[static_cast<std::size_t>(window)];
  }
  const double mean = n / windows;
  double squares = 0.0;
  for (const int count : counts) squares += (count - mean) * (count - mean);
  demand.dispersion = squares / (windows - 1) / mean;
  const boost::math::chi_squared chi(windows - 1);
  const double uneven = demand.dispersion * (windows - 1);
  demand.bursts = boost::math::cdf(boost::math::complement(chi, uneven)) < sure_of_bursts;
}

}  // namespace

Demand learn(std::span<const double> days_ago, double watched_days, const Learning& how) {
  require(watched_days >= 0.0 && how.prior_shape > 0.0 && how.prior_days >= 0.0 &&
              how.half_life_days > 0.0,
          "the time of watching and the prior are not negative");
  Demand demand;
  demand.orders = static_cast<int>(days_ago.size());
  demand.watched_days = watched_days;
  double seen = 0.0;
  for (const double ago : days_ago) {
    require(ago >= 0.0, "orders were placed in the past");
    seen += kept(ago, how.half_life_days);
  }
  const double exposure = kept_exposure(watched_days, how.half_life_days);
  look_for_bursts(days_ago, watched_days, demand);
  // Orders that come in bursts tell less about their rate: as many as there are bursts.
  const double worth = demand.bursts ? 1.0 / demand.dispersion : 1.0;
  demand.shape = how.prior_shape + seen * worth;
  demand.days = how.prior_days + exposure * worth;
  return demand;
}

double Demand::rate() const {
  return days > 0.0 ? shape / days : std::numeric_limits<double>::infinity();
}

double Demand::rate_after_silence(double t_days) const {
  const double watched = days + t_days;
  return watched > 0.0 ? shape / watched : std::numeric_limits<double>::infinity();
}

double Demand::odds_of_one(double t_days) const {
  if (t_days <= 0.0) return 0.0;
  return days > 0.0 ? -std::expm1(-shape * std::log1p(t_days / days)) : 1.0;
}

Demand::Interval Demand::rate_95() const {
  if (days <= 0.0) return {0.0, std::numeric_limits<double>::infinity()};
  const boost::math::gamma_distribution<> rate(shape, 1.0 / days);
  return {boost::math::quantile(rate, 0.025), boost::math::quantile(rate, 0.975)};
}

}  // namespace vialwright::holding
