// CIEDE2000 and CIELAB of many colours, one colour a lane. The same steps in the same order without
// fused multiply-adds, so that every vector width gives the same bits. Compiled once a target by
// foreach_target; the widest that the processor has is chosen at run time.
//
// No arc tangent and no exponential: the bell of the rotation term is a short Fourier series of the
// mean hue, whose cosine is at hand.

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "colour/batch.cpp"
// Vectors of unknown size cannot be members of a struct; those processors run the fixed-size path.
#define HWY_DISABLED_TARGETS (HWY_SVE | HWY_SVE2 | HWY_SVE_256 | HWY_SVE2_128 | HWY_RVV)
#include <hwy/foreach_target.h>  // must come before highway.h
#include <hwy/highway.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "colour/cielab.hpp"
#include "colour/colour.hpp"

#ifndef VIALWRIGHT_COLOUR_BATCH_COMMON
#define VIALWRIGHT_COLOUR_BATCH_COMMON
namespace vialwright::colour {

/// exp(-((h - 275) / 25)^2) = sum over n of bell[n] cos(n (h - 275)), h in degrees: a Gaussian
/// wrapped round the circle has Gaussian coefficients. What the wrapping adds is below 1e-22, what
/// is left out below 1e-16.
inline constexpr int bell_terms = 28;

struct Constants {
  std::array<double, bell_terms> bell;
  double cos275, sin275, cos95, cos30, sin30, cos6, sin6, cos63, sin63;
};

inline Constants constants() {
  constexpr double degree = std::numbers::pi / 180.0, width = 25.0 * degree;
  Constants made{};
  for (int n = 0; n < bell_terms; ++n) {
    const double share = n == 0 ? 0.5 : 1.0;
    made.bell[static_cast<std::size_t>(n)] =
        share * width * std::numbers::inv_sqrtpi * std::exp(-0.25 * n * n * width * width);
  }
  made.cos275 = std::cos(275.0 * degree), made.sin275 = std::sin(275.0 * degree);
  made.cos95 = std::cos(95.0 * degree);
  made.cos30 = std::cos(30.0 * degree), made.sin30 = std::sin(30.0 * degree);
  made.cos6 = std::cos(6.0 * degree), made.sin6 = std::sin(6.0 * degree);
  made.cos63 = std::cos(63.0 * degree), made.sin63 = std::sin(63.0 * degree);
  return made;
}

/// Three rows of numbers: L, a, b or X, Y, Z. A step of 0 repeats the first.
struct Rows {
  const double *first, *second, *third;
  std::size_t step;
};

}  // namespace vialwright::colour
#endif

