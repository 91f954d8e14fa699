#include "twin/random.hpp"

#include <bit>
#include <cmath>

namespace vialwright::twin {

std::uint64_t splitmix64(std::uint64_t& state) {
  state += 0x9e3779b97f4a7c15U;
  std::uint64_t z = state;
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
  z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
  return z ^ (z >> 31);
}

Random::Random(std::uint64_t seed, std::string_view purpose, std::uint64_t index) : state_{} {
  std::uint64_t mixed = seed;
  for (const char letter : purpose) {
    mixed ^= static_cast<unsigned char>(letter);
    mixed = splitmix64(mixed);
  }
  mixed ^= index;
  for (std::uint64_t& word : state_) word = splitmix64(mixed);
}

std::uint64_t Random::next() {
  const std::uint64_t result = std::rotl(state_[1] * 5, 7) * 9;
  const std::uint64_t shifted = state_[1] << 17;
  state_[2] ^= state_[0];
  state_[3] ^= state_[1];
  state_[1] ^= state_[2];
  state_[0] ^= state_[3];
  state_[2] ^= shifted;
  state_[3] = std::rotl(state_[3], 45);
  return result;
}

double Random::uniform() {
  // 52 bits and half a step: neither 0 (its logarithm) nor 1 can come out.
  return (static_cast<double>(next() >> 12) + 0.5) * 0x1p-52;
}

int Random::below(int count) { return static_cast<int>(uniform() * count); }

double Random::normal() {
  while (true) {
    const double x = between(-1.0, 1.0);
    const double y = between(-1.0, 1.0);
    const double square = x * x + y * y;
    if (square >= 1.0 || square == 0.0) continue;
    return x * std::sqrt(-2.0 * std::log(square) / square);
  }
}

double Random::error(double hardness) {
  const bool heavy = happens(hardness);
  const double gauss = normal();
  if (!heavy) return gauss;
  double chi_squared = 0.0;
  for (int k = 0; k < 5; ++k) {
    const double z = normal();
    chi_squared += z * z;
  }
  // t = z / sqrt(chi2 / 5) has variance 5 / 3.
  return gauss / std::sqrt(chi_squared / 5.0) * std::sqrt(3.0 / 5.0);
}

}  // namespace vialwright::twin
