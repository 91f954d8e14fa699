// The worked colour of the demonstration tint: what it looks like, how it moves, what cameras and
// round vials make of it.
// Source of the printed figures: the project's domain notes, section 4 (invented system; computed
// there apart from this program). A figure holds to half a unit of its last digit, unless said.
#include <gtest/gtest.h>

#include <Eigen/LU>
#include <algorithm>
#include <numbers>

#include "mixing/tints.hpp"

namespace vialwright::mixing::testing {
namespace {

using Eigen::VectorXd;

const recipe::Book book = tint_book();
const View& view() {
  static const View view(book, seen_in(2.0));
  return view;
}

VectorXd with(double yellow_by, double teal_by) {
  VectorXd amounts = green();
  amounts[yellow] *= yellow_by;
  amounts[teal] *= teal_by;
  return amounts;
}
double from_green(const VectorXd& amounts) {
  return colour::difference_00(view().lab(amounts), view().lab(green()));
}

TEST(WorkedColours, OfTheGreen) {
  const colour::Lab lab = view().lab(green());
  const colour::Xyz xyz = colour::xyz(lab, view().white());
  EXPECT_NEAR(view().white().x, 95.04297, 5e-6);
  EXPECT_NEAR(view().white().z, 108.88005, 5e-6);
  EXPECT_NEAR(xyz.x, 44.0253, 5e-5);
  EXPECT_NEAR(xyz.y, 69.7962, 5e-5);
  EXPECT_NEAR(xyz.z, 27.6300, 5e-5);
  EXPECT_NEAR(lab.l, 86.8968, 5e-5);
  EXPECT_NEAR(lab.a, -56.6516, 5e-5);
  EXPECT_NEAR(lab.b, 50.7868, 5e-5);
}

void expect_tangent(int dye, double step, const Eigen::Vector3d& printed, double half_digit) {
  Gradient gradient;
  (void)view().lab(green(), gradient);
  EXPECT_LT((step * gradient.col(dye) - printed).lpNorm<Eigen::Infinity>(), half_digit) << dye;
}

TEST(WorkedColours, TangentsAtTheGreen) {
  expect_tangent(yellow, 0.01 * 0.0080, {-0.040, -0.023, 0.457}, 5e-4);
  expect_tangent(teal, 0.01 * 0.0030, {-0.051, -0.272, -0.087}, 5e-4);
  expect_tangent(rose, 1e-4, {-0.52, 0.97, -0.17}, 5e-3);  // 0.1 mg/kg that is not of it
}

TEST(WorkedColours, FiniteSteps) {
  VectorXd foreign = green();
  foreign[rose] = 1e-4;
  EXPECT_NEAR(from_green(foreign), 0.44, 5e-3);
  const colour::Lab more_teal = view().lab(with(1.0, 1.08));
  EXPECT_NEAR(more_teal.l, 86.504, 5e-4);
  EXPECT_NEAR(more_teal.a, -58.742, 5e-4);
  EXPECT_NEAR(more_teal.b, 50.112, 5e-4);
  EXPECT_NEAR(from_green(with(1.0, 1.08)), 0.815, 5e-4);
  EXPECT_NEAR(from_green(with(1.03, 0.97)), 0.68, 5e-3);
  EXPECT_NEAR(from_green(1.03 * green()), 0.37, 5e-3);  // a path 3 % longer
  // One small drop, 12 mg of a stock of 0.5 mg/g rose, in 20 g.
  VectorXd drop = green() * (20.0 / 20.012);
  drop[rose] = 0.012 * 0.5 / 20.012;
  EXPECT_NEAR(from_green(drop), 1.30, 5e-3);
}

TEST(WorkedColours, WhatCameraNoiseDoesToADifference) {
  support::Random random(404);
  const colour::Lab truth = view().lab(green());
  std::vector<double> by_76, by_00;
  constexpr int draws = 200'000;
  for (int i = 0; i < draws; ++i) {
    colour::Lab seen = truth;
    seen.l += 0.3 * random.normal(), seen.a += 0.3 * random.normal();
    seen.b += 0.3 * random.normal();
    by_76.push_back(colour::difference_76(seen, truth));
    by_00.push_back(colour::difference_00(seen, truth));
  }
  const auto mean = [](const std::vector<double>& all) {
    double sum = 0.0;
    for (const double each : all) sum += each;
    return sum / static_cast<double>(all.size());
  };
  const auto ninety_five = [](std::vector<double>& all) {
    std::ranges::sort(all);
    return all[all.size() * 95 / 100];
  };
  // A mean of 200,000 draws with sd 0.2 has a standard error of 5e-4, the 95 % point twice that.
  EXPECT_NEAR(mean(by_76), 0.479, 5e-4 + 1.5e-3);
  EXPECT_NEAR(ninety_five(by_76), 0.84, 5e-3 + 3e-3);
  EXPECT_NEAR(mean(by_00), 0.21, 5e-3 + 1.5e-3);
  EXPECT_NEAR(ninety_five(by_00), 0.41, 5e-3 + 3e-3);
}

/// Relative standard uncertainties of yellow and teal from Lab noise of 0.3 an axis.
Eigen::Vector2d seen_by_lab(const std::vector<int>& free) {
  Gradient gradient;
  (void)view().lab(green(), gradient);
  Eigen::MatrixXd jacobian(3, static_cast<Eigen::Index>(free.size()));
  Eigen::Index column = 0;
  for (const int dye : free) jacobian.col(column++) = gradient.col(dye);
  const Eigen::MatrixXd covariance = 0.09 * (jacobian.transpose() * jacobian).inverse();
  return {std::sqrt(covariance(0, 0)) / 0.0080, std::sqrt(covariance(1, 1)) / 0.0030};
}

TEST(WorkedColours, WhatLabSaysAboutTheDyes) {
  const Eigen::Vector2d rose_free = seen_by_lab({yellow, teal, rose});
  EXPECT_NEAR(100.0 * rose_free[0], 0.75, 5e-3);
  EXPECT_NEAR(100.0 * rose_free[1], 1.64, 5e-3);
  const Eigen::Vector2d rose_absent = seen_by_lab({yellow, teal});
  EXPECT_NEAR(100.0 * rose_absent[0], 0.67, 5e-3);
  EXPECT_NEAR(100.0 * rose_absent[1], 1.07, 5e-3);
}

/// A grey of decadic absorptivity 1 mL/(mg cm) in a gauge of one band.
double grey_absorbance(double amount, const plant::ColourGauge& one_band, double stray) {
  recipe::Book grey;
  grey.components.emplace_back();
  grey.components[0].absorptivity = {{400.0, 700.0}, {1.0, 1.0}};
  plant::Container vial;
  vial.inner_diameter_mm = 20.0;
  VectorXd values;
  Gauge(grey, one_band, vial).show(VectorXd::Constant(1, amount), {1.0, stray}, values, nullptr);
  return values[0];
}

plant::ColourGauge one_band() {
  plant::ColourGauge gauge;
  gauge.gives = plant::ColourGauge::Gives::spectrum;
  gauge.bands = {550.0, 550.0, 1.0};
  return gauge;
}

TEST(WorkedColours, StrayLightHidesAbsorbance) {
  plant::ColourGauge cell = one_band();
  cell.path_cm = 1.0;
  EXPECT_NEAR(grey_absorbance(1.0, cell, 0.005), 0.981, 5e-4);
  EXPECT_NEAR(grey_absorbance(2.0, cell, 0.005), 1.826, 5e-4);
}

TEST(WorkedColours, ChordsOfARoundVial) {
  EXPECT_NEAR(mean_chord(0.25), 1.979, 5e-4);
  EXPECT_NEAR(mean_chord(0.5), 1.913, 5e-4);
  EXPECT_NEAR(mean_chord(0.9), 1.680, 5e-4);
  EXPECT_EQ(mean_chord(0.0), 2.0);
  EXPECT_NEAR(mean_chord(1.0), 0.5 * std::numbers::pi, 1e-15);
  plant::ColourGauge through = one_band();
  through.strip_rel = 0.9;
  EXPECT_NEAR(grey_absorbance(1.0, through, 0.0), 1.549, 5e-4);
  // A thin liquid: the mean of the transmittance is that of the chord. Off by the variance of the
  // chord times absorbance ln(10)/2, here 2e-5 of it.
  EXPECT_NEAR(grey_absorbance(1e-4, through, 0.0) / 1e-4, mean_chord(0.9), 5e-5);
}

double channel_absorbance(const VectorXd& amounts, double centre) {
  plant::ColourGauge camera;
  camera.gives = plant::ColourGauge::Gives::channels;
  camera.path_cm = 2.0;
  colour::Spectrum channel = band(1.0, centre, 30.0);
  const std::vector<double> light =
      colour::on(colour::power(colour::Illuminant::d65), {}, colour::Between::linear);
  for (std::size_t i = 0; i < light.size(); ++i) channel.value[i] *= light[i];
  camera.channels = {channel};
  VectorXd values;
  Gauge(book, camera, {}).show(amounts, {}, values, nullptr);
  return values[0];
}

TEST(WorkedColours, BroadChannelsBend) {
  EXPECT_NEAR(channel_absorbance(with(2.0, 1.0), 450.0) / channel_absorbance(green(), 450.0), 1.79,
              5e-3);
  EXPECT_NEAR(channel_absorbance(with(1.0, 2.0), 610.0) / channel_absorbance(green(), 610.0), 1.52,
              5e-3);
}

}  // namespace
}  // namespace vialwright::mixing::testing
