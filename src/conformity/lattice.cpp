#include "conformity/lattice.hpp"

#include <array>

namespace vialwright::conformity {
namespace {

// Built component by component, embedded: each entry is the odd number that makes the sum over
// levels 3 to 14 of the logarithm of the worst-case error least, in the weighted space of
// periodic functions with square-integrable mixed derivative, product weights 0.85^j.
// Method: Cools, Kuo & Nuyens, SIAM J. Sci. Comput. 28 (2006) 2162; the numbers are our own run.
constexpr std::array<std::uint32_t, 24> generators = {
    1,    6885, 2993, 5139, 3649, 5299, 2635, 2483, 2177, 6323, 7705, 4633,
    3201, 3251, 2227, 3917, 7655, 845,  5965, 1203, 179,  1511, 6989, 8013};

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

LatticeBlock whole_lattice(int level) { return {level, 0, 1, 1U << level}; }

LatticeBlock refinement(int level) { return {level, 1, 2, 1U << (level - 1)}; }

Lattice lattice(int dimensions, std::uint64_t seed) {
  Lattice made;
  made.generator.reserve(static_cast<std::size_t>(dimensions));
  made.shift.reserve(static_cast<std::size_t>(dimensions * shifts));
  SplitMix random(seed);
  for (std::size_t d = 0; d < static_cast<std::size_t>(dimensions); ++d) {
    // Beyond the table any odd number serves: the random shifts still state the error.
    const auto fallback = static_cast<std::uint32_t>(random.next() >> 32) | 1U;
    made.generator.push_back(d < generators.size() ? generators[d] : fallback);
    for (int s = 0; s < shifts; ++s) {
      made.shift.push_back(static_cast<double>(random.next() >> 11) * 0x1p-53);
    }
  }
  return made;
}

}  // namespace vialwright::conformity
