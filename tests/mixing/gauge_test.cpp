#include <gtest/gtest.h>

#include <Eigen/LU>

#include "mixing/plain.hpp"
#include "mixing/tints.hpp"
#include "support/long_form.hpp"

namespace vialwright::mixing::testing {
namespace {

using Eigen::VectorXd;
using Gives = plant::ColourGauge::Gives;

std::vector<double> as_vector(const VectorXd& values) {
  return {values.data(), values.data() + values.size()};
}

VectorXd shown_by(const plant::ColourGauge& gauge, const recipe::Book& book, const VectorXd& liquid,
                  const Gauge::Light& light = {}) {
  plant::Container vial;
  vial.inner_diameter_mm = 20.0;
  VectorXd values;
  Gauge(book, gauge, vial).show(liquid, light, values, nullptr);
  return values;
}

/// Largest difference of the absorbances of 100 liquids from the plain model.
double off_from_plain(double bandwidth_nm, double table_step) {
  const recipe::Book book = tint_book(table_step);
  support::Random random(7);
  plant::ColourGauge gauge;
  gauge.gives = Gives::spectrum;
  gauge.bandwidth_nm = bandwidth_nm;
  gauge.path_cm = 2.0;
  double worst = 0.0;
  for (int i = 0; i < support::trials(30, 300); ++i) {
    const VectorXd liquid = any_liquid(random), mine = shown_by(gauge, book, liquid);
    const auto other = shown<double>({book, as_vector(liquid)}, gauge, 2.0);
    for (Eigen::Index v = 0; v < mine.size(); ++v)
      worst = std::max(worst, std::abs(mine[v] - other[static_cast<std::size_t>(v)]));
  }
  return worst;
}

// Both sums lose digits where the monotone cubic bends: at the nodes of the table, most at its
// peak. A good spectrophotometer repeats to 5e-4 (common practice): a fifth of that is plenty.
TEST(Gauge, BandsAreAsWideAsTheySay) {
  for (const double nm : {2.0, 5.0, 8.0, 10.0, 15.0, 20.0}) {
    EXPECT_LT(off_from_plain(nm, 5.0), 1e-4) << nm << " nm, table of 5 nm";
    EXPECT_LT(off_from_plain(nm, 1.0), 5e-5) << nm << " nm, table of 1 nm";
  }
}

// The mean of a transmittance a (1 + b x^2) over a triangle of full width F at half maximum, whose
// variance is F^2 / 6: a line is not changed, a parabola rises by b F^2 / 6.
TEST(Gauge, ATriangleHasItsVariance) {
  recipe::Book book;
  book.components.emplace_back();
  colour::Spectrum& table = book.components[0].absorptivity;
  for (double x = -60.0; x <= 60.0; x += 0.5) {
    table.nm.push_back(550.0 + x);
    table.value.push_back(-std::log10(0.5 * (1.0 + 2e-4 * x * x)));
  }
  plant::ColourGauge gauge;
  gauge.gives = Gives::spectrum;
  gauge.absorbance = false;
  gauge.path_cm = 1.0;
  gauge.bands = {550.0, 550.0, 1.0};
  gauge.bandwidth_nm = 12.0;
  // The table is good to 1e-7: its step is a hundredth of the curve's.
  EXPECT_NEAR(shown_by(gauge, book, VectorXd::Ones(1))[0], 0.5 * (1.0 + 2e-4 * 24.0), 1e-6);
}

// A narrow band of a spectrum is the law itself, and transmittance its power of ten.
TEST(Gauge, NarrowBandsAreTheLaw) {
  const recipe::Book book = tint_book();
  plant::ColourGauge gauge;
  gauge.gives = Gives::spectrum;
  gauge.path_cm = 2.0;
  const VectorXd absorbances = shown_by(gauge, book, green());
  gauge.absorbance = false;
  const VectorXd transmittances = shown_by(gauge, book, green());
  ASSERT_EQ(absorbances.size(), 31);
  VectorXd law;
  absorbing(book, 2.0, gauge.bands)->look(green(), law, nullptr);
  EXPECT_LT((transmittances - law).lpNorm<Eigen::Infinity>(), 1e-14);
  EXPECT_LT((absorbances.array() + law.array().log10()).abs().maxCoeff(), 1e-14);
}

// Through its own cell without stray light a gauge sees the colour of a recipe's view.
TEST(Gauge, LabInItsOwnCellIsTheView) {
  const recipe::Book book = tint_book();
  plant::ColourGauge gauge;
  gauge.path_cm = 2.0;
  gauge.illuminant = colour::Illuminant::a;
  gauge.observer = colour::Observer::cie1964;
  recipe::ColourTarget seen = seen_in(2.0);
  seen.illuminant = gauge.illuminant;
  seen.observer = gauge.observer;
  const VectorXd values = shown_by(gauge, book, green());
  const colour::Lab lab = View(book, seen).lab(green());
  EXPECT_NEAR(values[0], lab.l, 1e-11);  // rounding of sums in another order
  EXPECT_NEAR(values[1], lab.a, 1e-11);
  EXPECT_NEAR(values[2], lab.b, 1e-11);
}

TEST(Gauge, ClearSolventIsTheBlankHoweverItIsSeen) {
  const recipe::Book book = tint_book();
  const VectorXd clear = VectorXd::Zero(amounts_of(book));
  plant::ColourGauge gauge;
  gauge.strip_rel = 0.6;
  for (const Gives gives : {Gives::spectrum, Gives::lab, Gives::channels}) {
    gauge.gives = gives;
    gauge.bandwidth_nm = 10.0;
    gauge.channels = {band(3.0, 600.0, 30.0), band(0.2, 450.0, 20.0)};
    VectorXd blank = VectorXd::Zero(gives == Gives::spectrum ? 31 : gives == Gives::lab ? 3 : 2);
    if (gives == Gives::lab) blank[0] = 100.0;
    const VectorXd values = shown_by(gauge, book, clear, {1.02, 0.004});
    ASSERT_EQ(values.size(), blank.size());
    EXPECT_LT((values - blank).lpNorm<Eigen::Infinity>(), 1e-12);
  }
}

// What the header says of Light::path: twice the path is twice the amounts.
TEST(Gauge, PathAndAmountsTradeOneForOne) {
  const recipe::Book book = tint_book();
  support::Random random(8);
  plant::ColourGauge gauge;
  gauge.strip_rel = 0.5;
  for (int i = 0; i < 20; ++i) {
    const VectorXd liquid = any_liquid(random);
    const VectorXd once = shown_by(gauge, book, 1.1 * liquid);
    const VectorXd other = shown_by(gauge, book, liquid, {1.1, 0.0});
    EXPECT_LT((once - other).lpNorm<Eigen::Infinity>(), 1e-10);
  }
}

TEST(Gauge, AmountsMayStopEarly) {
  const recipe::Book book = tint_book();
  plant::ColourGauge gauge;
  gauge.gives = Gives::spectrum;
  gauge.bandwidth_nm = 10.0;
  const VectorXd head = green().head(4);
  plant::Container vial;
  vial.inner_diameter_mm = 20.0;
  const Gauge seen(book, gauge, vial);
  VectorXd whole, short_one;
  Gauge::Slopes slopes, short_slopes;
  seen.show(green(), {}, whole, &slopes);
  seen.show(head, {}, short_one, &short_slopes);
  EXPECT_EQ(whole, short_one);
  EXPECT_EQ(short_slopes.amounts.cols(), 4);
  EXPECT_EQ(slopes.amounts.leftCols(4), short_slopes.amounts);
  EXPECT_EQ(slopes.path, short_slopes.path);
}

// Black is a number: the optimiser may try it.
TEST(Gauge, BlackIsFinite) {
  const recipe::Book book = tint_book();
  plant::ColourGauge gauge;
  gauge.gives = Gives::spectrum;
  gauge.path_cm = 1.0;
  const VectorXd values = shown_by(gauge, book, VectorXd::Constant(4, 100.0));
  EXPECT_TRUE(values.allFinite());
  EXPECT_GT(values.minCoeff(), 100.0);
}

// Chords: mean transmittance of a strip, against a fine sum over the width itself (not the angle).
TEST(Gauge, AStripIsAveragedInTransmittance) {
  recipe::Book grey;
  grey.components.emplace_back();
  grey.components[0].absorptivity = {{400.0, 700.0}, {1.0, 1.0}};
  plant::ColourGauge gauge;
  gauge.gives = Gives::spectrum;
  gauge.absorbance = false;
  gauge.bands = {550.0, 550.0, 1.0};
  for (const double strip : {0.05, 0.3, 0.5, 0.7, 0.95})
    for (const double amount : {0.01, 0.3, 1.0, 2.0}) {
      gauge.strip_rel = strip;
      constexpr int slices = 100'000;
      double sum = 0.0;
      for (int i = 0; i < slices; ++i) {
        const double x = strip * (i + 0.5) / slices;
        sum += std::pow(10.0, -amount * 2.0 * std::sqrt(1.0 - x * x));
      }
      // Gauss rules of 5 and 12 nodes, up to an absorbance of 4; the slices are good to 1e-10.
      EXPECT_NEAR(shown_by(gauge, grey, VectorXd::Constant(1, amount))[0] / (sum / slices), 1.0,
                  5e-8)
          << strip << ", " << amount;
    }
}

}  // namespace
}  // namespace vialwright::mixing::testing