HWY_BEFORE_NAMESPACE();
namespace vialwright::colour::HWY_NAMESPACE {
namespace {

namespace hn = hwy::HWY_NAMESPACE;
using Tag = hn::ScalableTag<double>;
using V = hn::Vec<Tag>;
using M = hn::Mask<Tag>;

constexpr Tag d{};

HWY_INLINE V set(double value) { return hn::Set(d, value); }
HWY_INLINE V square(V value) { return hn::Mul(value, value); }
HWY_INLINE V scaled(double by, V value) { return hn::Mul(set(by), value); }
/// Horner's scheme, highest power first; written out, since loops are not unrolled for us.
HWY_INLINE V polynomial(V, V sum) { return sum; }
template <class... More>
HWY_INLINE V polynomial(V x, V sum, double next, More... more) {
  return polynomial(x, hn::Add(hn::Mul(sum, x), set(next)), more...);
}

HWY_INLINE V length(V x, V y) { return hn::Sqrt(hn::Add(square(x), square(y))); }

struct Triple {
  V first, second, third;
};

HWY_INLINE V seventh_root_share(V chroma) {  // sqrt(C^7 / (C^7 + 25^7))
  const V c2 = square(chroma), c7 = hn::Mul(square(c2), hn::Mul(c2, chroma));
  return hn::Sqrt(hn::Div(c7, hn::Add(c7, set(6103515625.0))));
}

/// cos and sin of an angle and of its multiples.
struct Turn {
  V cos, sin;
};
HWY_INLINE Turn after(Turn one, Turn other) {
  return {hn::Sub(hn::Mul(one.cos, other.cos), hn::Mul(one.sin, other.sin)),
          hn::Add(hn::Mul(one.sin, other.cos), hn::Mul(one.cos, other.sin))};
}
HWY_INLINE V cos_less(Turn turn, double cos, double sin) {  // cos(turn - constant)
  return hn::Add(scaled(cos, turn.cos), scaled(sin, turn.sin));
}

HWY_INLINE V hue_weight(const Constants& k, Turn h) {  // T of the standard
  const Turn h2 = after(h, h), h3 = after(h2, h), h4 = after(h2, h2);
  V t = hn::Sub(set(1.0), scaled(0.17, cos_less(h, k.cos30, k.sin30)));
  t = hn::Add(t, scaled(0.24, h2.cos));
  t = hn::Add(t, scaled(0.32, cos_less(h3, k.cos6, -k.sin6)));
  return hn::Sub(t, scaled(0.20, cos_less(h4, k.cos63, k.sin63)));
}

/// Clenshaw's recurrence: now_n = term_n + alpha now_(n+1) - now_(n+2).
HWY_INLINE void for_each_term(V, V&, V&) {}
template <class... More>
HWY_INLINE void for_each_term(V alpha, V& now, V& next, double term, More... more) {
  const V made = hn::Add(hn::Sub(hn::Mul(alpha, now), next), set(term));
  next = now;
  now = made;
  for_each_term(alpha, now, next, more...);
}

/// sum over n of bell[4 n] cos(4 n angle + shift) by Clenshaw's recurrence, alpha = 2 cos(4 angle);
/// `here` is the cosine of the shift, `behind` that of the shift less four angles.
HWY_INLINE V chain(const double* bell, V alpha, V here, V behind) {
  V next = set(bell[24]);
  V now = hn::Add(hn::Mul(alpha, next), set(bell[20]));
  for_each_term(alpha, now, next, bell[16], bell[12], bell[8], bell[4], bell[0]);
  return hn::Sub(hn::Mul(now, here), hn::Mul(next, behind));
}

/// sum over n of bell[n] cos(n angle), in four chains: they run side by side where one long chain
/// would wait for itself.
HWY_INLINE V bell(const Constants& k, V cos1) {
  const V one = set(1.0), twice = hn::Add(cos1, cos1);
  const V cos2 = hn::Sub(hn::Mul(twice, cos1), one);
  const V cos3 = hn::Sub(hn::Mul(twice, cos2), cos1);
  const V cos4 = hn::Sub(hn::Mul(hn::Add(cos2, cos2), cos2), one);
  const V alpha = hn::Add(cos4, cos4);
  const double* terms = k.bell.data();
  return hn::Add(hn::Add(chain(terms, alpha, one, cos4), chain(terms + 1, alpha, cos1, cos3)),
                 hn::Add(chain(terms + 2, alpha, cos2, cos2), chain(terms + 3, alpha, cos3, cos1)));
}

/// The standard does not go round: from 0 to 95 degrees the bell is 180 degrees or more away,
/// 1e-22.
HWY_INLINE V bell_as_written(const Constants& k, Turn mean) {
  const V cos_off = cos_less(mean, k.cos275, k.sin275);
  const M far = hn::And(hn::Ge(mean.sin, hn::Zero(d)), hn::Gt(mean.cos, set(k.cos95)));
  return hn::IfThenZeroElse(far, bell(k, cos_off));
}

/// sin x for 0 <= x <= pi / 3: the series; its first term left out is below 1e-16.
HWY_INLINE V sine(V x) {
  return hn::Mul(x, polynomial(square(x), set(1.0 / 355687428096000.0), -1.0 / 1307674368000.0,
                               1.0 / 6227020800.0, -1.0 / 39916800.0, 1.0 / 362880.0, -1.0 / 5040.0,
                               1.0 / 120.0, -1.0 / 6.0, 1.0));
}

/// The pair's hues in the plane (a', b): the second's difference from the first, and their mean.
struct HuePair {
  V chroma1, chroma2, difference;
  Turn mean;
};

/// As in ciede2000.cpp: opposite hues are told apart by exact signs. With p = C1' C2', the sum of
/// the two directions has the length sqrt(2 (p + dot) / p), their difference sqrt(2 (p - dot) / p);
/// the longer one gives the mean.
HWY_INLINE HuePair hue_pair(const Triple& one, const Triple& other) {
  const V half = set(0.5), zero = hn::Zero(d);
  const V mean =
      scaled(0.5, hn::Add(length(one.second, one.third), length(other.second, other.third)));
  const V stretch = hn::Sub(set(1.5), hn::Mul(half, seventh_root_share(mean)));
  const V x1 = hn::Mul(stretch, one.second), x2 = hn::Mul(stretch, other.second);
  const V y1 = one.third, y2 = other.third;
  const V c1 = length(x1, y1), c2 = length(x2, y2);
  const V cross = hn::Sub(hn::Mul(x1, y2), hn::Mul(x2, y1));
  const V dot = hn::Add(hn::Mul(x1, x2), hn::Mul(y1, y2));
  const M upper = hn::Or(hn::Gt(y1, zero), hn::And(hn::Eq(y1, zero), hn::Gt(x1, zero)));
  const M ahead = hn::Or(hn::Gt(cross, zero), hn::And(hn::Eq(cross, zero), upper));
  const M near = hn::Gt(dot, zero);

  const V p = hn::Mul(c1, c2), root_p = hn::Sqrt(p);
  const V root_q = hn::Sqrt(hn::Mul(half, hn::Add(p, hn::Abs(dot))));
  const V size = hn::Mul(hn::Add(root_p, root_p), root_q);
  const V inverse = hn::Div(set(1.0), hn::Max(size, set(1e-300)));  // a grey has no hue
  const V by_cross = hn::Mul(hn::Mul(cross, inverse), hn::Add(root_p, root_p));
  const V wide = hn::Add(root_q, root_q);
  const V difference = hn::IfThenElse(near, by_cross, hn::IfThenElse(ahead, wide, hn::Neg(wide)));

  const V forward = hn::IfThenElse(ahead, inverse, hn::Neg(inverse));
  const V px1 = hn::Mul(x1, c2), py1 = hn::Mul(y1, c2);
  const V px2 = hn::Mul(x2, c1), py2 = hn::Mul(y2, c1);
  const V cos = hn::IfThenElse(near, hn::Mul(hn::Add(px1, px2), inverse),
                               hn::Mul(hn::Sub(py2, py1), forward));
  const V sin = hn::IfThenElse(near, hn::Mul(hn::Add(py1, py2), inverse),
                               hn::Mul(hn::Sub(px1, px2), forward));
  return {c1, c2, difference, {cos, sin}};
}

HWY_INLINE V difference(const Constants& k, const Triple& one, const Triple& other) {
  const HuePair hues = hue_pair(one, other);
  const V chroma = scaled(0.5, hn::Add(hues.chroma1, hues.chroma2));
  const V off = hn::Sub(scaled(0.5, hn::Add(one.first, other.first)), set(50.0));
  const V off2 = square(off), root = hn::Sqrt(hn::Add(set(20.0), off2));
  // The three divisions by S_L, S_C and S_H are one division by their product.
  const V by_l = hn::Add(root, scaled(0.015, off2));  // S_L root
  const V by_c = hn::Add(set(1.0), scaled(0.045, chroma));
  const V by_h = hn::Add(set(1.0), hn::Mul(scaled(0.015, chroma), hue_weight(k, hues.mean)));
  const V by_ch = hn::Mul(by_c, by_h);
  const V inverse = hn::Div(set(1.0), hn::Mul(by_l, by_ch));
  const V l = hn::Mul(hn::Mul(hn::Sub(other.first, one.first), root), hn::Mul(by_ch, inverse));
  const V by_l_inverse = hn::Mul(by_l, inverse);
  const V c = hn::Mul(hn::Sub(hues.chroma2, hues.chroma1), hn::Mul(by_h, by_l_inverse));
  const V h = hn::Mul(hues.difference, hn::Mul(by_c, by_l_inverse));
  const V twist = sine(scaled(std::numbers::pi / 3.0, bell_as_written(k, hues.mean)));
  const V rotation = hn::Mul(set(-2.0), hn::Mul(seventh_root_share(chroma), twist));
  const V squares = hn::Add(hn::Add(square(l), square(c)), square(h));
  return hn::Sqrt(hn::Add(squares, hn::Mul(rotation, hn::Mul(c, h))));
}

HWY_INLINE Triple load(const Rows& rows, std::size_t at) {
  if (rows.step == 0) return {set(*rows.first), set(*rows.second), set(*rows.third)};
  return {hn::LoadU(d, rows.first + at), hn::LoadU(d, rows.second + at),
          hn::LoadU(d, rows.third + at)};
}

/// The last few, padded with black; `held` keeps the numbers.
struct Padded {
  std::array<std::array<double, hn::MaxLanes(d)>, 3> held{};
  Rows rows{};
};
void pad(const Rows& from, std::size_t at, std::size_t count, Padded& padded) {
  padded.rows = from;
  if (from.step == 0) return;
  std::copy_n(from.first + at, count, padded.held[0].begin());
  std::copy_n(from.second + at, count, padded.held[1].begin());
  std::copy_n(from.third + at, count, padded.held[2].begin());
  padded.rows = {padded.held[0].data(), padded.held[1].data(), padded.held[2].data(), 1};
}

void difference_lanes(const Constants& k, const Rows& ones, const Rows& others, double* out,
                      std::size_t count) {
  const std::size_t lanes = hn::Lanes(d);
  std::size_t at = 0;
  for (; at + lanes <= count; at += lanes)
    hn::StoreU(difference(k, load(ones, at), load(others, at)), d, out + at);
  if (at == count) return;
  Padded one, other;
  pad(ones, at, count - at, one);
  pad(others, at, count - at, other);
  std::array<double, hn::MaxLanes(d)> last;
  hn::StoreU(difference(k, load(one.rows, 0), load(other.rows, 0)), d, last.data());
  std::copy_n(last.begin(), count - at, out + at);
}

/// Cube root for t > 0.008 by way of its inverse r: a guess from the bits, then r (1 - e)^(-1/3)
/// to the fourth order with e = 1 - t r^3, which needs no division. The guess is within 4 %, so two
/// steps reach the last bits.
HWY_INLINE V cube_root(V t) {
  const hn::RebindToUnsigned<Tag> bits;
  auto third = hn::ShiftRight<2>(hn::BitCast(bits, t));
  third = hn::Add(third, hn::ShiftRight<2>(third));
  third = hn::Add(third, hn::ShiftRight<4>(third));
  third = hn::Add(third, hn::ShiftRight<8>(third));
  V r = hn::BitCast(d, hn::Sub(hn::Set(bits, 0x553EF0FF289DD796ULL), third));
  for (int step = 0; step < 2; ++step) {
    const V e = hn::Sub(set(1.0), hn::Mul(t, hn::Mul(r, square(r))));
    r = hn::Mul(r, polynomial(e, set(14.0 / 81.0), 2.0 / 9.0, 1.0 / 3.0, 1.0));
  }
  return hn::Mul(t, square(r));
}

HWY_INLINE V f(V t) {
  const V straight = hn::Add(scaled(lab_steepness, t), set(lab_offset));
  return hn::IfThenElse(hn::Gt(t, set(lab_bend)), cube_root(t), straight);
}

HWY_INLINE Triple lab_of(const Triple& xyz, const Xyz& white) {
  const V fx = f(scaled(1.0 / white.x, xyz.first)), fy = f(scaled(1.0 / white.y, xyz.second));
  const V fz = f(scaled(1.0 / white.z, xyz.third));
  return {hn::Sub(scaled(116.0, fy), set(16.0)), scaled(500.0, hn::Sub(fx, fy)),
          scaled(200.0, hn::Sub(fy, fz))};
}

void store(const Triple& lab, double* l, double* a, double* b) {
  hn::StoreU(lab.first, d, l);
  hn::StoreU(lab.second, d, a);
  hn::StoreU(lab.third, d, b);
}

void lab_lanes(const Rows& xyz, const Xyz& white, double* l, double* a, double* b,
               std::size_t count) {
  const std::size_t lanes = hn::Lanes(d);
  std::size_t at = 0;
  for (; at + lanes <= count; at += lanes)
    store(lab_of(load(xyz, at), white), l + at, a + at, b + at);
  if (at == count) return;
  Padded last;
  pad(xyz, at, count - at, last);
  auto& [x, y, z] = last.held;
  store(lab_of(load(last.rows, 0), white), x.data(), y.data(), z.data());
  std::copy_n(x.begin(), count - at, l + at);
  std::copy_n(y.begin(), count - at, a + at);
  std::copy_n(z.begin(), count - at, b + at);
}

}  // namespace
}  // namespace vialwright::colour::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace vialwright::colour {
namespace {

HWY_EXPORT(difference_lanes);
HWY_EXPORT(lab_lanes);

Rows rows(const Labs& labs) { return {labs.l.data(), labs.a.data(), labs.b.data(), 1}; }

bool each_has(std::size_t count, const Labs& labs) {
  return labs.l.size() == count && labs.a.size() == count && labs.b.size() == count;
}

void differences(const Rows& ones, const Rows& others, std::span<double> difference) {
  static const Constants k = constants();
  HWY_DYNAMIC_DISPATCH(difference_lanes)(k, ones, others, difference.data(), difference.size());
}

}  // namespace

void difference_00(const Labs& colours, const Lab& to, std::span<double> difference) {
  require(each_has(difference.size(), colours), "one difference for each colour");
  differences(rows(colours), {&to.l, &to.a, &to.b, 0}, difference);
}

void difference_00(const Labs& ones, const Labs& others, std::span<double> difference) {
  require(each_has(difference.size(), ones) && each_has(difference.size(), others),
          "one difference for each pair of colours");
  differences(rows(ones), rows(others), difference);
}

void lab(std::span<const double> x, std::span<const double> y, std::span<const double> z,
         const Xyz& white, std::span<double> l, std::span<double> a, std::span<double> b) {
  require(each_has(x.size(), {l, a, b}) && y.size() == x.size() && z.size() == x.size(),
          "as many of each coordinate");
  HWY_DYNAMIC_DISPATCH(lab_lanes)
  ({x.data(), y.data(), z.data(), 1}, white, l.data(), a.data(), b.data(), x.size());
}

}  // namespace vialwright::colour
#endif
