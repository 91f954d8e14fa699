#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "colour/colour.hpp"
#include "support/random.hpp"

namespace vialwright::colour {
namespace {

using ::testing::HasSubstr;

Spectrum steps() { return {{400.0, 500.0, 510.0, 700.0}, {0.0, 1.0, 1.0, 0.2}}; }

TEST(Spectrum, NodesAreMetAndTheNearestValueHoldsOutside) {
  for (const Between between : {Between::linear, Between::smooth}) {
    EXPECT_EQ(at(steps(), 400.0, between), 0.0);
    EXPECT_NEAR(at(steps(), 510.0, between), 1.0, 1e-15);
    EXPECT_EQ(at(steps(), 350.0, between), 0.0);
    EXPECT_EQ(at(steps(), 900.0, between), 0.2);
  }
}

TEST(Spectrum, LinearMeansTheStraightLine) {
  EXPECT_NEAR(at(steps(), 425.0, Between::linear), 0.25, 1e-15);
  EXPECT_NEAR(at(steps(), 605.0, Between::linear), 0.6, 1e-15);
}

// A straight line is what any interpolation must give back; 1e-13 is rounding of values up to 100.
TEST(Spectrum, SmoothKeepsAStraightLineOnUnevenSteps) {
  const Spectrum line{{400.0, 403.0, 450.0, 451.0, 700.0}, {40.0, 40.3, 45.0, 45.1, 70.0}};
  for (double nm = 400.0; nm <= 700.0; nm += 0.37) EXPECT_NEAR(at(line, nm), nm / 10.0, 1e-13);
}

// Third order: half the step, an eighth of the error away from extrema (here on a rising flank of a
// Gaussian band); a straight line between nodes would only give a quarter.
TEST(Spectrum, SmoothIsOfThirdOrderOnARisingBand) {
  const auto worst = [](double step) {
    Spectrum nodes;
    const auto band = [](double nm) { return std::exp(-0.5 * std::pow((nm - 600.0) / 40.0, 2)); };
    for (double nm = 480.0; nm <= 600.0; nm += step) {
      nodes.nm.push_back(nm);
      nodes.value.push_back(band(nm));
    }
    double largest = 0.0;
    for (double nm = 520.0; nm <= 570.0; nm += 0.1)
      largest = std::max(largest, std::abs(at(nodes, nm) - band(nm)));
    return largest;
  };
  EXPECT_LT(worst(5.0), worst(10.0) / 7.0);
  EXPECT_LT(worst(5.0), 1e-4);
}

RC_GTEST_PROP(Spectrum, SmoothNeverOvershootsItsTwoNodes, (unsigned seed)) {
  support::Random random(seed);
  Spectrum any;
  double nm = 380.0;
  for (int i = 0; i < 12; ++i) {
    any.nm.push_back(nm);
    any.value.push_back(random.uniform(0.0, 3.0));
    nm += random.uniform(0.5, 40.0);
  }
  for (std::size_t i = 0; i + 1 < any.nm.size(); ++i)
    for (double share = 0.0; share < 1.0; share += 0.05) {
      const double value = at(any, any.nm[i] + share * (any.nm[i + 1] - any.nm[i]));
      RC_ASSERT(value >= std::min(any.value[i], any.value[i + 1]));
      RC_ASSERT(value <= std::max(any.value[i], any.value[i + 1]));
    }
}

// A curve with slope 0 at its peak node is off by the square of the distance beside it, 1e-10;
// a slope would give 1e-6.
TEST(Spectrum, SmoothIsFlatAtAPeak) {
  const Spectrum peak{{400.0, 410.0, 430.0}, {0.0, 1.0, 0.3}};
  for (const double side : {-1e-4, 1e-4}) EXPECT_NEAR(at(peak, 410.0 + side), 1.0, 1e-8);
  const Spectrum dip{{400.0, 410.0, 430.0}, {1.0, 0.2, 0.5}};
  for (const double side : {-1e-4, 1e-4}) EXPECT_NEAR(at(dip, 410.0 + side), 0.2, 1e-8);
}

TEST(Spectrum, OnAGridIsOneByOne) {
  const Grid grid{410.0, 450.0, 10.0};
  const std::vector<double> values = on(steps(), grid);
  ASSERT_EQ(values.size(), 5u);
  for (int i = 0; i < 5; ++i)
    EXPECT_EQ(values[static_cast<std::size_t>(i)], at(steps(), 410.0 + 10.0 * i));
}

TEST(Grid, SizeCountsTheEndWhenAStepMeetsIt) {
  EXPECT_EQ((Grid{380.0, 780.0, 5.0}).size(), 81);
  EXPECT_EQ((Grid{400.0, 700.0, 0.1}).size(), 3001);  // 0.1 is no binary number
  EXPECT_EQ((Grid{400.0, 709.0, 10.0}).size(), 31);
  EXPECT_EQ((Grid{400.0, 400.0, 10.0}).size(), 1);
  EXPECT_EQ((Grid{400.0, 300.0, 10.0}).size(), 0);
  EXPECT_EQ((Grid{400.0, 700.0, 0.0}).size(), 0);
}

TEST(SpectrumProblems, NoneWhereNothingIsWrong) { EXPECT_TRUE(problems(steps(), "x").empty()); }

TEST(SpectrumProblems, EachIsNamedWithPlaceAndMend) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const Problems found = problems({{400.0, 390.0, 500.0}, {1.0, nan}}, "rose.csv");
  ASSERT_EQ(found.size(), 3u);
  for (const Error& each : found) {
    EXPECT_EQ(each.where, "rose.csv");
    EXPECT_FALSE(each.mend.empty());
  }
  EXPECT_THAT(found[0].what, HasSubstr("3 wavelengths but 2 values"));
  EXPECT_THAT(found[1].what, HasSubstr("390 follows 400"));
  EXPECT_THAT(found[2].what, HasSubstr("value 2 is nan"));
  EXPECT_THAT(problems({{500.0}, {1.0}}, "x")[0].mend, HasSubstr("at least two"));
  EXPECT_THAT(problems({{-1.0, 500.0}, {1.0, 1.0}}, "x")[0].what, HasSubstr("wavelength 1 is -1"));
}

}  // namespace
}  // namespace vialwright::colour
