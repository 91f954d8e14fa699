#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>

#include "colour/colour.hpp"
#include "support/random.hpp"

namespace vialwright::colour {
namespace {

constexpr Observer observers[] = {Observer::cie1931, Observer::cie1964};
constexpr Illuminant illuminants[] = {Illuminant::a, Illuminant::d50, Illuminant::d65};

TEST(Display, WhiteAndBlackUnderEveryWhite) {
  for (const Observer o : observers)
    for (const Illuminant i : illuminants) {
      const Xyz white = weights(o, i).white;
      EXPECT_EQ(display({100.0, 0.0, 0.0}, white).hex(), "#ffffff");
      EXPECT_EQ(display({0.0, 0.0, 0.0}, white).hex(), "#000000");
      EXPECT_TRUE(display({100.0, 0.0, 0.0}, white).displayable);
    }
}

RC_GTEST_PROP(Display, GreyStaysGreyUnderEveryWhite, (unsigned seed)) {
  support::Random random(seed);
  const Xyz white = weights(observers[random.below(2)], illuminants[random.below(3)]).white;
  const Display shown = display({random.uniform(0.0, 100.0), 0.0, 0.0}, white);
  RC_ASSERT(shown.red == shown.green);
  RC_ASSERT(shown.green == shown.blue);
  RC_ASSERT(shown.displayable);
}

// IEC 61966-2-1: the middle code 128 is 0.2158605 linear (by hand ((128 / 255 + 0.055)
// / 1.055)^2.4), which is L* 53.585.
TEST(Display, MiddleGreyByHand) {
  EXPECT_EQ(display({53.585, 0.0, 0.0}, weights(Observer::cie1931, Illuminant::d65).white).hex(),
            "#808080");
}

// Source: Lab of the sRGB primaries under D65, 2 degrees, as many published calculators give them
// (from memory, two decimals): red 53.24, 80.09, 67.20; green 87.73, -86.18, 83.18; blue 32.30,
// 79.19, -107.86. A 1 in a code is the two decimals at the edge of the gamut.
TEST(Display, PrimariesBackFromTheirPublishedLab) {
  const Xyz white{95.047, 100.0, 108.883};
  const Display red = display({53.24, 80.09, 67.20}, white);
  EXPECT_NEAR(red.red, 255, 1);
  EXPECT_NEAR(red.green, 0, 2);
  EXPECT_NEAR(red.blue, 0, 2);
  const Display green = display({87.73, -86.18, 83.18}, white);
  EXPECT_NEAR(green.red, 0, 8);  // steep there: 0.001 of red light is three codes
  EXPECT_NEAR(green.green, 255, 1);
  EXPECT_NEAR(green.blue, 0, 8);
  const Display blue = display({32.30, 79.19, -107.86}, white);
  EXPECT_NEAR(blue.red, 0, 2);
  EXPECT_NEAR(blue.green, 0, 8);
  EXPECT_NEAR(blue.blue, 255, 1);
}

/// Lab, under the white of the display, of three codes: the standard's other direction, with its
/// printed matrix (four decimals).
Lab lab_of_codes(const Display& shown) {
  const auto linear = [](int code) {
    const double v = code / 255.0;
    return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4);
  };
  const double r = linear(shown.red), g = linear(shown.green), b = linear(shown.blue);
  const Xyz made{41.24 * r + 35.76 * g + 18.05 * b, 21.26 * r + 71.52 * g + 7.22 * b,
                 1.93 * r + 11.92 * g + 95.05 * b};
  return lab(made, {95.05, 100.0, 108.90});
}

// Source: IEC 61966-2-1, the printed matrix from red, green, blue to X, Y, Z. One code is up to 0.5
// in L*, 1 in a* and b* for dark colours; the matrix's rounding is below that.
RC_GTEST_PROP(Display, WhatCanBeShownIsShownTrue, (unsigned seed)) {
  support::Random random(seed);
  Display any;
  any.red = static_cast<std::uint8_t>(random.below(256));
  any.green = static_cast<std::uint8_t>(random.below(256));
  any.blue = static_cast<std::uint8_t>(random.below(256));
  const Lab start = lab_of_codes(any);
  const Display shown = display(start, {95.05, 100.0, 108.90});
  const Lab back = lab_of_codes(shown);
  RC_ASSERT(difference_76(start, back) < 1.5);
}

TEST(Display, WhatCannotBeShownKeepsLightnessAndHueAndSaysSo) {
  const Xyz white = weights(Observer::cie1931, Illuminant::d65).white;
  support::Random random(61);
  int outside = 0;
  for (int i = 0; i < 2'000; ++i) {
    const Lab start{random.uniform(20.0, 90.0), random.uniform(-120.0, 120.0),
                    random.uniform(-120.0, 120.0)};
    const Display shown = display(start, white);
    if (shown.displayable) continue;
    ++outside;
    const Lab back = lab_of_codes(shown);
    EXPECT_NEAR(back.l, start.l, 0.6);  // one code
    EXPECT_LT(lch(back).c, lch(start).c + 1.0);
    const auto [low, high] = std::minmax({shown.red, shown.green, shown.blue});
    EXPECT_TRUE(low <= 1 || high >= 254) << shown.hex();  // no more chroma than it must lose
    if (lch(back).c < 20.0) continue;                     // near grey one code turns the hue
    const double turned = std::remainder(lch(back).h - lch(start).h, 360.0);
    EXPECT_LT(std::abs(turned) * lch(back).c * 0.0175, 2.0) << i;  // along the arc, two codes
  }
  EXPECT_GT(outside, 500);
}

TEST(Display, BrighterThanWhiteIsWhiteAndSaysSo) {
  const Display shown =
      display({104.0, 0.0, 0.0}, weights(Observer::cie1931, Illuminant::d65).white);
  EXPECT_EQ(shown.hex(), "#ffffff");
  EXPECT_FALSE(shown.displayable);
}

}  // namespace
}  // namespace vialwright::colour
