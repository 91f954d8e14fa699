/// The fixed points: one randomly shifted rank-1 lattice, dealt in eight hands. Private to this
/// module.
#pragma once

#include <cstdint>
#include <vector>

namespace vialwright::conformity {

/// The hands of a lattice stand side by side, so that vectors of 2, 4 or 8 lanes all do the same
/// work. Hand s has the points s, s + 8, s + 16, ...: itself a lattice, shifted.
inline constexpr int hands = 8, hands_level = 3;
inline constexpr int coarsest_level = 4, finest_level = 16;

/// 2^level points, 2^(level - 3) a hand. Coordinate v of point k of hand s is
/// frac(8 k generator_v / 2^level + shift_vs).
struct Lattice {
  int level = 0;
  std::vector<std::uint32_t> generator;  ///< (dimensions), odd
  std::vector<double> shift;             ///< (dimensions * hands), in [0, 1), by dimension
};
/// The same seed gives the same points on every machine.
/// @pre coarsest_level <= level <= finest_level
[[nodiscard]] Lattice lattice(int dimensions, int level, std::uint64_t seed);

}  // namespace vialwright::conformity
