// Compiled once a target by foreach_target; the widest that the processor has is chosen at run
// time. Sums differ between widths in their last bits.

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "topup/look.cpp"
#define HWY_DISABLED_TARGETS (HWY_SVE | HWY_SVE2 | HWY_SVE_256 | HWY_SVE2_128 | HWY_RVV)
#include <hwy/foreach_target.h>  // must come before highway.h

#include <hwy/highway.h>

#include <hwy/contrib/math/math-inl.h>

#include <array>
#include <cmath>
#include <numbers>

#include "error/error.hpp"
#include "topup/look.hpp"

#ifndef VIALWRIGHT_TOPUP_LOOK_COMMON
#define VIALWRIGHT_TOPUP_LOOK_COMMON
namespace vialwright::topup {

inline constexpr std::size_t most_bands = 1024, widest = 8;

/// What the loop needs, as plain arrays.
struct Looking {
  const double* absorption;  ///< (things, bands)
  const double* weights;     ///< (3, bands)
  std::size_t things, bands;
};

}  // namespace vialwright::topup
#endif

HWY_BEFORE_NAMESPACE();
namespace vialwright::topup::HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;
using Tag = hn::CappedTag<double, widest>;
using V = hn::Vec<Tag>;
constexpr Tag d{};

/// Weights times transmittance, for each of X, Y, Z and band; their sums.
void light(const Looking& looking, const double* amounts, double* through, double* sums) {
  V x = hn::Zero(d), y = x, z = x;
  for (std::size_t b = 0; b < looking.bands; b += hn::Lanes(d)) {
    V absorbance = hn::Zero(d);
    for (std::size_t k = 0; k < looking.things; ++k)
      absorbance = hn::MulAdd(hn::Set(d, amounts[k]),
                              hn::LoadU(d, looking.absorption + k * looking.bands + b), absorbance);
    const V passes = hn::Exp(d, hn::Neg(absorbance));
    const auto each = [&](std::size_t c) HWY_ATTR {
      const V part = hn::Mul(passes, hn::LoadU(d, looking.weights + c * looking.bands + b));
      hn::StoreU(part, d, through + c * looking.bands + b);
      return part;
    };
    x = hn::Add(x, each(0));
    y = hn::Add(y, each(1));
    z = hn::Add(z, each(2));
  }
  sums[0] = hn::GetLane(hn::SumOfLanes(d, x));
  sums[1] = hn::GetLane(hn::SumOfLanes(d, y));
  sums[2] = hn::GetLane(hn::SumOfLanes(d, z));
}

void slopes(const Looking& looking, const double* through, double* gradient) {
  const std::size_t bands = looking.bands;
  for (std::size_t k = 0; k < looking.things; ++k) {
    V x = hn::Zero(d), y = x, z = x;
    for (std::size_t b = 0; b < bands; b += hn::Lanes(d)) {
      const V absorbs = hn::LoadU(d, looking.absorption + k * bands + b);
      x = hn::NegMulAdd(absorbs, hn::LoadU(d, through + b), x);
      y = hn::NegMulAdd(absorbs, hn::LoadU(d, through + bands + b), y);
      z = hn::NegMulAdd(absorbs, hn::LoadU(d, through + 2 * bands + b), z);
    }
    gradient[3 * k] = hn::GetLane(hn::SumOfLanes(d, x));
    gradient[3 * k + 1] = hn::GetLane(hn::SumOfLanes(d, y));
    gradient[3 * k + 2] = hn::GetLane(hn::SumOfLanes(d, z));
  }
}

/// @param gradient  (3, things) by columns, or nullptr.
void look(const Looking& looking, const double* amounts, double* sums, double* gradient) {
  HWY_ALIGN std::array<double, 3 * most_bands> through;
  light(looking, amounts, through.data(), sums);
  if (gradient != nullptr) slopes(looking, through.data(), gradient);
}

}  // namespace
}  // namespace vialwright::topup::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace vialwright::topup {
namespace {
HWY_EXPORT(look);
}  // namespace

Look::Look(const mixing::View& view, const Eigen::MatrixXd& things)
    : things_(static_cast<int>(things.cols())), white_(view.white()) {
  const Eigen::MatrixXd absorption = std::numbers::ln10 * view.absorption() * things;
  const auto bands = static_cast<std::size_t>(absorption.rows());
  bands_ = (bands + widest - 1) / widest * widest;
  require(bands_ <= most_bands, "a spectrum has a thousand bands at most");
  absorption_.assign(bands_ * static_cast<std::size_t>(things_), 0.0);
  weights_.assign(3 * bands_, 0.0);
  for (std::size_t b = 0; b < bands; ++b) {
    for (std::size_t k = 0; k < static_cast<std::size_t>(things_); ++k)
      absorption_[k * bands_ + b] =
          absorption(static_cast<Eigen::Index>(b), static_cast<Eigen::Index>(k));
    weights_[b] = view.weights().x[b];
    weights_[bands_ + b] = view.weights().y[b];
    weights_[2 * bands_ + b] = view.weights().z[b];
  }
}

colour::Xyz Look::xyz(const double* amounts, Gradient* gradient) const {
  if (gradient != nullptr) gradient->resize(3, things_);
  std::array<double, 3> sums{};
  const Looking looking{absorption_.data(), weights_.data(), static_cast<std::size_t>(things_),
                        bands_};
  HWY_DYNAMIC_DISPATCH(look)
  (looking, amounts, sums.data(), gradient != nullptr ? gradient->data() : nullptr);
  return {sums[0], sums[1], sums[2]};
}

colour::Lab Look::lab(const double* amounts, Gradient* gradient) const {
  const colour::Xyz seen = xyz(amounts, gradient);
  if (gradient == nullptr) return colour::lab(seen, white_);
  Eigen::Matrix3d of_xyz;
  const colour::Lab lab = colour::lab(seen, white_, of_xyz);
  for (Eigen::Index k = 0; k < things_; ++k) gradient->col(k) = (of_xyz * gradient->col(k)).eval();
  return lab;
}

}  // namespace vialwright::topup
#endif  // HWY_ONCE
