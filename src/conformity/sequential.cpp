#include "conformity/sequential.hpp"

// Compiles this file once for every instruction set.
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "conformity/sequential.cpp"
// Vectors of unknown size cannot be members of a struct; those processors run the fixed-size path.
#define HWY_DISABLED_TARGETS (HWY_SVE | HWY_SVE2 | HWY_SVE_256 | HWY_SVE2_128 | HWY_RVV)
#include <hwy/foreach_target.h>

#include <hwy/highway.h>

#include <hwy/contrib/math/math-inl.h>

HWY_BEFORE_NAMESPACE();
namespace vialwright::conformity::HWY_NAMESPACE {
namespace hn = hwy::HWY_NAMESPACE;

using Tag = hn::CappedTag<double, hands>;
using Vec = hn::Vec<Tag>;

constexpr std::uint32_t block = 8;  // points worked on together: 8 kB for 16 variables
constexpr std::size_t stride =
    static_cast<std::size_t>(block) * hands;  // from variable to variable

template <std::size_t n>
HWY_INLINE Vec polynomial(Vec x, const double (&coefficients)[n]) {
  const Tag d;
  Vec sum = hn::Set(d, coefficients[0]);
  for (std::size_t k = 1; k < n; ++k) sum = hn::MulAdd(sum, x, hn::Set(d, coefficients[k]));
  return sum;
}

/// Source: Hart et al., Computer Approximations (Wiley 1968), algorithm 5666, as given by West,
/// Wilmott Magazine, May 2005, 70-76. Its quotient of degree 6 by 7 also has the right limit, so
/// that the far tail needs no branch.
HWY_INLINE Vec cdf(Vec z) {
  const Tag d;
  constexpr double above[] = {3.52624965998911e-02, 0.700383064443688, 6.37396220353165,
                              33.912866078383,      112.079291497871,  221.213596169931,
                              220.206867912376};
  constexpr double below[] = {8.83883476483184e-02, 1.75566716318264, 16.064177579207,
                              86.7807322029461,     296.564248779674, 637.333633378831,
                              793.826512519948,     440.413735824752};
  const Vec size = hn::Min(hn::Abs(z), hn::Set(d, 37.0));
  const Vec density = hn::Exp(d, hn::Mul(hn::Mul(size, size), hn::Set(d, -0.5)));
  const Vec tail = hn::Div(hn::Mul(density, polynomial(size, above)), polynomial(size, below));
  return hn::IfThenElse(hn::Gt(z, hn::Zero(d)), hn::Sub(hn::Set(d, 1.0), tail), tail);
}

/// Rational in the middle 99.8 %, so wide that a whole vector seldom leaves it: our own minimax fit
/// of degree 8 by 8 in p (1 - p), where all coefficients are positive (in (p - 1/2)^2 they cancel);
/// relative error 3.1e-9. Tails: rational in sqrt(-2 ln p).
/// Source of the tails: P. J. Acklam, An algorithm for computing the inverse normal cumulative
/// distribution function (2003), relative error 1.2e-9.
HWY_INLINE Vec quantile(Vec p) {
  const Tag d;
  constexpr double middle_above[] = {
      0.73968614363209486,   3.0974666214390292,     1.4719042372661206,
      0.1703571378340892,    0.0059561523872102031,  6.6854852021112915e-5,
      2.3326593862126239e-7, 2.1727316122306367e-10, 3.3808642227573607e-14};
  constexpr double middle_below[] = {1.0,
                                     1.6901650709387553,
                                     0.53060930569197816,
                                     0.04701984927417982,
                                     0.001350449934115163,
                                     1.2945466926851172e-5,
                                     3.9370110513632778e-8,
                                     3.2067642718627594e-11,
                                     4.2230703982518057e-15};
  constexpr double tail_above[] = {-7.784894002430293e-03, -3.223964580411365e-01,
                                   -2.400758277161838e+00, -2.549732539343734e+00,
                                   4.374664141464968e+00,  2.938163982698783e+00};
  constexpr double tail_below[] = {7.784695709041462e-03, 3.224671290700398e-01,
                                   2.445134137142996e+00, 3.754408661907416e+00, 1.0};
  const Vec half = hn::Set(d, 0.5);
  const Vec q = hn::Sub(p, half);
  const Vec r = hn::Mul(p, hn::Sub(hn::Set(d, 1.0), p));
  const Vec middle = hn::Div(hn::Mul(q, polynomial(r, middle_above)), polynomial(r, middle_below));
  const auto in_middle = hn::Le(hn::Abs(q), hn::Set(d, 0.499));
  if (hn::AllTrue(d, in_middle)) return middle;
  const Vec rarer = hn::Max(hn::Min(p, hn::Sub(hn::Set(d, 1.0), p)), hn::Set(d, 1e-300));
  const Vec t = hn::Sqrt(hn::Mul(hn::Set(d, -2.0), hn::Log(d, rarer)));
  const Vec tail = hn::Div(polynomial(t, tail_above), polynomial(t, tail_below));
  return hn::IfThenElse(in_middle, middle,
                        hn::IfThenElse(hn::Gt(q, hn::Zero(d)), hn::Neg(tail), tail));
}

/// The tightest of some limits at the variables drawn so far.
template <bool upper>
HWY_INLINE Vec limit(const double* numbers, int limits, std::size_t drawn, const double* z,
                     std::size_t step) {
  const Tag d;
  Vec tightest = hn::Set(d, upper ? 40.0 : -40.0);
  for (int k = 0; k < limits; ++k, numbers += drawn + 1) {
    Vec value = hn::Set(d, numbers[0]);
    for (std::size_t v = 0; v < drawn; ++v) {
      value = hn::MulAdd(hn::Set(d, numbers[v + 1]), hn::LoadU(d, z + v * step), value);
    }
    tightest = upper ? hn::Min(tightest, value) : hn::Max(tightest, value);
  }
  return tightest;
}

/// The interval of one variable on the probability scale, mirrored where it lies above zero, so
/// that small tails keep their digits.
struct Span {
  Vec low, width;
  hn::Mask<Tag> mirrored;
};

HWY_INLINE Span span_of(const Conditioning& c, std::size_t stage, const double* z,
                        std::size_t step = stride) {
  const Tag d;
  const Stage& s = c.stages[stage];
  const double* lower = c.numbers.data() + s.first;
  const double* upper = lower + static_cast<std::size_t>(s.lower) * (stage + 1);
  const Vec low = limit<false>(lower, s.lower, stage, z, step);
  const Vec high = limit<true>(upper, s.upper, stage, z, step);
  const auto mirrored = hn::Gt(low, hn::Zero(d));
  const Vec from = hn::IfThenElse(mirrored, hn::Neg(high), low);
  const Vec to = hn::IfThenElse(mirrored, hn::Neg(low), high);
  const Vec p_from = s.lower == 0 ? hn::Zero(d) : cdf(from);
  const Vec p_to = s.upper == 0 && s.lower == 0 ? hn::Set(d, 1.0) : cdf(to);
  return {p_from, hn::Max(hn::Sub(p_to, p_from), hn::Zero(d)), mirrored};
}

/// Narrows the limits of the last variable to what is within the ball.
HWY_INLINE void enter(const Ball& ball, std::size_t drawn, const double* z, Vec& low, Vec& high) {
  const Tag d;
  Vec square = hn::Set(d, -ball.limit), slope = hn::Zero(d);
  double turn = 0.0;
  for (std::size_t j = 0; j < 3; ++j) {
    Vec off = hn::Set(d, ball.off[j]);
    for (std::size_t v = 0; v < drawn; ++v)
      off = hn::MulAdd(hn::Set(d, ball.rows[3 * v + j]), hn::LoadU(d, z + v * stride), off);
    square = hn::MulAdd(off, off, square);
    slope = hn::MulAdd(off, hn::Set(d, ball.step[j]), slope);
    turn += ball.step[j] * ball.step[j];
  }
  turn = std::max(turn, 1e-300);
  const Vec room = hn::NegMulAdd(hn::Set(d, turn), square, hn::Mul(slope, slope));
  const Vec half = hn::Sqrt(hn::Max(room, hn::Zero(d))), by = hn::Set(d, 1.0 / turn);
  const auto misses = hn::Lt(room, hn::Zero(d));
  const Vec most = hn::Set(d, 40.0);
  low = hn::Max(low, hn::IfThenElse(misses, most, hn::Mul(hn::Neg(hn::Add(slope, half)), by)));
  high = hn::Min(high, hn::IfThenElse(misses, hn::Neg(most), hn::Mul(hn::Sub(half, slope), by)));
}

/// P(the last variable is within its limits and the balls).
HWY_INLINE Vec room_of(const Conditioning& c, std::span<const Ball> balls, const double* z) {
  const Tag d;
  const std::size_t last = c.stages.size() - 1;
  if (balls.empty()) return span_of(c, last, z).width;
  const Stage& s = c.stages[last];
  const double* lower = c.numbers.data() + s.first;
  const double* upper = lower + static_cast<std::size_t>(s.lower) * (last + 1);
  Vec low = limit<false>(lower, s.lower, last, z, stride);
  Vec high = limit<true>(upper, s.upper, last, z, stride);
  for (const Ball& ball : balls) enter(ball, last, z, low, high);
  const auto mirrored = hn::Gt(low, hn::Zero(d));
  const Vec from = hn::IfThenElse(mirrored, hn::Neg(high), low);
  const Vec to = hn::IfThenElse(mirrored, hn::Neg(low), high);
  return hn::Max(hn::Sub(cdf(to), cdf(from)), hn::Zero(d));
}

/// A lattice coordinate folded by the tent map 1 - |2 u - 1|, which makes it periodic.
/// Source: Hickernell, in Monte Carlo and Quasi-Monte Carlo Methods 2000 (Springer 2002) 274.
HWY_INLINE Vec folded(double base, const double* shift) {
  const Tag d;
  const Vec one = hn::Set(d, 1.0);
  const Vec moved = hn::Add(hn::Set(d, base), hn::LoadU(d, shift));
  const Vec u = hn::IfThenElse(hn::Ge(moved, one), hn::Sub(moved, one), moved);
  return hn::Sub(one, hn::Abs(hn::Sub(hn::Add(u, u), one)));
}

HWY_INLINE Vec draw(const Span& span, Vec u) {
  const Tag d;
  const Vec placed = hn::IfThenElse(span.mirrored, hn::Sub(hn::Set(d, 1.0), u), u);
  const Vec z = quantile(hn::MulAdd(placed, span.width, span.low));
  const Vec most = hn::Set(d, 37.0);
  const Vec bounded = hn::Max(hn::Min(z, most), hn::Neg(most));
  return hn::IfThenElse(span.mirrored, hn::Neg(bounded), bounded);
}

/// The means of some neighbouring hands. Variable by variable over a block of points: their long
/// chains of dependent steps then overlap.
HWY_INLINE Vec mean_of_hands(const Conditioning& c, const Lattice& lattice,
                             std::span<const Ball> balls, std::size_t hand, double* z) {
  const Tag d;
  const std::size_t last = c.stages.size() - 1;
  const std::uint32_t points = 1U << (lattice.level - hands_level);
  const double scale = 1.0 / points;
  const Span first = span_of(c, 0, z);  // the same at every point
  HWY_ALIGN double weight[stride];
  Vec sum = hn::Zero(d);
  for (std::uint32_t k = 0; k < points; k += block) {
    const std::uint32_t here = points - k < block ? points - k : block;
    for (std::size_t v = 0; v < last; ++v) {
      const std::uint32_t generator = lattice.generator[v];
      const double* shift = lattice.shift.data() + v * hands + hand;
      for (std::uint32_t b = 0; b < here; ++b) {
        double* at = z + b * hands;
        const Span span = v == 0 ? first : span_of(c, v, at);
        const Vec before = v == 0 ? hn::Set(d, 1.0) : hn::LoadU(d, weight + b * hands);
        const double base = static_cast<double>(((k + b) * generator) & (points - 1U)) * scale;
        hn::StoreU(hn::Mul(before, span.width), d, weight + b * hands);
        hn::StoreU(draw(span, folded(base, shift)), d, at + v * stride);
      }
    }
    for (std::uint32_t b = 0; b < here; ++b) {
      const Vec room = room_of(c, balls, z + b * hands);
      sum = hn::MulAdd(hn::LoadU(d, weight + b * hands), room, sum);
    }
  }
  return hn::Mul(sum, hn::Set(d, scale));
}

void means_over(const Conditioning& c, const Lattice& lattice, std::span<const Ball> balls,
                double* means) {
  const Tag d;
  HWY_ALIGN double z[static_cast<std::size_t>(most_variables) * stride];
  for (std::size_t hand = 0; hand < hands; hand += hn::Lanes(d)) {
    hn::StoreU(mean_of_hands(c, lattice, balls, hand, z), d, means + hand);
  }
}

void draw_points(const Conditioning& c, const Lattice& lattice, std::uint32_t from,
                 std::size_t count, Drawn& into) {
  const Tag d;
  const std::size_t last = c.stages.size() - 1;
  const std::uint32_t points = 1U << (lattice.level - hands_level);
  const double scale = 1.0 / points;
  const Stage& stage = c.stages[last];
  const double* lower = c.numbers.data() + stage.first;
  const double* upper = lower + static_cast<std::size_t>(stage.lower) * (last + 1);
  for (std::size_t r = 0; r < count; r += hn::Lanes(d)) {
    double* at = into.z.data() + r;
    const std::uint32_t point = from + static_cast<std::uint32_t>(r / hands);
    Vec weight = hn::Set(d, 1.0);
    for (std::size_t v = 0; v < last; ++v) {
      const double base =
          static_cast<double>((point * lattice.generator[v]) & (points - 1U)) * scale;
      const Span span = span_of(c, v, at, count);
      weight = hn::Mul(weight, span.width);
      const double* shift = lattice.shift.data() + v * hands + r % hands;
      hn::StoreU(draw(span, folded(base, shift)), d, at + v * count);
    }
    hn::StoreU(weight, d, into.weight.data() + r);
    hn::StoreU(limit<false>(lower, stage.lower, last, at, count), d, into.low.data() + r);
    hn::StoreU(limit<true>(upper, stage.upper, last, at, count), d, into.high.data() + r);
  }
}

void batch_cdf(const double* z, double* p, std::size_t count) {
  const Tag d;
  for (std::size_t k = 0; k < count; k += hn::Lanes(d))
    hn::StoreU(cdf(hn::LoadU(d, z + k)), d, p + k);
}

void batch_quantile(const double* p, double* z, std::size_t count) {
  const Tag d;
  for (std::size_t k = 0; k < count; k += hn::Lanes(d)) {
    hn::StoreU(quantile(hn::LoadU(d, p + k)), d, z + k);
  }
}

}  // namespace vialwright::conformity::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
#include "error/error.hpp"

