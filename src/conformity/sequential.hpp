/// The inner loop: sequential conditioning over the points of a lattice, several hands at a time,
/// on the widest vectors that the machine has. Private to this module.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "conformity/conditioning.hpp"
#include "conformity/lattice.hpp"

namespace vialwright::conformity {

/// More independent variables than any recipe has.
inline constexpr int most_variables = 128;

/// A ball in three dimensions, which a point enters as its last variable t moves it on a line:
/// |off + sum_v row_v z_v + step t|^2 <= limit.
struct Ball {
  std::array<double, 3> off{}, step{};
  std::vector<double> rows;  ///< three for each variable but the last
  double limit = 0.0;
};

/// For every hand of the lattice, the mean of P(all limits hold, in all balls | point) over its
/// points. @pre 2 <= stages <= most_variables; the lattice has stages - 1 dimensions.
[[nodiscard]] std::array<double, hands> means_over(const Conditioning& conditioning,
                                                   const Lattice& lattice,
                                                   std::span<const Ball> balls = {});

/// Some points of a lattice, with all variables drawn but the last. Point k of hand s, counted from
/// the first one drawn, is entry r = 8 k + s of every array.
struct Drawn {
  std::size_t count = 0;
  std::vector<double> z;          ///< variable v at v * count + r; the last is not there
  std::vector<double> weight;     ///< P(all limits before the last variable's)
  std::vector<double> low, high;  ///< limits of the last variable, within -40 and 40
};
/// @param from, points  of each hand. @pre 1 <= stages; the lattice has stages - 1 dimensions.
void draw_points(const Conditioning& conditioning, const Lattice& lattice, std::uint32_t from,
                 std::uint32_t points, Drawn& into);

/// The vector forms of the two functions that the loop rests on, element by element.
/// Cumulative: |error| < 2e-15; relative error < 1e-12 down to z = -4, < 3e-6 to -30. Quantile:
/// relative error < 4e-9. @pre equal sizes, a multiple of 8.
void batch_cdf(std::span<const double> z, std::span<double> p);
void batch_quantile(std::span<const double> p, std::span<double> z);

/// Instruction sets compiled in that this machine has, best first; and the choice of one.
struct VectorPath {
  std::int64_t id = 0;
  const char* name = "";
};
[[nodiscard]] std::vector<VectorPath> vector_paths();
void force_vector_path(std::int64_t id);  ///< for tests; 0 gives the choice back to the machine

}  // namespace vialwright::conformity
