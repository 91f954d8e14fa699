// Compiled once a target by foreach_target; the widest that the processor has is chosen at run
// time. Sums run in another order on another width: answers agree to some units in the last place.

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "mixing/through.cpp"
// Those processors run the fixed-size path, as elsewhere in this project.
#define HWY_DISABLED_TARGETS (HWY_SVE | HWY_SVE2 | HWY_SVE_256 | HWY_SVE2_128 | HWY_RVV)
#include <hwy/foreach_target.h>  // must come before highway.h

#include <hwy/contrib/math/math-inl.h>
#include <hwy/highway.h>

#include <algorithm>

#include "error/error.hpp"
#include "mixing/through.hpp"

HWY_BEFORE_NAMESPACE();
namespace vialwright::mixing::HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;
using Tag = hn::CappedTag<double, widest_vector>;
using V = hn::Vec<Tag>;
constexpr Tag d{};

V at(const double* from) { return hn::LoadU(d, from); }
V all(double value) { return hn::Set(d, value); }

void shine_on(const Rows& natural, const double* amounts, std::size_t given,
              std::span<const Chord> chords, double path, const Through& through) {
  for (std::size_t j = 0; j < natural.stride; j += hn::Lanes(d)) {
    V log_t = hn::Zero(d);
    for (std::size_t i = 0; i < given; ++i)
      if (amounts[i] != 0.0) log_t = hn::MulAdd(all(amounts[i]), at(natural[i] + j), log_t);
    V light = hn::Zero(d), slope = light;
    for (const Chord& chord : chords) {
      const V here =
          hn::Mul(all(chord.share), hn::Exp(d, hn::Mul(all(path * chord.length_cm), log_t)));
      light = hn::Add(light, here);
      slope = hn::MulAdd(all(chord.length_cm), here, slope);
    }
    hn::StoreU(log_t, d, &through.log_t[j]);
    hn::StoreU(light, d, &through.light[j]);
    hn::StoreU(slope, d, &through.slope[j]);
  }
}

double dot(const double* a, const double* b, std::size_t count) {
  V sum = hn::Zero(d);
  for (std::size_t j = 0; j < count; j += hn::Lanes(d)) sum = hn::MulAdd(at(a + j), at(b + j), sum);
  return hn::GetLane(hn::SumOfLanes(d, sum));
}

/// @param room  weights.count * weights.stride: what each row sees of the slope.
void weigh_rows(const Rows& weights, const Rows& natural, std::size_t amounts, const double* slope,
                double* room, double* sums) {
  const std::size_t stride = weights.stride;
  for (std::size_t row = 0; row < weights.count; ++row)
    for (std::size_t j = 0; j < stride; j += hn::Lanes(d))
      hn::StoreU(hn::Mul(at(weights[row] + j), at(slope + j)), d, room + row * stride + j);
  for (std::size_t i = 0; i < amounts; ++i)
    for (std::size_t row = 0; row < weights.count; ++row)
      *sums++ = dot(natural[i], room + row * stride, stride);
}

void weigh_one(const Rows& weights, const double* light, double* sums) {
  for (std::size_t row = 0; row < weights.count; ++row)
    sums[row] = dot(weights[row], light, weights.stride);
}

/// @param by  what light is multiplied with, or nullptr.
void fold_one(std::span<const double> weights, const double* light, const double* by,
              std::size_t size, double* sums) {
  for (std::size_t v = 0; v < size; v += hn::Lanes(d)) {
    V sum = hn::Zero(d);
    for (std::size_t g = 0; g < weights.size(); ++g) {
      V here = at(light + g * size + v);
      if (by) here = hn::Mul(here, at(by + g * size + v));
      sum = hn::MulAdd(all(weights[g]), here, sum);
    }
    hn::StoreU(sum, d, sums + v);
  }
}

void fold_all(std::span<const double> weights, const Rows& natural, std::size_t amounts,
              const double* slope, double* sums) {
  const std::size_t size = natural.stride / weights.size();
  for (std::size_t i = 0; i < amounts; ++i)
    fold_one(weights, slope, natural[i], size, sums + i * size);
}

/// A vector of liquids, wavelength by wavelength (two side by side were a fifth slower). @param
/// amount  of liquid `lane` is amount[i * step + lane].
void shine_on_some(const double* natural, const double* weights, std::size_t wavelengths,
                   const double* amount, std::size_t given, std::size_t step,
                   std::span<double* const> sums, std::size_t r) {
  V x = hn::Zero(d), y = x, z = x;
  for (std::size_t j = 0; j < wavelengths; ++j, natural += given, weights += 3) {
    V log_t = hn::Zero(d);
    for (std::size_t i = 0; i < given; ++i)
      log_t = hn::MulAdd(all(natural[i]), at(amount + i * step), log_t);
    const V light = hn::Exp(d, log_t);
    x = hn::MulAdd(all(weights[0]), light, x);
    y = hn::MulAdd(all(weights[1]), light, y);
    z = hn::MulAdd(all(weights[2]), light, z);
  }
  hn::StoreU(x, d, sums[0] + r), hn::StoreU(y, d, sums[1] + r), hn::StoreU(z, d, sums[2] + r);
}

