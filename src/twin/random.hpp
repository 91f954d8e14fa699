/// Our own samplers: the same seed gives the same numbers with every compiler and library. Private.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

namespace vialwright::twin {

/// Source: D. Blackman and S. Vigna, ACM Trans. Math. Softw. 47 (2021) 36: xoshiro256**, its state
/// filled by splitmix64.
class Random {
 public:
  explicit Random(std::array<std::uint64_t, 4> state) : state_(state) {}

  /// A stream of its own for each purpose and index, so that one more vial changes no other.
  Random(std::uint64_t seed, std::string_view purpose, std::uint64_t index = 0);

  std::uint64_t next();
  double uniform();  ///< in (0, 1), both ends left out
  double between(double low, double high) { return low + (high - low) * uniform(); }
  bool happens(double probability) { return uniform() < probability; }
  int below(int count);  ///< 0 .. count - 1
  double normal();       ///< mean 0, sd 1; Marsaglia's polar method

  /// Mean 0, sd 1: Gaussian, or with probability `hardness` Student's t with 5 degrees of freedom.
  double error(double hardness);

 private:
  std::array<std::uint64_t, 4> state_;
};

/// One step of splitmix64: moves `state` on and returns its scrambled value.
std::uint64_t splitmix64(std::uint64_t& state);

}  // namespace vialwright::twin
