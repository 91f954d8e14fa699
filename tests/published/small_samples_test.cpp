// What few observations allow to be said, against printed figures.
#include <gtest/gtest.h>

#include <vector>

#include "outcomes/outcomes.hpp"
#include "outcomes/small_samples.hpp"

namespace vialwright {
namespace {

/// n top-ups told at nine in ten, of which so many came true.
outcomes::Bin bin_of(int good, int n) {
  std::vector<outcomes::Outcome> seen(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) {
    seen[static_cast<std::size_t>(i)].odds = 0.9;
    seen[static_cast<std::size_t>(i)].good = i < good ? 1.0 : 0.0;
  }
  return outcomes::bins(seen, 1).front();
}

// Source: Jeffreys's interval, as in L. D. Brown, T. T. Cai & A. DasGupta, Stat. Sci. 16 (2001)
// 101. Figures of the project's domain notes: 12 of 12 -> mean 0.96, [0.81, 1.00]; 9 of 12 ->
// [0.47, 0.92]. Tolerance: half of the last printed digit.
TEST(PublishedSmallSamples, SharesOfTwelve) {
  EXPECT_NEAR(bin_of(12, 12).came_true, 0.96, 0.005);
  EXPECT_NEAR(bin_of(12, 12).low, 0.81, 0.005);
  EXPECT_NEAR(bin_of(12, 12).high, 1.00, 0.005);
  EXPECT_NEAR(bin_of(9, 12).low, 0.47, 0.005);
  EXPECT_NEAR(bin_of(9, 12).high, 0.92, 0.005);
}

// No failure in 12: 1 - 0.05^(1/12) = 22.1 % (Clopper & Pearson, Biometrika 26 (1934) 404).
TEST(PublishedSmallSamples, NoFailureInTwelve) {
  EXPECT_NEAR(bin_of(12, 12).fails_most, 0.221, 0.0005);
  EXPECT_NEAR(outcomes::most_failing(12, 12), 1.0, 1e-12);
}

// 95 % range of a standard deviation from n observations, as factors: sqrt((n - 1) / chi^2), by any
// table of the chi-squared distribution.
TEST(PublishedSmallSamples, RangeOfAStandardDeviation) {
  const struct {
    int n;
    double low, high;
  } printed[] = {{5, 0.60, 2.87}, {10, 0.69, 1.83}, {20, 0.76, 1.46}, {30, 0.80, 1.34}};
  for (const auto& row : printed) {
    const outcomes::Range range = outcomes::spread_range(row.n - 1);
    EXPECT_NEAR(range.low, row.low, 0.005) << row.n;
    EXPECT_NEAR(range.high, row.high, 0.005) << row.n;
  }
}

// Two-sided factors of 95 % of all with 95 % confidence, by Howe's formula: W. G. Howe, J. Am.
// Stat. Assoc. 64 (1969) 610. Exact ones (ISO 16269-6) for 10, 20, 30 are 3.379, 2.752, 2.549, from
// memory.
TEST(PublishedSmallSamples, ToleranceFactors) {
  const struct {
    int n;
    double factor;
  } printed[] = {{5, 5.09}, {10, 3.38}, {20, 2.75}, {30, 2.55}};
  for (const auto& row : printed)
    EXPECT_NEAR(outcomes::most_spread(row.n - 1) * outcomes::tolerance_band(row.n), row.factor,
                0.005)
        << row.n;
}

}  // namespace
}  // namespace vialwright
