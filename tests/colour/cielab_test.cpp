#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <complex>

#include "colour/colour.hpp"
#include "support/random.hpp"

namespace vialwright::colour {
namespace {

Xyz d65() { return weights(Observer::cie1931, Illuminant::d65).white; }

TEST(Cielab, WhiteIsOneHundredAndBlackIsZero) {
  EXPECT_EQ(lab(d65(), d65()), (Lab{100.0, 0.0, 0.0}));
  const Lab black = lab({0.0, 0.0, 0.0}, d65());
  EXPECT_NEAR(black.l, 0.0, 1e-14);
  EXPECT_NEAR(black.a, 0.0, 1e-14);
}

// Y of 18.41865 % is L* 50 (((50 + 16) / 116)^3 = 35937 / 195112); 12.5 % has the root 0.5.
TEST(Cielab, LightnessByHand) {
  EXPECT_NEAR(lab({12.5, 12.5, 12.5}, {100.0, 100.0, 100.0}).l, 42.0, 1e-13);
  EXPECT_NEAR(lab({20.0, 18.41865, 20.0}, {100.0, 100.0, 100.0}).l, 50.0, 1e-5);
  EXPECT_NEAR(lab({0.0, 0.1, 0.0}, {100.0, 100.0, 100.0}).l, 0.1 * 9.033, 5e-5);  // 903.3 Y / Yn
}

TEST(Cielab, TheTwoPiecesMeetWithTheSameSlope) {
  const double bend = 100.0 * std::pow(6.0 / 29.0, 3), step = 1e-9;
  const Xyz white{100.0, 100.0, 100.0};
  Eigen::Matrix3d below, above;
  const Lab one = lab({bend, bend * (1 - step), bend}, white, below);
  const Lab other = lab({bend, bend * (1 + step), bend}, white, above);
  EXPECT_NEAR(one.l, other.l, 1e-7);  // the steps of 1e-9 and the slope of 8
  EXPECT_NEAR(below(0, 1), above(0, 1), 1e-7);
}

/// The formula again, on complex numbers: the imaginary part of f(x + i h) / h is the derivative to
/// the last bits, with no difference of near numbers.
std::complex<double> f(std::complex<double> t) {
  if (t.real() > std::pow(6.0 / 29.0, 3)) return std::pow(t, 1.0 / 3.0);
  return t * (std::pow(29.0 / 6.0, 2) / 3.0) + 4.0 / 29.0;
}

TEST(Cielab, GradientAgainstAComplexStepAtAThousandPoints) {
  support::Random random(11);
  const double h = 1e-30;
  const Xyz white = d65();
  for (int point = 0; point < 1000; ++point) {
    const double scale = point % 4 == 0 ? 2.0 : 110.0;  // every fourth in the dark, on both pieces
    const double at[3] = {scale * random.uniform(), scale * random.uniform(),
                          scale * random.uniform()};
    Eigen::Matrix3d gradient;
    const Lab value = lab({at[0], at[1], at[2]}, white, gradient);
    EXPECT_EQ(value, lab({at[0], at[1], at[2]}, white));
    for (int j = 0; j < 3; ++j) {
      std::complex<double> t[3];
      const double whites[3] = {white.x, white.y, white.z};
      for (int k = 0; k < 3; ++k) t[k] = std::complex<double>(at[k], k == j ? h : 0.0) / whites[k];
      const auto l = 116.0 * f(t[1]) - 16.0, a = 500.0 * (f(t[0]) - f(t[1])),
                 b = 200.0 * (f(t[1]) - f(t[2]));
      const double size = 1e-12 * (1.0 + gradient.col(j).lpNorm<Eigen::Infinity>());  // rounding
      EXPECT_NEAR(gradient(0, j), l.imag() / h, size);
      EXPECT_NEAR(gradient(1, j), a.imag() / h, size);
      EXPECT_NEAR(gradient(2, j), b.imag() / h, size);
    }
  }
}

RC_GTEST_PROP(Cielab, GoesThereAndBack, (unsigned seed)) {
  support::Random random(seed);
  const Xyz white = weights(Observer::cie1964, Illuminant::a).white;
  const Xyz start{random.uniform(-1.0, 120.0), random.uniform(-1.0, 120.0),
                  random.uniform(-1.0, 120.0)};
  const Xyz back = xyz(lab(start, white), white);
  RC_ASSERT(std::abs(back.x - start.x) < 1e-11);  // rounding of values near 100, cubed
  RC_ASSERT(std::abs(back.y - start.y) < 1e-11);
  RC_ASSERT(std::abs(back.z - start.z) < 1e-11);
}

RC_GTEST_PROP(Cielab, HueAndChromaGiveTheColourBack, (unsigned seed)) {
  support::Random random(seed);
  const Lab start{50.0, random.uniform(-120.0, 120.0), random.uniform(-120.0, 120.0)};
  const Lch made = lch(start);
  RC_ASSERT(made.h >= 0.0);
  RC_ASSERT(made.h < 360.0);
  const double angle = made.h * std::acos(-1.0) / 180.0;
  RC_ASSERT(std::abs(made.c * std::cos(angle) - start.a) < 1e-11);
  RC_ASSERT(std::abs(made.c * std::sin(angle) - start.b) < 1e-11);
}

TEST(Lch, HueStaysBelowThreeHundredAndSixty) {
  EXPECT_EQ(lch({50.0, 10.0, -1e-20}).h, 0.0);  // -1e-19 degrees + 360 rounds to 360
  EXPECT_EQ(lch({50.0, 0.0, 0.0}).h, 0.0);
  EXPECT_EQ(lch({50.0, 0.0, -3.0}).h, 270.0);
  EXPECT_EQ(lch({50.0, -3.0, 0.0}).h, 180.0);
}

TEST(Cielab, DifferenceOf1976IsEuclid) {
  EXPECT_NEAR(difference_76({50.0, 2.0, 3.0}, {52.0, 5.0, 9.0}), 7.0, 1e-14);  // 2, 3, 6
}

}  // namespace
}  // namespace vialwright::colour