/// @returns how many were done: whole vectors only.
std::size_t shine_on_many(const double* natural, const double* weights, std::size_t wavelengths,
                          const double* amounts, std::size_t given, std::size_t count,
                          std::span<double* const> sums) {
  std::size_t r = 0;
  for (; r + hn::Lanes(d) <= count; r += hn::Lanes(d))
    shine_on_some(natural, weights, wavelengths, amounts + r, given, count, sums, r);
  return r;
}

}  // namespace
}  // namespace vialwright::mixing::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace vialwright::mixing {

HWY_EXPORT(shine_on);
HWY_EXPORT(weigh_one);
HWY_EXPORT(weigh_rows);
HWY_EXPORT(fold_one);
HWY_EXPORT(fold_all);
HWY_EXPORT(shine_on_many);

void shine(const Rows& natural, std::span<const double> amounts, std::span<const Chord> chords,
           double path, const Through& through) {
  require(amounts.size() <= natural.count, "no more amounts than are known");
  for (const auto& each : {through.log_t, through.light, through.slope})
    require(each.size() == natural.stride, "one value a wavelength");
  HWY_DYNAMIC_DISPATCH(shine_on)(natural, amounts.data(), amounts.size(), chords, path, through);
}

void weigh(const Rows& weights, std::span<const double> light, std::span<double> sums) {
  require(light.size() == weights.stride && sums.size() == weights.count, "one sum a row");
  HWY_DYNAMIC_DISPATCH(weigh_one)(weights, light.data(), sums.data());
}

void weigh_each(const Rows& weights, const Rows& natural, std::size_t amounts,
                std::span<const double> slope, std::span<double> sums) {
  require(weights.stride == natural.stride && slope.size() == natural.stride &&
              amounts <= natural.count && sums.size() == amounts * weights.count,
          "one sum an amount and row");
  Room room(weights.count, weights.stride);
  HWY_DYNAMIC_DISPATCH(weigh_rows)
  (weights, natural, amounts, slope.data(), room[0].data(), sums.data());
}

void fold(std::span<const double> weights, std::span<const double> light, std::span<double> sums) {
  require(light.size() == weights.size() * sums.size() && sums.size() % widest_vector == 0,
          "whole groups");
  HWY_DYNAMIC_DISPATCH(fold_one)(weights, light.data(), nullptr, sums.size(), sums.data());
}

void fold_each(std::span<const double> weights, const Rows& natural, std::size_t amounts,
               std::span<const double> slope, std::span<double> sums) {
  require(slope.size() == natural.stride && amounts <= natural.count &&
              sums.size() * weights.size() == amounts * natural.stride,
          "whole groups");
  HWY_DYNAMIC_DISPATCH(fold_all)(weights, natural, amounts, slope.data(), sums.data());
}

void shine_many(const Rows& natural, const Rows& weights, std::size_t wavelengths,
                std::span<const double> amounts, std::size_t count, std::span<double* const> sums) {
  if (count == 0) return;
  const std::size_t given = amounts.size() / count;
  require(given * count == amounts.size() && given <= natural.count, "count values an amount");
  require(weights.count == 3 && sums.size() == 3, "three sums");
  std::vector<double> by_wavelength, triples;
  for (std::size_t j = 0; j < wavelengths; ++j) {
    for (std::size_t i = 0; i < given; ++i) by_wavelength.push_back(natural[i][j]);
    for (std::size_t row = 0; row < 3; ++row) triples.push_back(weights[row][j]);
  }
  const auto kernel = HWY_DYNAMIC_DISPATCH(shine_on_many);
  const std::size_t done =
      kernel(by_wavelength.data(), triples.data(), wavelengths, amounts.data(), given, count, sums);
  // The rest once more as a whole vector of which only some lanes are kept.
  const std::size_t left = count - done;
  std::vector<double> rest(given * widest_vector, 0.0);
  std::array<std::array<double, widest_vector>, 3> here{};
  std::array<double*, 3> into{here[0].data(), here[1].data(), here[2].data()};
  for (std::size_t i = 0; i < given; ++i)
    for (std::size_t r = 0; r < left; ++r)
      rest[i * widest_vector + r] = amounts[i * count + done + r];
  if (left > 0)
    kernel(by_wavelength.data(), triples.data(), wavelengths, rest.data(), given, widest_vector,
           into);
  for (std::size_t row = 0; row < 3; ++row) std::copy_n(here[row].begin(), left, sums[row] + done);
}

}  // namespace vialwright::mixing
#endif  // HWY_ONCE
