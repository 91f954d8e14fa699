// Compiled once a target by foreach_target; the widest that the processor has is chosen at run
// time. Sums run in another order on another width: answers agree to some units in the last place.

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "mixing/layer.cpp"
// Those processors run the fixed-size path, as elsewhere in this project.
#define HWY_DISABLED_TARGETS (HWY_SVE | HWY_SVE2 | HWY_SVE_256 | HWY_SVE2_128 | HWY_RVV)
#include <hwy/foreach_target.h>  // must come before highway.h

#include <hwy/contrib/math/math-inl.h>
#include <hwy/highway.h>

#include <algorithm>
#include <numbers>

#include "mixing/layer.hpp"

HWY_BEFORE_NAMESPACE();
namespace vialwright::mixing::HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;
using Tag = hn::CappedTag<double, Layer::widest>;
using V = hn::Vec<Tag>;
constexpr Tag d{};

double total(V v) { return hn::GetLane(hn::SumOfLanes(d, v)); }

void exponentials_of(const double* x, double* y, std::size_t count) {
  const std::size_t lanes = hn::Lanes(d);
  std::size_t i = 0;
  for (; i + lanes <= count; i += lanes) hn::StoreU(hn::Exp(d, hn::LoadU(d, x + i)), d, y + i);
  if (i == count) return;
  double rest[Layer::widest] = {};
  std::copy(x + i, x + count, rest);
  for (std::size_t k = 0; k < Layer::widest; k += lanes)
    hn::StoreU(hn::Exp(d, hn::LoadU(d, rest + k)), d, rest + k);
  std::copy(rest, rest + (count - i), y + i);
}

/// Transmittances of the bands from `band` on.
V transmitted(const Layer& layer, const double* amounts, std::size_t given, std::size_t band) {
  V sum = hn::Zero(d);
  for (std::size_t i = 0; i < given; ++i)
    if (amounts[i] != 0.0)
      sum = hn::MulAdd(hn::Set(d, amounts[i]),
                       hn::LoadU(d, &layer.natural[i * layer.stride + band]), sum);
  return hn::Exp(d, sum);
}

/// @param light  room for x, y and z of the light that comes through, 3 * stride.
void one_liquid(const Layer& layer, const double* amounts, std::size_t given, double* light,
                double* xyz) {
  V x = hn::Zero(d), y = x, z = x;
  for (std::size_t band = 0; band < layer.stride; band += hn::Lanes(d)) {
    const V through = transmitted(layer, amounts, given, band);
    const V here_x = hn::Mul(through, hn::LoadU(d, &layer.x[band]));
    const V here_y = hn::Mul(through, hn::LoadU(d, &layer.y[band]));
    const V here_z = hn::Mul(through, hn::LoadU(d, &layer.z[band]));
    x = hn::Add(x, here_x), y = hn::Add(y, here_y), z = hn::Add(z, here_z);
    if (!light) continue;
    hn::StoreU(here_x, d, light + band);
    hn::StoreU(here_y, d, light + layer.stride + band);
    hn::StoreU(here_z, d, light + 2 * layer.stride + band);
  }
  xyz[0] = total(x), xyz[1] = total(y), xyz[2] = total(z);
}

/// d(X, Y, Z) / d(one amount).
void slope_of(const Layer& layer, std::size_t amount, const double* light, double* slope) {
  const double* natural = &layer.natural[amount * layer.stride];
  V x = hn::Zero(d), y = x, z = x;
  for (std::size_t band = 0; band < layer.stride; band += hn::Lanes(d)) {
    const V column = hn::LoadU(d, natural + band);
    x = hn::MulAdd(column, hn::LoadU(d, light + band), x);
    y = hn::MulAdd(column, hn::LoadU(d, light + layer.stride + band), y);
    z = hn::MulAdd(column, hn::LoadU(d, light + 2 * layer.stride + band), z);
  }
  slope[0] = total(x), slope[1] = total(y), slope[2] = total(z);
}

void slopes_of(const Layer& layer, std::size_t given, const double* light, double* slopes) {
  for (std::size_t i = 0; i < given; ++i)
    if (layer.absorbs[i]) slope_of(layer, i, light, slopes + 3 * i);
}

/// A vector of liquids, band by band. @param amount  of liquid `lane` is amount[i * step + lane].
void some_liquids(const Layer& layer, const double* amount, std::size_t given, std::size_t step,
                  double* x, double* y, double* z) {
  V sum_x = hn::Zero(d), sum_y = sum_x, sum_z = sum_x;
  const double* natural = layer.by_band.data();
  const double* weight = layer.weights_by_band.data();
  for (std::size_t band = 0; band < layer.bands; ++band) {
    V sum = hn::Zero(d);
    for (std::size_t i = 0; i < given; ++i)
      sum = hn::MulAdd(hn::Set(d, natural[i]), hn::LoadU(d, amount + i * step), sum);
    const V through = hn::Exp(d, sum);
    sum_x = hn::MulAdd(hn::Set(d, weight[0]), through, sum_x);
    sum_y = hn::MulAdd(hn::Set(d, weight[1]), through, sum_y);
    sum_z = hn::MulAdd(hn::Set(d, weight[2]), through, sum_z);
    natural += layer.amounts, weight += 3;
  }
  hn::StoreU(sum_x, d, x), hn::StoreU(sum_y, d, y), hn::StoreU(sum_z, d, z);
}

