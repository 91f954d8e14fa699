/// What comes through a liquid at each wavelength, and sums over it, laid out for vectors. Private
/// to this module.
#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

#include "mixing/light_path.hpp"

namespace vialwright::mixing {

inline constexpr std::size_t widest_vector = 8;  ///< doubles in 512 bits
[[nodiscard]] constexpr std::size_t padded(std::size_t count) {
  return (count + widest_vector - 1) / widest_vector * widest_vector;
}

/// Rows of numbers, one after another, each padded with zeros to whole vectors of any width.
struct Rows {
  Rows() = default;
  Rows(std::size_t rows, std::size_t columns)
      : count(rows), stride(padded(columns)), all(rows * stride, 0.0) {}

  [[nodiscard]] double* operator[](std::size_t row) { return all.data() + row * stride; }
  [[nodiscard]] const double* operator[](std::size_t row) const {
    return all.data() + row * stride;
  }

  std::size_t count = 0, stride = 0;
  std::vector<double> all;
};

/// Room for some rows of numbers, without an allocation in the usual sizes.
class Room {
 public:
  Room(std::size_t rows, std::size_t stride) : stride_(stride) {
    if (rows * stride > here_.size()) more_.resize(rows * stride);
  }
  [[nodiscard]] std::span<double> operator[](std::size_t row) {
    return {(more_.empty() ? here_.data() : more_.data()) + row * stride_, stride_};
  }

 private:
  std::size_t stride_;
  std::array<double, 512> here_;
  std::vector<double> more_;
};

/// What comes through: of each wavelength natural.stride values.
struct Through {
  std::span<double> log_t;  ///< ln T of 1 cm
  std::span<double> light;  ///< transmittance, the mean over the chords
  std::span<double> slope;  ///< d light / d log_t, at a path factor of 1
};
/// @param natural  d ln T of 1 cm / d amount: a row an amount, a column a wavelength.
/// @param amounts  the first ones; those left out are zero.
void shine(const Rows& natural, std::span<const double> amounts, std::span<const Chord> chords,
           double path, const Through& through);

/// sums[row] = sum over wavelengths of weights[row] * light.
void weigh(const Rows& weights, std::span<const double> light, std::span<double> sums);
/// The same of slope * natural[i]: sums[i * weights.count + row], for the first amounts.
void weigh_each(const Rows& weights, const Rows& natural, std::size_t amounts,
                std::span<const double> slope, std::span<double> sums);

/// Wavelengths in groups of `size`, a multiple of widest_vector: sums[v] = sum over groups g of
/// weights[g] * light[g * size + v].
void fold(std::span<const double> weights, std::span<const double> light, std::span<double> sums);
/// The same of slope * natural[i]: sums[i * size + v], for the first amounts.
void fold_each(std::span<const double> weights, const Rows& natural, std::size_t amounts,
               std::span<const double> slope, std::span<double> sums);

/// Many liquids at once: amounts[i * count + r] is amount i of liquid r. For one chord of 1 cm.
/// @param sums  weights.count arrays of count values: sums[row * count + r].
void shine_many(const Rows& natural, const Rows& weights, std::size_t wavelengths,
                std::span<const double> amounts, std::size_t count, std::span<double* const> sums);

}  // namespace vialwright::mixing
