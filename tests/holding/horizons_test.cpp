// Several held vials, few places, orders that nobody knows yet: the advice beside simpler rules on
// the same futures.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>

#include "horizons.hpp"
#include "support/long_form.hpp"

namespace vialwright::holding::testing {
namespace {

struct Sums {
  double sum = 0.0, squares = 0.0;
  int n = 0;
  void add(double x) { sum += x, squares += x * x, ++n; }
  [[nodiscard]] double mean() const { return sum / n; }
  [[nodiscard]] double standard_error() const {
    return std::sqrt(std::max(0.0, squares / n - mean() * mean()) / (n - 1));
  }
};

std::vector<FixedHours> fixed_rules() {
  std::vector<FixedHours> rules;
  for (const double days : {0.0, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 20.0, 30.0})
    for (const bool oldest : {false, true}) rules.push_back({24.0 * days, oldest});
  return rules;
}

/// The best of the fixed rules is chosen on the very futures on which it is compared, which favours
/// it: the advice gets no such second look.
TEST(Horizons, AdviceIsNeverWorseThanTheBestFixedHoursAndNearTheClairvoyant) {
  const std::uint64_t seed = 20'260'801;
  const int futures = support::trials(60, 600);
  std::printf("seed %llu, %d futures a horizon; money over scrapping all at once\n",
              static_cast<unsigned long long>(seed), futures);
  std::printf("%4s %5s %6s %6s | %8s %8s %8s (%5s h) %8s | %s\n", "", "vials", "places", "kinds",
              "bound", "advice", "fixed", "best", "naive", "advice - fixed");
  Sums all_bound, all_advice, all_fixed, all_naive;
  const auto rules = fixed_rules();
  for (int h = 0; h < support::trials(20, 60); ++h) {
    support::Random random(seed + static_cast<std::uint64_t>(h));
    const Horizon horizon = any_horizon(random);
    double scrap = 0.0;
    for (const Vial& vial : horizon.vials) scrap -= vial.candidate.terms.disposal;
    Sums bound, advice, naive;
    std::vector<Sums> fixed(rules.size()), beyond(rules.size());
    for (int f = 0; f < futures; ++f) {
      const Future future = any_future(horizon, random);
      const double ours = earned_with_advice(horizon, future, true);
      const double most = most_that_could_be_earned(horizon, future);
      ASSERT_LE(ours, most + 1e-9) << "nothing can earn more than the bound";
      advice.add(ours - scrap);
      bound.add(most - scrap);
      naive.add(earned_with_advice(horizon, future, false) - scrap);
      for (std::size_t r = 0; r < rules.size(); ++r) {
        const double theirs = earned_with_fixed_hours(horizon, future, rules[r]);
        fixed[r].add(theirs - scrap);
        beyond[r].add(ours - theirs);
      }
    }
    std::size_t best = 0;
    for (std::size_t r = 0; r < rules.size(); ++r)
      if (fixed[r].mean() > fixed[best].mean()) best = r;
    std::printf("%4d %5zu %6d %6zu | %8.3f %8.3f %8.3f (%5.0f h) %8.3f | %+.3f +- %.3f\n", h,
                horizon.vials.size(), horizon.places, horizon.kinds.size(), bound.mean(),
                advice.mean(), fixed[best].mean(), rules[best].hours, naive.mean(),
                beyond[best].mean(), beyond[best].standard_error());
    // 20 horizons at three standard errors: one false alarm in some 40 runs if they were equal.
    EXPECT_GE(beyond[best].mean(), -3.0 * beyond[best].standard_error() - 1e-9) << "horizon " << h;
    all_bound.add(bound.mean());
    all_advice.add(advice.mean());
    all_fixed.add(fixed[best].mean());
    all_naive.add(naive.mean());
  }
  std::printf("of the clairvoyant bound: advice %.1f %%, best fixed hours %.1f %%, naive %.1f %%\n",
              100.0 * all_advice.sum / all_bound.sum, 100.0 * all_fixed.sum / all_bound.sum,
              100.0 * all_naive.sum / all_bound.sum);
  EXPECT_GT(all_advice.sum, all_naive.sum);
  EXPECT_GT(all_advice.sum, all_fixed.sum);
}

}  // namespace
}  // namespace vialwright::holding::testing