/// @returns how many were done: whole vectors only.
std::size_t many_liquids(const Layer& layer, const double* amounts, std::size_t given,
                         std::size_t count, double* x, double* y, double* z) {
  const std::size_t lanes = hn::Lanes(d);
  std::size_t r = 0;
  for (; r + lanes <= count; r += lanes)
    some_liquids(layer, amounts + r, given, count, x + r, y + r, z + r);
  return r;
}

}  // namespace
}  // namespace vialwright::mixing::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace vialwright::mixing {

HWY_EXPORT(exponentials_of);
HWY_EXPORT(one_liquid);
HWY_EXPORT(slopes_of);
HWY_EXPORT(many_liquids);

Layer::Layer(const Eigen::MatrixXd& absorbance, const colour::Weights& weights)
    : bands(weights.x.size()),
      stride((bands + widest - 1) / widest * widest),
      amounts(static_cast<std::size_t>(absorbance.cols())) {
  require(absorbance.rows() == static_cast<Eigen::Index>(bands), "one row a band");
  natural.assign(stride * amounts, 0.0);
  by_band.assign(bands * amounts, 0.0);
  absorbs.assign(amounts, false);
  for (std::size_t i = 0; i < amounts; ++i)
    for (std::size_t band = 0; band < bands; ++band) {
      const double value = -std::numbers::ln10 * absorbance(static_cast<Eigen::Index>(band),
                                                            static_cast<Eigen::Index>(i));
      natural[i * stride + band] = by_band[band * amounts + i] = value;
      if (value != 0.0) absorbs[i] = true;
    }
  x = weights.x, y = weights.y, z = weights.z;
  for (auto* each : {&x, &y, &z}) each->resize(stride, 0.0);
  for (std::size_t band = 0; band < bands; ++band)
    weights_by_band.insert(weights_by_band.end(), {x[band], y[band], z[band]});
}

void exponentials(std::span<const double> x, std::span<double> y) {
  require(x.size() == y.size(), "one answer a value");
  HWY_DYNAMIC_DISPATCH(exponentials_of)(x.data(), y.data(), x.size());
}

colour::Xyz tristimulus(const Layer& layer, std::span<const double> amounts) {
  require(amounts.size() <= layer.amounts, "no more amounts than the layer has");
  double xyz[3];
  HWY_DYNAMIC_DISPATCH(one_liquid)(layer, amounts.data(), amounts.size(), nullptr, xyz);
  return {xyz[0], xyz[1], xyz[2]};
}

colour::Xyz tristimulus(const Layer& layer, std::span<const double> amounts,
                        std::span<double> gradient) {
  require(amounts.size() <= layer.amounts && gradient.size() == 3 * amounts.size(),
          "three slopes an amount");
  constexpr std::size_t usual = 128;  // bands that need no allocation
  double room[3 * usual];
  std::vector<double> more(layer.stride > usual ? 3 * layer.stride : 0);
  double* light = layer.stride > usual ? more.data() : room;
  double xyz[3];
  HWY_DYNAMIC_DISPATCH(one_liquid)(layer, amounts.data(), amounts.size(), light, xyz);
  std::ranges::fill(gradient, 0.0);
  HWY_DYNAMIC_DISPATCH(slopes_of)(layer, amounts.size(), light, gradient.data());
  return {xyz[0], xyz[1], xyz[2]};
}

void tristimulus(const Layer& layer, std::span<const double> amounts, std::size_t count,
                 std::span<double> x, std::span<double> y, std::span<double> z) {
  if (count == 0) return;
  const std::size_t given = amounts.size() / count;
  require(given * count == amounts.size() && given <= layer.amounts, "count values an amount");
  require(x.size() == count && y.size() == count && z.size() == count, "one answer a liquid");
  std::size_t r = HWY_DYNAMIC_DISPATCH(many_liquids)(layer, amounts.data(), given, count, x.data(),
                                                     y.data(), z.data());
  std::vector<double> one(given);
  for (; r < count; ++r) {
    for (std::size_t i = 0; i < given; ++i) one[i] = amounts[i * count + r];
    const colour::Xyz xyz = tristimulus(layer, one);
    x[r] = xyz.x, y[r] = xyz.y, z[r] = xyz.z;
  }
}

}  // namespace vialwright::mixing
#endif  // HWY_ONCE
