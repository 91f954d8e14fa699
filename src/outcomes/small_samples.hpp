/// What few observations allow to be said.
#pragma once

namespace vialwright::outcomes {

/// 95 % interval of a standard deviation that was estimated, as factors of the estimate.
struct Range {
  double low = 0.0, high = 0.0;
};
/// @param degrees  of freedom, > 0; n - 1 for n plain observations.
[[nodiscard]] Range spread_range(double degrees);
/// The same, one-sided: what the true one does not exceed, 95 % sure.
[[nodiscard]] double most_spread(double degrees);

/// By how many estimated standard deviations a band about the estimated mean must reach to hold 95
/// % of all there will be, with 95 % confidence. Two-sided, normal.
/// @param degrees  of the standard deviation, > 0.
/// @param n        observations behind the mean, > 0.
/// Source: W. G. Howe, J. Am. Stat. Assoc. 64 (1969) 610, without its term for small n.
[[nodiscard]] double tolerance_band(double n);

/// The largest share that may fail, 95 % one-sided, when `failures` of `n` did; fractions allowed.
/// Source: C. J. Clopper & E. S. Pearson, Biometrika 26 (1934) 404.
[[nodiscard]] double most_failing(double failures, double n);

}  // namespace vialwright::outcomes
