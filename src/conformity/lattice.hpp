/// The fixed points: one rank-1 lattice, shifted at random eight times. Private to this module.
#pragma once

#include <cstdint>
#include <vector>

namespace vialwright::conformity {

/// Shifts stand side by side, so that vectors of 2, 4 or 8 lanes all do the same work.
inline constexpr int shifts = 8;
/// Points of the largest lattice, 2^14 a shift.
inline constexpr int finest_level = 14;

/// The part of a lattice that is new at its level: points index * generator / 2^level for
/// index = first, first + step, ...; count of them.
struct LatticeBlock {
  int level = 0;
  std::uint32_t first = 0, step = 1, count = 0;
};
[[nodiscard]] LatticeBlock whole_lattice(int level);
[[nodiscard]] LatticeBlock refinement(int level);  ///< of the lattice one level coarser

struct Lattice {
  std::vector<std::uint32_t> generator;  ///< (dimensions), odd
  std::vector<double> shift;             ///< (dimensions * shifts), in [0, 1), by dimension
};
/// The same seed gives the same points on every machine.
[[nodiscard]] Lattice lattice(int dimensions, std::uint64_t seed);

}  // namespace vialwright::conformity
