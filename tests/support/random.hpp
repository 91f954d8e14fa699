/// Random numbers for tests: fixed algorithm, so that a seed means the same everywhere.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>

namespace vialwright::support {

/// SplitMix64 (Steele, Lea & Flood, OOPSLA 2014), enough for tests.
class Random {
 public:
  explicit Random(std::uint64_t seed) : state_(seed) {}

  std::uint64_t bits() {
    std::uint64_t z = (state_ += 0x9e3779b97f4a7c15ULL);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    return z ^ (z >> 31);
  }
  /// Uniform in (0, 1).
  double uniform() { return (static_cast<double>(bits() >> 11) + 0.5) * 0x1p-53; }
  double uniform(double low, double high) { return low + (high - low) * uniform(); }
  /// Uniform in [0, n).
  int below(int n) { return static_cast<int>(bits() % static_cast<std::uint64_t>(n)); }
  /// Standard normal (Box & Muller 1958).
  double normal() {
    const double radius = std::sqrt(-2.0 * std::log(uniform()));
    return radius * std::cos(2.0 * std::numbers::pi * uniform());
  }

 private:
  std::uint64_t state_;
};

}  // namespace vialwright::support
