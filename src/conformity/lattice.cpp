#include "conformity/lattice.hpp"

#include <array>
#include <cmath>

namespace vialwright::conformity {
namespace {

// One row a level, from 2^4 to 2^16 points, built component by component: each entry is the odd
// number, not yet used in its row, that makes the worst-case error least in the weighted space of
// periodic functions with square-integrable mixed derivative, product weights 0.85^j; at most 4096
// candidates. Method: Sloan, Kuo & Joe, SIAM J. Numer. Anal. 40 (2002) 1650; the run is our own.
constexpr int table_dimensions = 24;
using Row = std::array<std::uint16_t, table_dimensions>;
constexpr std::array<Row, finest_level - coarsest_level + 1> generators = {{
    {1, 7, 3, 5, 1, 7, 3, 5, 1, 7, 3, 5, 1, 7, 3, 5, 1, 7, 3, 5, 1, 7, 3, 5},
    {1, 7, 11, 9, 5, 13, 3, 15, 1, 7, 11, 9, 5, 13, 3, 15, 1, 7, 11, 9, 5, 13, 3, 15},
    {1, 19, 29, 31, 27, 25, 23, 21, 17, 15, 13, 11, 7, 9, 5, 3, 1, 19, 29, 31, 27, 25, 23, 21},
    {1, 49, 35, 27, 3, 33, 63, 5, 31, 29, 61, 59, 37, 57, 25, 39, 7, 41, 55, 9, 23, 11, 21, 43},
    {1, 75,  23, 57, 13, 127, 83, 93, 119, 49, 31,  101,
     5, 111, 39, 67, 21, 85,  65, 41, 109, 3,  103, 47},
    {1,   149, 113, 207, 13,  201, 117, 97,  123, 91,  7, 103,
     195, 111, 213, 105, 109, 209, 205, 203, 99,  101, 5, 3},
    {1,   275, 167, 71,  245, 385, 53,  87,  323, 481, 307, 149,
     465, 165, 9,   229, 449, 55,  181, 339, 197, 213, 433, 291},
    {1,   857, 269, 949, 913, 989, 599, 303, 987, 453, 839, 341,
     415, 379, 489, 267, 305, 157, 231, 83,  563, 193, 655, 729},
    {1,    1731, 985, 1869, 1783, 1523, 569,  1133, 907,  1853, 117, 1063,
     2009, 1627, 39,  343,  1931, 499,  1141, 603,  1549, 447,  525, 1219},
    {1,    3457, 559,  1925, 3171, 3123, 2577, 1717, 1855, 3181, 2429, 5,
     3755, 3161, 3913, 747,  15,   737,  3903, 1845, 3151, 1113, 1865, 2419},
    {1,    6915, 3959, 3235, 8139, 6033, 7343, 5475, 2225, 1133, 7019, 8165,
     4329, 4915, 1611, 6567, 3823, 7659, 1079, 7073, 519,  1665, 2731, 7127},
    {1,     12539, 14113, 14523, 5185,  8761, 5833, 4359, 7301,  733,   14031, 6161,
     14433, 889,   10465, 6563,  13457, 1783, 6407, 6005, 14277, 10793, 14105, 1947},
    {1,     19463, 8085, 31281, 7831, 3621,  1461,  1003,  9845,  31191, 15971, 21485,
     13509, 10899, 5729, 20341, 4769, 24457, 30233, 26469, 12905, 3717,  6779,  12555},
}};

/// SplitMix64: Steele, Lea & Flood, OOPSLA 2014.
class SplitMix {
 public:
  explicit SplitMix(std::uint64_t seed) : state_(seed) {}
  std::uint64_t next() {
    std::uint64_t z = (state_ += 0x9e3779b97f4a7c15ULL);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    return z ^ (z >> 31);
  }

 private:
  std::uint64_t state_;
};

}  // namespace

Lattice lattice(int dimensions, int level, std::uint64_t seed) {
  Lattice made;
  made.level = level;
  made.generator.reserve(static_cast<std::size_t>(dimensions));
  made.shift.reserve(static_cast<std::size_t>(dimensions) * static_cast<std::size_t>(hands));
  SplitMix random(seed);
  const Row& row = generators[static_cast<std::size_t>(level - coarsest_level)];
  const std::uint32_t mask = (1U << level) - 1U;
  for (std::size_t v = 0; v < static_cast<std::size_t>(dimensions); ++v) {
    // Beyond the table any odd number serves: the spread of the hands still states the error.
    const auto fallback = static_cast<std::uint32_t>(random.next() >> 32) | 1U;
    const std::uint32_t generator = v < row.size() ? row[v] : fallback;
    const double start = static_cast<double>(random.next() >> 11) * 0x1p-53;
    made.generator.push_back(generator);
    for (std::uint32_t hand = 0; hand < hands; ++hand) {
      const double u = start + std::ldexp(static_cast<double>((hand * generator) & mask), -level);
      made.shift.push_back(u < 1.0 ? u : u - 1.0);
    }
  }
  return made;
}

}  // namespace vialwright::conformity
