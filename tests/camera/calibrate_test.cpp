#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <iostream>

#include "camera/camera.hpp"
#include "camera/fit.hpp"
#include "camera/simulated_camera.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::camera {
namespace {

using testing::Exact;
using ::testing::HasSubstr;

Calibration calibrated(const std::vector<Patch>& patches) {
  return calibrate(patches, testing::d65(), "camera 1").value();
}

double largest_gap(const Calibration& made, const Exact& truth) {
  return (made.coefficients - truth.coefficients).cwiseAbs().maxCoeff();
}

// Without noise the matrix comes back; 1e-6 is what Gauss-Newton leaves where the cost is nothing.
TEST(Calibrate, GivesAKnownMatrixBack) {
  support::Random random(91);
  const Calibration linear = calibrated(testing::patches(testing::linear_camera(), 30, random));
  EXPECT_EQ(linear.form, Form::linear);
  EXPECT_LT(largest_gap(linear, testing::linear_camera()), 1e-6);
  const Calibration rooted = calibrated(testing::patches(testing::rooted_camera(), 30, random));
  EXPECT_EQ(rooted.form, Form::root_polynomial);
  EXPECT_LT(largest_gap(rooted, testing::rooted_camera()), 1e-6);
  EXPECT_EQ(rooted.freedom, 24);
  EXPECT_TRUE(rooted.warnings.empty());
}

// Source: Finlayson, Mackiewicz & Hurlbert (2015): with k times the light every term is k times as
// large, so X, Y and Z are too, and the chromaticity stays. 1e-12 is rounding of values near 100.
RC_GTEST_PROP(Calibrate, IsInvariantToExposure, (unsigned seed)) {
  support::Random random(seed);
  const Exact camera = seed % 2 == 0 ? testing::rooted_camera() : testing::linear_camera();
  const Calibration made = calibrated(testing::patches(camera, 30, random));
  RC_ASSERT(made.form == camera.form);
  const Eigen::Vector3d signal = testing::any_signal(random);
  const double k = random.uniform(0.2, 3.0);
  const auto xyz = [&](const Eigen::Vector3d& at) {
    return colour::xyz(estimate({at, Eigen::Matrix3d::Zero()}, made, "")->lab, testing::d65());
  };
  const colour::Xyz one = xyz(signal), more = xyz(k * signal);
  RC_ASSERT(std::abs(more.x - k * one.x) < 1e-11);
  RC_ASSERT(std::abs(more.y - k * one.y) < 1e-11);
  RC_ASSERT(std::abs(more.z - k * one.z) < 1e-11);
}

/// How often each form is kept for cameras of a known form.
int kept(const Exact& camera, Form form, int worlds, support::Random& random) {
  int count = 0;
  for (int world = 0; world < worlds; ++world)
    count += calibrated(testing::patches(camera, 40, random)).form == form;
  return count;
}

// The linear form is kept unless it is clearly worse: one standard error, so it is given up by
// chance in at most about 16 of 100 worlds. A camera bent by ten times its scatter is seen always.
TEST(Calibrate, CrossValidationPrefersTheTrueForm) {
  support::Random random(92);
  Exact linear = testing::linear_camera(), rooted = testing::rooted_camera();
  linear.scatter = rooted.scatter = 0.3;
  const int worlds = support::trials(100, 1000);
  const int right = kept(linear, Form::linear, worlds, random);
  std::cout << "linear camera, linear form: " << right << " of " << worlds << "\n";
  EXPECT_GE(right, worlds * 84 / 100);
  EXPECT_EQ(kept(rooted, Form::root_polynomial, worlds, random), worlds);
}

// Against fits that really leave each patch out; the second order of what one of 40 patches moves
// is a few hundredths of the difference it makes.
TEST(Calibrate, PredictionsWithoutEachPatchAreThoseOfFitsWithoutIt) {
  support::Random random(98);
  Exact camera = testing::rooted_camera();
  camera.scatter = 0.5;
  const std::vector<Patch> all = testing::patches(camera, 40, random);
  const Samples samples = camera::samples(Form::root_polynomial, all, testing::d65());
  const Coefficients fitted = fit_in_lab(samples, *fit_in_xyz(samples));
  const Eigen::MatrixXd quick = unseen_residuals(samples, fitted);
  const Eigen::MatrixXd seen = residuals(samples, fitted);
  for (Eigen::Index i = 0; i < quick.rows(); ++i) {
    std::vector<Patch> rest = all;
    rest.erase(rest.begin() + i);
    const Samples others = camera::samples(Form::root_polynomial, rest, testing::d65());
    const Eigen::MatrixXd refitted = residuals(samples, fit_in_lab(others, *fit_in_xyz(others)));
    const double moved = (refitted.row(i) - seen.row(i)).norm();
    EXPECT_LT((quick.row(i) - refitted.row(i)).norm(), 0.1 * moved + 1e-9) << i;
  }
}

TEST(Calibrate, NoOtherCoefficientsNearbyFitBetterInLab) {
  support::Random random(99);
  Exact camera = testing::linear_camera();
  camera.scatter = 2.0;
  const std::vector<Patch> all = testing::patches(camera, 30, random);
  const Samples samples = camera::samples(Form::linear, all, testing::d65());
  const Coefficients best = fit_in_lab(samples, *fit_in_xyz(samples));
  const double cost = residuals(samples, best).squaredNorm();
  for (int i = 0; i < 9; ++i)
    for (const double step : {-0.05, 0.05}) {
      Coefficients other = best;
      other.data()[i] += step;
      EXPECT_GT(residuals(samples, other).squaredNorm(), cost);
    }
  EXPECT_LT(cost, residuals(samples, *fit_in_xyz(samples)).squaredNorm());
}

TEST(Calibrate, CrossValidatedErrorIsWhatNewVialsShow) {
  support::Random random(93);
  Exact camera = testing::rooted_camera();
  camera.scatter = 0.5;
  double stated = 0.0, found = 0.0;
  for (int world = 0; world < 60; ++world) {
    const Calibration made = calibrated(testing::patches(camera, 40, random));
    ASSERT_EQ(made.tried.size(), 2u);
    EXPECT_GT(made.tried[0].rms, made.tried[1].rms);
    stated += std::pow(made.tried[1].rms, 2);
    for (int vial = 0; vial < 40; ++vial) {
      const Eigen::Vector3d signal = testing::any_signal(random);
      const colour::Lab truth = camera.truth(signal, random);
      const colour::Lab read = estimate(camera.read(signal, random), made, "")->lab;
      found += std::pow(colour::difference_76(read, truth), 2) / 40.0;
    }
  }
  // 2,400 differences of three normals each: 1.7 % doubt of each side's mean square, so 7 %.
  EXPECT_NEAR(stated / found, 1.0, 0.07);
}

TEST(Calibrate, RefusesAndSaysWhy) {
  support::Random random(94);
  const std::vector<Patch> few = testing::patches(testing::linear_camera(), 7, random);
  const auto refused = calibrate(few, testing::d65(), "camera 1");
  ASSERT_FALSE(refused.has_value());
  EXPECT_THAT(refused.error()[0].what, HasSubstr("7 patches"));
  EXPECT_THAT(refused.error()[0].mend, HasSubstr("at least 8"));
  EXPECT_EQ(refused.error()[0].where, "camera 1");

  std::vector<Patch> bad = testing::patches(testing::linear_camera(), 12, random);
  bad[3].signal.value[1] = 0.0;
  bad[5].truth.y = std::nan("");
  const auto both = calibrate(bad, {95.0, 0.0, 108.0}, "camera 1");
  ASSERT_FALSE(both.has_value());
  ASSERT_EQ(both.error().size(), 3u);
  EXPECT_THAT(both.error()[0].what, HasSubstr("white"));
  EXPECT_THAT(both.error()[1].what, HasSubstr("'3'"));
  EXPECT_THAT(both.error()[2].what, HasSubstr("'5'"));
}

TEST(Calibrate, RefusesPatchesOfOneHue) {
  support::Random random(95);
  std::vector<Patch> alike = testing::patches(testing::linear_camera(), 20, random);
  for (Patch& patch : alike) patch.signal.value[2] = 0.5 * patch.signal.value[1];
  const auto refused = calibrate(alike, testing::d65(), "camera 1");
  ASSERT_FALSE(refused.has_value());
  EXPECT_THAT(refused.error()[0].what, HasSubstr("do not differ in three ways"));
}

TEST(Calibrate, FewPatchesAreWarnedOfAndTooFewForRootsLeaveTheLinearForm) {
  support::Random random(96);
  Exact camera = testing::rooted_camera();
  camera.scatter = 0.3;
  const Calibration made = calibrated(testing::patches(camera, 10, random));
  EXPECT_EQ(made.form, Form::linear);
  EXPECT_EQ(made.tried.size(), 1u);
  ASSERT_FALSE(made.warnings.empty());
  EXPECT_THAT(made.warnings[0], HasSubstr("10 patches are few"));
  EXPECT_EQ(calibrated(testing::patches(camera, 11, random)).tried.size(), 2u);
}

TEST(Calibrate, APatchThatTheOthersContradictIsNamed) {
  support::Random random(97);
  Exact camera = testing::linear_camera();
  camera.scatter = 0.3;
  std::vector<Patch> read = testing::patches(camera, 40, random);
  EXPECT_TRUE(calibrated(read).warnings.empty());
  read[17].truth.x += 8.0;  // two labels swapped, say
  const Calibration made = calibrated(read);
  ASSERT_EQ(made.warnings.size(), 1u);
  EXPECT_THAT(made.warnings[0], HasSubstr("patch '17'"));
}

}  // namespace
}  // namespace vialwright::camera
