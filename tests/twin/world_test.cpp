/// Hidden errors have the size that the line file promises, whatever their form.

#include "twin/world.hpp"

#include <gtest/gtest.h>

#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <functional>
#include <map>
#include <string>

#include "support/long_form.hpp"
#include "twin/body.hpp"
#include "twin/small_line.hpp"

namespace vialwright::twin {
namespace {

constexpr double length_s = 20000.0;

/// Standard scores of the hidden errors of many worlds, by name.
std::map<std::string, std::vector<double>> scores(double hardness, int worlds) {
  const plant::Plant plant = small::plant();
  const recipe::Book book = small::book();
  std::map<std::string, std::vector<double>> all;
  for (int seed = 0; seed < worlds; ++seed) {
    const auto number = static_cast<std::uint64_t>(seed);
    const World world = draw_world(plant, book, number, hardness, length_s);
    for (const int i : {small::tare_scale, small::gross_scale, small::height}) {
      all["offset " + plant.instruments[at(i)].id].push_back(world.instruments[at(i)].offset /
                                                             plant.instruments[at(i)].u_offset);
    }
    for (const int i : {small::tare_scale, small::clear_mass, small::dye_mass, small::dye_volume}) {
      all["gain " + plant.instruments[at(i)].id].push_back(world.instruments[at(i)].gain /
                                                           plant.instruments[at(i)].u_gain);
    }
    all["zero rate"].push_back(world.instruments[small::clear_mass].zero_rate /
                               plant.instruments[small::clear_mass].u_zero_rate);
    all["strength"].push_back((world.lots[1].mg_per_g[0] - 0.5) / 0.005);
    all["density"].push_back((world.density_g_per_ml[1] - 1.01) / 0.002);
    Random random(number, "one vial");
    const Body body = draw_body(plant, book, world, 0, "V", random);
    all["tare"].push_back((body.tare_g - 14.8) / 0.18);
    all["cap"].push_back((body.cap_g - 2.0) / 0.02);
    all["inner diameter"].push_back((body.inner_diameter_mm - 20.0) / 0.1);
  }
  return all;
}

double sum_of_squares(const std::vector<double>& values) {
  double sum = 0.0;
  for (const double value : values) sum += value * value;
  return sum;
}

double mean(const std::vector<double>& values) {
  double sum = 0.0;
  for (const double value : values) sum += value;
  return sum / static_cast<double>(values.size());
}

TEST(TwinWorld, HiddenErrorsAtHardnessZeroHaveTheFilesUncertainty) {
  const int worlds = support::trials(500, 20000);
  // Thirteen sums, each outside once in 10,000.
  const boost::math::chi_squared law(worlds);
  const double low = boost::math::quantile(law, 5e-5), high = boost::math::quantile(law, 1 - 5e-5);
  for (const auto& [name, values] : scores(0.0, worlds)) {
    SCOPED_TRACE(name);
    EXPECT_GT(sum_of_squares(values), low);
    EXPECT_LT(sum_of_squares(values), high);
    EXPECT_LT(std::abs(mean(values)), 4.0 / std::sqrt(worlds));  // 4 standard errors
  }
}

TEST(TwinWorld, HiddenErrorsAtHardnessOneHaveTheSameSizeWithOtherTails) {
  const int worlds = support::trials(2000, 20000);
  // Student's t with 5 degrees of freedom has kurtosis 9, so a mean square has the variance 8 / n,
  // and is itself heavy-tailed: 4.5 standard errors.
  const double band = 4.5 * std::sqrt(8.0 / worlds);
  int far = 0, all = 0;
  for (const auto& [name, values] : scores(1.0, worlds)) {
    SCOPED_TRACE(name);
    EXPECT_NEAR(sum_of_squares(values) / worlds, 1.0, band);
    for (const double value : values) {
      far += std::abs(value) > 3.5 ? 1 : 0;
      ++all;
    }
  }
  // Beyond 3.5: 4.7e-4 of a Gaussian, 6.4e-3 of Student's t; the tare mixes two.
  EXPECT_GT(far, 0.003 * all);
}

TEST(TwinWorld, InstrumentsOfOneSourceShareTheirError) {
  plant::Plant plant = small::plant();
  plant.instruments[small::clear_mass].same_source = "one";
  plant.instruments[small::dye_mass].same_source = "one";
  const World world = draw_world(plant, small::book(), 5, 1.0, length_s);
  EXPECT_DOUBLE_EQ(world.instruments[small::clear_mass].gain / 0.002,
                   world.instruments[small::dye_mass].gain / 0.003);
}

TEST(TwinWorld, NothingMovesDuringAShiftAtHardnessZero) {
  const World still = draw_world(small::plant(), small::book(), 5, 0.0, length_s);
  const World moving = draw_world(small::plant(), small::book(), 5, 1.0, length_s);
  EXPECT_EQ(still.instruments[small::gross_scale].drift.at(15000.0), 0.0);
  EXPECT_NE(moving.instruments[small::gross_scale].drift.at(15000.0), 0.0);
  EXPECT_EQ(strength(still.lots[1], 0, 0.0), strength(still.lots[1], 0, 1.0));
  EXPECT_NE(strength(moving.lots[1], 0, 0.0), strength(moving.lots[1], 0, 1.0));
  EXPECT_EQ(still.instruments[small::dye_mass].response_s, 0.0);
  EXPECT_GT(moving.instruments[small::dye_mass].response_s, 0.1);
  EXPECT_EQ(still.nozzles[0][0].bias, 0.0);
}

TEST(TwinWorld, AScalesDriftGrowsAsARandomWalk) {
  const int worlds = support::trials(500, 20000);
  double early = 0.0, late = 0.0;
  for (int seed = 0; seed < worlds; ++seed) {
    const World world =
        draw_world(small::plant(), small::book(), static_cast<std::uint64_t>(seed), 1.0, length_s);
    const Walk& walk = world.instruments[small::gross_scale].drift;
    early += walk.at(3600.0) * walk.at(3600.0);
    late += walk.at(14400.0) * walk.at(14400.0);
  }
  // An hour: a fifth of the offset's uncertainty (0.004 g), by the design of the twin. Four times
  // the time has four times the variance. A mean square of n Gaussians is good to sqrt(2 / n).
  EXPECT_NEAR(early / worlds / (0.0008 * 0.0008), 1.0, 4.0 * std::sqrt(2.0 / worlds));
  EXPECT_NEAR(late / worlds / (0.0016 * 0.0016), 1.0, 4.0 * std::sqrt(2.0 / worlds));
}

}  // namespace
}  // namespace vialwright::twin
