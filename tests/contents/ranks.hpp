/// Where truths lie under the beliefs about them.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "contents/drawn_vial.hpp"

namespace vialwright::support {

struct Tally {
  int seen = 0, covered = 0;
  double width = 0.0, other_width = 0.0;
  std::array<int, 20> ranks{};
};

inline double cdf(double t) { return 0.5 * std::erfc(-t / std::sqrt(2.0)); }

/// Rank of the truth under the Gaussian cut off at zero whose mean and sd are given: the parent is
/// found by quadrature and bisection, apart from the estimator's closed forms.
inline double rank_of(double truth, double mean, double u) {
  if (mean > 5.0 * u) return cdf((truth - mean) / u);
  const auto moments = [](double t) {
    double mass = 0.0, first = 0.0, second = 0.0;
    const double top = std::max(0.0, t) + 9.0, step = top / 4000.0;
    for (int i = 0; i < 4000; ++i) {
      const double x = (i + 0.5) * step, weight = std::exp(-0.5 * x * x + x * t);
      mass += weight;
      first += weight * x;
      second += weight * x * x;
    }
    first /= mass;
    return std::pair(first, std::sqrt(second / mass - first * first));
  };
  double low = -30.0, high = 6.0;
  for (int i = 0; i < 40; ++i) {
    const double middle = 0.5 * (low + high);
    const auto [first, spread] = moments(middle);
    (first / spread < mean / u ? low : high) = middle;
  }
  const double scale = u / moments(low).second;
  return 1.0 - cdf(low - truth / scale) / cdf(low);
}

/// @param ranked_at_most  later ones count for coverage alone.
inline void count(Tally& tally, double truth, double mean, double u, int ranked_at_most) {
  const contents::Interval ours = contents::interval_95(mean, u);
  ++tally.seen;
  tally.covered += ours.lower <= truth && truth <= ours.upper ? 1 : 0;
  if (tally.seen > ranked_at_most) return;
  const double rank = rank_of(truth, mean, u);
  ++tally.ranks[z(std::clamp(static_cast<int>(20.0 * rank), 0, 19))];
}

inline double chi_squared_of(const Tally& tally, int ranked_at_most) {
  double sum = 0.0;
  const double expected = std::min(tally.seen, ranked_at_most) / 20.0;
  for (const int seen : tally.ranks) sum += std::pow(seen - expected, 2) / expected;
  return sum;
}

}  // namespace vialwright::support
