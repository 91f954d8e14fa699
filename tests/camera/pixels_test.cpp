#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

#include "camera/camera.hpp"
#include "camera/simulated_camera.hpp"
#include "support/random.hpp"

namespace vialwright::camera {
namespace {

using ::testing::HasSubstr;
using Pixels = std::vector<Eigen::Vector3d>;

const Eigen::Vector3d dark_level{64.0, 64.0, 64.0};

Pixels even(int count, double r, double g, double b) {
  return Pixels(static_cast<std::size_t>(count), Eigen::Vector3d(r, g, b));
}

TEST(Counts, AreTheMedianOfEachChannel) {
  Pixels pixels = even(25, 1000.0, 900.0, 800.0);
  for (int i = 0; i < 10; ++i) pixels.emplace_back(3000.0, 950.0, 100.0);  // bubbles
  const auto made = counts(pixels, dark_level, {}, "vial 7");
  ASSERT_TRUE(made.has_value());
  EXPECT_EQ(made->value, Eigen::Vector3d(1000.0, 900.0, 800.0));
  EXPECT_EQ(made->used, 35);
  pixels = even(13, 1000.0, 900.0, 800.0);
  for (int i = 0; i < 13; ++i) pixels.emplace_back(1002.0, 900.0, 801.0);
  EXPECT_EQ(counts(pixels, dark_level, {}, "")->value, Eigen::Vector3d(1001.0, 900.0, 800.5));
}

// The limits are counted by hand: 95 % of 4095 is 3890.25; dark is below 64 + 20.
TEST(Counts, LeaveOutClippedAndDarkPixels) {
  Pixels pixels = even(97, 1000.0, 900.0, 800.0);
  pixels.emplace_back(3891.0, 900.0, 800.0);
  pixels.emplace_back(3890.0, 900.0, 800.0);
  pixels.emplace_back(1000.0, 83.0, 800.0);
  const auto made = counts(pixels, dark_level, {}, "");
  ASSERT_TRUE(made.has_value());
  EXPECT_EQ(made->used, 98);
  EXPECT_EQ(made->clipped, 1);
  EXPECT_EQ(made->dark, 1);
}

TEST(Counts, ARegionThatIsMostlyBadIsRefusedWithTheReason) {
  Pixels pixels = even(90, 1000.0, 900.0, 800.0);
  for (int i = 0; i < 10; ++i) pixels.emplace_back(4095.0, 900.0, 800.0);
  const auto clipped = counts(pixels, dark_level, {}, "vial 7");
  ASSERT_FALSE(clipped.has_value());
  EXPECT_THAT(clipped.error().what, HasSubstr("of 100 pixels 10 are clipped"));
  EXPECT_THAT(clipped.error().mend, HasSubstr("shorten the exposure"));
  EXPECT_EQ(clipped.error().where, "vial 7");
  const auto dark = counts(even(100, 70.0, 70.0, 70.0), dark_level, {}, "vial 8");
  ASSERT_FALSE(dark.has_value());
  EXPECT_THAT(dark.error().what, HasSubstr("100 too dark"));
  EXPECT_THAT(dark.error().mend, HasSubstr("lengthen the exposure"));
  EXPECT_TRUE(counts(even(100, 70.0, 70.0, 70.0), std::nullopt, {}, "dark").has_value());
  EXPECT_FALSE(counts(even(24, 1000.0, 900.0, 800.0), dark_level, {}, "few").has_value());
  EXPECT_FALSE(counts(even(100, std::nan(""), 900.0, 800.0), dark_level, {}, "nan").has_value());
}

// The stated covariance against the scatter of 4,000 simulated medians; the median's own pi / 2 is
// for large samples (1 % off at 101 pixels), a variance of 4,000 draws is known to 2.2 %: 8 %.
TEST(Counts, CovarianceIsThatOfManyMedians) {
  support::Random random(81);
  Eigen::Matrix3d mixing;
  mixing << 12.0, 0.0, 0.0, 6.0, 9.0, 0.0, -3.0, 2.0, 8.0;
  Eigen::Matrix3d scatter = Eigen::Matrix3d::Zero(), stated = Eigen::Matrix3d::Zero();
  const Eigen::Vector3d level{1200.0, 1000.0, 800.0};
  const int trials = 4000;
  for (int trial = 0; trial < trials; ++trial) {
    Pixels pixels;
    for (int i = 0; i < 101; ++i) pixels.push_back(level + mixing * testing::normal3(random));
    const auto made = counts(pixels, dark_level, {}, "");
    ASSERT_TRUE(made.has_value());
    scatter += (made->value - level) * (made->value - level).transpose() / trials;
    stated += made->covariance / trials;
  }
  for (int c = 0; c < 3; ++c) EXPECT_NEAR(stated(c, c) / scatter(c, c), 1.0, 0.08) << c;
}

// Medians of two channels go together less than their pixels do: arcsine of the correlation
// (known for normal noise). So the covariance between channels is stated a little too large.
TEST(Counts, ChannelsThatGoTogetherAreSaidTo) {
  support::Random random(82);
  Pixels pixels;
  for (int i = 0; i < 400; ++i) {
    const double shared = random.normal();
    pixels.emplace_back(1000.0 + 10.0 * shared, 900.0 + 10.0 * shared, 800.0);
  }
  const auto made = counts(pixels, dark_level, {}, "");
  EXPECT_NEAR(made->covariance(0, 1) / made->covariance(0, 0), 1.0, 1e-9);
  EXPECT_EQ(made->covariance(2, 2), 0.0);
}

Counts at(const Eigen::Vector3d& value, double sd) {
  return {value, Eigen::Matrix3d(Eigen::Vector3d::Constant(sd * sd).asDiagonal()), 100, 0, 0};
}
Signal signal_at(const Eigen::Vector3d& vial, const Eigen::Vector3d& dark,
                 const Eigen::Vector3d& blank) {
  return signal(at(vial, 0), at(dark, 0), at(blank, 0), {}, "").value();
}

TEST(Signal, IsTheShareOfTheBlanksLight) {
  const Signal made =
      signal_at({564.0, 1064.0, 2064.0}, dark_level, {2064.0, 2064.0, 2064.0});  // 500 of 2000, ...
  EXPECT_NEAR((made.value - Eigen::Vector3d(0.25, 0.5, 1.0)).norm(), 0.0, 1e-15);
}

// Derivatives by central differences of 0.01 counts (error below 1e-9 of the value).
TEST(Signal, CarriesTheDoubtOfVialDarkAndBlank) {
  const Eigen::Vector3d vial{700.0, 1500.0, 900.0}, blank{2500.0, 2900.0, 2200.0};
  const Signal made = signal(at(vial, 3.0), at(dark_level, 1.0), at(blank, 2.0), {}, "").value();
  const double h = 0.01;
  for (int c = 0; c < 3; ++c) {
    const Eigen::Vector3d step = h * Eigen::Vector3d::Unit(c);
    const auto slope = [&](const Signal& up, const Signal& down) {
      return (up.value[c] - down.value[c]) / (2.0 * h);
    };
    const double by_vial =
        slope(signal_at(vial + step, dark_level, blank), signal_at(vial - step, dark_level, blank));
    const double by_dark =
        slope(signal_at(vial, dark_level + step, blank), signal_at(vial, dark_level - step, blank));
    const double by_blank =
        slope(signal_at(vial, dark_level, blank + step), signal_at(vial, dark_level, blank - step));
    const double expected = 9.0 * by_vial * by_vial + by_dark * by_dark + 4.0 * by_blank * by_blank;
    EXPECT_NEAR(made.covariance(c, c) / expected, 1.0, 1e-7);
  }
}

TEST(Signal, SaysWhichReadingAndChannelCannotBeUsed) {
  const Counts dark = at(dark_level, 1.0), good = at({2000.0, 2000.0, 2000.0}, 1.0);
  const auto clipped = signal(good, dark, at({2000.0, 2000.0, 3900.0}, 1.0), {}, "session 3");
  ASSERT_FALSE(clipped.has_value());
  EXPECT_THAT(clipped.error().what, HasSubstr("blue of the blank is 3900 counts, above 3890"));
  EXPECT_THAT(clipped.error().mend, HasSubstr("shorten"));
  EXPECT_EQ(clipped.error().where, "session 3");
  const auto dark_vial = signal(at({2000.0, 80.0, 2000.0}, 1.0), dark, good, {}, "session 3");
  ASSERT_FALSE(dark_vial.has_value());
  EXPECT_THAT(dark_vial.error().what, HasSubstr("green of the vial is 16 counts above the dark"));
  EXPECT_THAT(dark_vial.error().mend, HasSubstr("lengthen"));
}

TEST(Limits, EachWrongOneIsNamed) {
  EXPECT_TRUE(problems(Limits{}, "line.toml").empty());
  const Problems found = problems(Limits{-1.0, 1.5, 0.0, 1.0, 0}, "line.toml");
  EXPECT_EQ(found.size(), 5u);
  for (const Error& each : found) EXPECT_EQ(each.where, "line.toml");
}

}  // namespace
}  // namespace vialwright::camera
