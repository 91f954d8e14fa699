/// Top-ups whose success hangs on one Gaussian error between two limits: the odds are predicted
/// with the spread that the line file states, the truth has another.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "outcomes/outcomes.hpp"
#include "support/random.hpp"

namespace vialwright::outcomes::testing {

inline double normal_share(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }

enum class Aim { middle, anywhere };

/// @param times  the true spread over the stated one.
/// @param aim    near the middle of the limits, as a search for the best odds aims; or anywhere,
///               where one limit often decides and often both do.
inline Outcome any_outcome(support::Random& random, double times, Aim aim) {
  for (;;) {
    // Distances to the limits, in stated standard deviations.
    double below = random.uniform(-0.5, 4.0), above = random.uniform(-0.5, 4.0);
    if (aim == Aim::middle) {
      const double half = random.uniform(0.2, 3.5), off = half * random.uniform(-0.3, 0.3);
      below = half + off;
      above = half - off;
    }
    if (below + above <= 0.0) continue;
    Outcome made;
    made.odds = normal_share(above) - normal_share(-below);
    made.margin_sd = std::min(below, above);
    made.least_dose_ratio = std::exp2(random.uniform(0.0, 4.0));
    made.age_days = -5.0 * std::log(random.uniform());
    made.stock = random.below(4);
    made.days_ago = random.uniform(0.0, 60.0);
    const double error = times * random.normal();
    made.good = error > -below && error < above ? 1.0 : 0.0;
    return made;
  }
}

/// The same, of those that a policy would make: odds of at least `least`.
inline std::vector<Outcome> made_topups(support::Random& random, double times, int count,
                                        double least, Aim aim) {
  std::vector<Outcome> made;
  while (static_cast<int>(made.size()) < count) {
    const Outcome one = any_outcome(random, times, aim);
    if (one.odds >= least) made.push_back(one);
  }
  return made;
}

/// Odds against outcome, by tenths of the odds. Draws of one world share what was learned there, so
/// the standard error is that of worlds.
class Tenths {
 public:
  void begin_world() {
    for (auto& each : gaps_) each.push_back(0.0);
  }
  void add(double odds, double good) {
    const auto tenth = static_cast<std::size_t>(std::clamp(static_cast<int>(odds * 10.0), 0, 9));
    gaps_[tenth].back() += odds - good;
    ++count_[tenth];
  }
  [[nodiscard]] int count(std::size_t tenth) const { return count_[tenth]; }
  /// Mean of odds less outcome.
  [[nodiscard]] double gap(std::size_t tenth) const {
    double sum = 0.0;
    for (const double each : gaps_[tenth]) sum += each;
    return sum / std::max(1, count_[tenth]);
  }
  [[nodiscard]] double u_gap(std::size_t tenth) const {
    const auto worlds = static_cast<double>(gaps_[tenth].size());
    const double mean = gap(tenth) * count_[tenth] / worlds;
    double squares = 0.0;
    for (const double each : gaps_[tenth]) squares += (each - mean) * (each - mean);
    return std::sqrt(squares * worlds / (worlds - 1.0)) / std::max(1, count_[tenth]);
  }
  /// Whether some tenth is off, by Holm's step-down test at the odds of three standard errors: the
  /// smallest of ten probabilities is held against a tenth of that (Holm, Scand. J. Stat. 6 (1979)
  /// 65; if it stands, so do all).
  [[nodiscard]] bool some_is_off() const {
    double least = 1.0;
    for (std::size_t t = 0; t < 10; ++t)
      if (count_[t] > 0)
        least = std::min(least, std::erfc(std::abs(gap(t)) / u_gap(t) / std::numbers::sqrt2));
    return least < std::erfc(3.0 / std::numbers::sqrt2) / 10.0;
  }

 private:
  std::vector<double> gaps_[10];
  int count_[10] = {};
};

}  // namespace vialwright::outcomes::testing