namespace vialwright::conformity {

HWY_EXPORT(means_over);
HWY_EXPORT(draw_points);
HWY_EXPORT(batch_cdf);
HWY_EXPORT(batch_quantile);

std::array<double, hands> means_over(const Conditioning& conditioning, const Lattice& lattice,
                                     std::span<const Ball> balls) {
  const std::size_t stages = conditioning.stages.size();
  require(stages >= 2 && stages <= static_cast<std::size_t>(most_variables),
          "between 2 and 128 independent variables");
  require(lattice.generator.size() + 1 == stages, "a lattice dimension for all variables but one");
  std::array<double, hands> means{};
  HWY_DYNAMIC_DISPATCH(means_over)(conditioning, lattice, balls, means.data());
  return means;
}

void draw_points(const Conditioning& conditioning, const Lattice& lattice, std::uint32_t from,
                 std::uint32_t points, Drawn& into) {
  const std::size_t stages = conditioning.stages.size();
  require(stages >= 1 && lattice.generator.size() + 1 == stages,
          "a lattice dimension for all variables but one");
  into.count = static_cast<std::size_t>(points) * hands;
  into.z.resize((stages - 1) * into.count);
  for (auto* each : {&into.weight, &into.low, &into.high}) each->resize(into.count);
  HWY_DYNAMIC_DISPATCH(draw_points)(conditioning, lattice, from, into.count, into);
}

void batch_cdf(std::span<const double> z, std::span<double> p) {
  require(z.size() == p.size() && z.size() % hands == 0, "equal sizes, a multiple of 8");
  HWY_DYNAMIC_DISPATCH(batch_cdf)(z.data(), p.data(), z.size());
}

void batch_quantile(std::span<const double> p, std::span<double> z) {
  require(z.size() == p.size() && z.size() % hands == 0, "equal sizes, a multiple of 8");
  HWY_DYNAMIC_DISPATCH(batch_quantile)(p.data(), z.data(), z.size());
}

std::vector<VectorPath> vector_paths() {
  std::vector<VectorPath> paths;
  for (const std::int64_t target : hwy::SupportedAndGeneratedTargets()) {
    paths.push_back({target, hwy::TargetName(target)});
  }
  return paths;
}

void force_vector_path(std::int64_t id) {
  hwy::SetSupportedTargetsForTest(id);
  hwy::GetChosenTarget().Update(hwy::SupportedTargets());
}

}  // namespace vialwright::conformity
#endif  // HWY_ONCE
