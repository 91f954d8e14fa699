// Every slope against automatic differentiation of the plain model, at 1000 points and more.
#include <gtest/gtest.h>

#include <Eigen/Core>
#include <unsupported/Eigen/AutoDiff>  // after Core, which it needs

#include "mixing/plain.hpp"
#include "mixing/tints.hpp"
#include "support/long_form.hpp"

namespace vialwright::mixing::testing {
namespace {

using Eigen::VectorXd;
constexpr int amounts = 4 + foreign_shapes;
using Dual = Eigen::AutoDiffScalar<Eigen::Matrix<double, amounts + 2, 1>>;

Plain<Dual> seeded(const recipe::Book& book, const VectorXd& at, const Gauge::Light& light = {}) {
  Plain<Dual> plain{book, {}};
  for (int i = 0; i < amounts; ++i) plain.amounts.emplace_back(at[i], amounts + 2, i);
  plain.path = Dual(light.path, amounts + 2, amounts);
  plain.stray = Dual(light.stray, amounts + 2, amounts + 1);
  return plain;
}

TEST(Derivatives, OfLabAgainstAutomaticOnesAtAThousandPoints) {
  const recipe::Book book = tint_book();
  support::Random random(41);
  const double path = 2.0;
  const View view(book, seen_in(path));
  for (int point = 0; point < 1000; ++point) {
    const VectorXd liquid = any_liquid(random);
    Gradient gradient;
    const colour::Lab lab = view.lab(liquid, gradient);
    const Plain<Dual> plain = seeded(book, liquid);
    const std::vector<Dual> other =
        lab_of<Dual>(view.weights(), [&](double nm) -> Dual { return plain.through(nm, path); });
    const double mine[] = {lab.l, lab.a, lab.b};
    for (int axis = 0; axis < 3; ++axis) {
      const Dual& theirs = other[static_cast<std::size_t>(axis)];
      // Sums of 81 terms of the size of the answer, in another order: 1e-12 of it.
      EXPECT_NEAR(mine[axis], theirs.value(), 1e-11) << "point " << point;
      for (int i = 0; i < amounts; ++i)
        EXPECT_NEAR(gradient(axis, i), theirs.derivatives()[i],
                    1e-11 * (1.0 + gradient.col(i).norm()))
            << "point " << point << ", amount " << i;
    }
  }
}

struct Kind {
  double table_step = 5.0;
  bool narrow = false;
};

plant::ColourGauge any_gauge(support::Random& random, plant::ColourGauge::Gives gives,
                             bool narrow) {
  plant::ColourGauge gauge;
  gauge.gives = gives;
  gauge.absorbance = random.uniform() < 0.5;
  gauge.bands.first = random.uniform(400.0, 640.0);
  gauge.bands.step = random.uniform(5.0, 20.0);
  gauge.bands.last = gauge.bands.first + 2.5 * gauge.bands.step;
  gauge.bandwidth_nm = narrow ? 0.0 : random.uniform(2.0, 15.0);
  gauge.path_cm = random.uniform() < 0.4 ? random.uniform(0.5, 2.0) : 0.0;
  gauge.strip_rel = random.uniform() < 0.3 ? 0.0 : random.uniform(0.05, 1.0);
  if (gives == plant::ColourGauge::Gives::channels)
    for (const double centre : {610.0, 540.0, 450.0})
      gauge.channels.push_back(band(1.0, centre + 10.0 * random.normal(), 30.0));
  return gauge;
}

/// @param tolerance  of values, and of slopes relative to 1 + their size.
void expect_slopes(plant::ColourGauge::Gives gives, double tolerance, const Kind& kind = {}) {
  const int points = support::trials(1000, 10'000);
  const recipe::Book book = tint_book(kind.table_step);
  support::Random random(42);
  plant::Container vial;
  vial.inner_diameter_mm = 20.0;
  for (int point = 0; point < points; ++point) {
    const plant::ColourGauge spec = any_gauge(random, gives, kind.narrow);
    const Gauge gauge(book, spec, vial);
    const VectorXd liquid = any_liquid(random);
    const Gauge::Light light{random.uniform(0.95, 1.05), random.uniform(0.0, 0.01)};
    VectorXd values;
    Gauge::Slopes slopes;
    gauge.show(liquid, light, values, &slopes);
    const auto other = shown<Dual>(seeded(book, liquid, light), spec, 2.0);
    ASSERT_EQ(values.size(), static_cast<Eigen::Index>(other.size()));
    for (Eigen::Index v = 0; v < values.size(); ++v) {
      const Dual& theirs = other[static_cast<std::size_t>(v)];
      VectorXd mine(amounts + 2);
      mine << slopes.amounts.row(v).transpose(), slopes.path[v], slopes.stray[v];
      EXPECT_NEAR(values[v], theirs.value(), tolerance) << "point " << point;
      const double off =
          ((mine - theirs.derivatives()).array().abs() / (1.0 + theirs.derivatives().array().abs()))
              .maxCoeff();
      EXPECT_LT(off, tolerance) << "point " << point << ", value " << v;
    }
  }
}

TEST(Derivatives, OfNarrowBandsAgainstAutomaticOnes) {
  expect_slopes(plant::ColourGauge::Gives::spectrum, 1e-7, {.narrow = true});
}
// Between the nodes of a table the monotone cubic bends, which costs both sums over a band digits
// (Gauge, BandsAreAsWideAsTheySay has the size of that): 1e-4.
TEST(Derivatives, OfWideBandsAgainstAutomaticOnes) {
  expect_slopes(plant::ColourGauge::Gives::spectrum, 1e-4, {.table_step = 1.0});
}
// Chords: both sums are good to 1e-9 of the light, and Lab is some hundreds times light.
TEST(Derivatives, OfLabThroughAVialAgainstAutomaticOnes) {
  expect_slopes(plant::ColourGauge::Gives::lab, 1e-6);
}
TEST(Derivatives, OfChannelsAgainstAutomaticOnes) {
  expect_slopes(plant::ColourGauge::Gives::channels, 1e-6);
}

}  // namespace
}  // namespace vialwright::mixing::testing
