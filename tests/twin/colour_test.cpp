/// The colour of what is in a vial, and what gauges say of it.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "twin/colour_line.hpp"
#include "twin/looking.hpp"
#include "twin/optics.hpp"

namespace vialwright::twin {
namespace {

using coloured::green;
using testing::IsEmpty;
using testing::SizeIs;

/// Everything as the files say and doses exact.
plant::Plant exact_plant() {
  plant::Plant made = coloured::plant();
  for (plant::Station& station : made.stations) station.spread_g = station.spread_rel = 0.0;
  made.containers[0].open_loss_g_per_h = made.containers[0].u_open_loss_g_per_h = 0.0;
  return made;
}

Trial trial(plant::Plant plant, double hardness, double u_rel = 0.0, std::uint64_t seed = 61) {
  ShiftPlan plan = small::plan(seed, 400, hardness);
  plan.bench_colour = 1.0;
  return {std::move(plant), coloured::book(u_rel), {green()}, plan};
}

std::vector<event::ColourRead> looks(Trial& world) {
  std::vector<event::ColourRead> found;
  for (const std::string& line : world.heard().lines) {
    const auto read = event::parse(line, "trial");
    EXPECT_TRUE(read.has_value()) << line;
    if (!read) continue;
    if (const auto* data = std::get_if<event::ColourRead>(&read->data)) found.push_back(*data);
  }
  return found;
}

// The green's colour and those of its neighbours were worked out apart from this project (sums at
// 5 nm, D65, 2 degrees, 2 cm, all densities 1): Lab 86.8968, -56.6516, 50.7868; 8 % more of the
// blue 86.504, -58.742, 50.112, which is 0.815 away; 12 mg of the rose stock more cost 1.30; 3 % of
// path 0.37. Sums at 1 nm differ by the interpolation of the observers' tables: 0.03 in a*, b*.
constexpr double finer_steps = 0.05;
constexpr double half_a_digit = 5.1e-5;  ///< gauges print four decimals

TEST(TwinColour, AnExactGreenHasTheWorkedColour) {
  Trial world = trial(exact_plant(), 0.0);
  (void)world.make(green(), coloured::doses());
  const VialTruth truth = world.truth();
  ASSERT_THAT(truth.absorbance_per_cm, SizeIs(421));
  EXPECT_NEAR(truth.absorbance_per_cm[630 - 360], 163.0 * 0.003, 1e-4);
  const colour::Lab lab = colour_of(truth, green().colours[0]);
  EXPECT_NEAR(lab.l, 86.8968, finer_steps);
  EXPECT_NEAR(lab.a, -56.6516, finer_steps);
  EXPECT_NEAR(lab.b, 50.7868, finer_steps);
  EXPECT_TRUE(meets(truth, green()));
}

double away(const std::vector<Told>& doses, const Mishap& mishap = {}) {
  Trial world = trial(exact_plant(), 0.0);
  (void)world.make(green(), doses, mishap);
  return colour::difference_00(colour_of(world.truth(), green().colours[0]),
                               green().colours[0].lab);
}

TEST(TwinColour, MoreOfADyeCostsWhatWasWorkedOut) {
  std::vector<Told> more = coloured::doses();
  more[2].amount_g *= 1.08;
  more[0].amount_g -= 0.024;
  EXPECT_NEAR(away(more), 0.815, 0.03);
  Mishap drop;
  drop.carried_stock = "rose";
  drop.carried_g = 0.012;
  EXPECT_NEAR(away(coloured::doses(), drop), 1.30, 0.03);
}

TEST(TwinColour, AColourBeyondItsLimitIsNotMet) {
  Trial world = trial(exact_plant(), 0.0);
  Mishap drop;
  drop.carried_stock = "rose";
  drop.carried_g = 0.012;  // 1.30 away, the limit is 1; all contents stay within 3 %
  (void)world.make(green(), coloured::doses(), drop);
  EXPECT_FALSE(meets(world.truth(), green()));
  recipe::Recipe without = green();
  std::erase_if(without.tolerances,
                [](const auto& line) { return line.on == recipe::ToleranceOn::colour; });
  EXPECT_TRUE(meets(world.truth(), without));
}

TEST(TwinColour, GaugesWithoutErrorsShowTheLiquid) {
  Trial world = trial(exact_plant(), 0.0);
  (void)world.make(green(), coloured::doses());
  const auto seen = looks(world);
  ASSERT_THAT(seen, SizeIs(2));
  ASSERT_TRUE(seen[0].lab && seen[1].spectrum);
  // The vial is 2 cm wide, as the target's path.
  const colour::Lab lab = colour_of(world.truth(), green().colours[0]);
  EXPECT_NEAR((*seen[0].lab)[0], lab.l, half_a_digit);
  EXPECT_NEAR((*seen[0].lab)[1], lab.a, half_a_digit);
  EXPECT_NEAR((*seen[0].lab)[2], lab.b, half_a_digit);
  const auto& [first, step, values] = *seen[1].spectrum;
  ASSERT_THAT(values, SizeIs(31));  // 400 to 700 nm by 10
  EXPECT_NEAR(values[3], 53.0 * 0.008 * std::exp(-0.5 * std::pow(4.0 / 45.0, 2)), 1e-4);
  EXPECT_NEAR(values[23], 163.0 * 0.003, 1e-4);
}

TEST(TwinColour, StrayLightFlattensAsThePublishedFormulaSays) {
  // 0.5 % turns an absorbance of 1 into 0.981 and of 2 into 1.826.
  plant::Plant stray = exact_plant();
  stray.instruments[coloured::bench].colour->stray_light = 0.005;
  stray.instruments[coloured::bench].colour->path_cm = 1.0 / (163.0 * 0.003);
  Trial world = trial(stray, 0.0);
  (void)world.make(green(), coloured::doses());
  EXPECT_NEAR(looks(world)[1].spectrum->values[23], 0.981, 0.0006);
}

TEST(TwinColour, ARoundVialsPathIsThatOfItsStrip) {
  // Mean chord of the middle half of a vial of radius 1 cm: 1.913 cm; a thin liquid's absorbance is
  // as the mean chord.
  plant::Plant strip = exact_plant();
  auto& gauge = *strip.instruments[coloured::bench].colour;
  gauge.path_cm = 0.0;
  gauge.strip_rel = 0.5;
  Trial world = trial(strip, 0.0);
  std::vector<Told> thin = coloured::doses();
  thin[2].amount_g = 0.03;
  (void)world.make(green(), thin);
  const double per_cm = world.truth().absorbance_per_cm[630 - 360];
  EXPECT_NEAR(looks(world)[1].spectrum->values[23] / per_cm, 1.913, 0.005);
}

TEST(TwinColour, BroadChannelsBendAsWorkedOut) {
  // A channel about 610 nm (sd 30) times D65: doubling the blue multiplies its absorbance by 1.52.
  plant::Plant camera = exact_plant();
  auto& gauge = *camera.instruments[coloured::eye].colour;
  gauge.gives = plant::ColourGauge::Gives::channels;
  colour::Spectrum red = coloured::gaussian(1.0, 610.0, 30.0);
  for (std::size_t n = 0; n < red.nm.size(); ++n) {
    red.value[n] *= colour::at(colour::power(colour::Illuminant::d65), red.nm[n]);
  }
  gauge.channels = {red};
  const auto absorbance = [&](double times) {
    Trial world = trial(camera, 0.0);
    std::vector<Told> doses = coloured::doses();
    doses[2].amount_g *= times;
    doses[0].amount_g -= 0.3 * (times - 1.0);
    (void)world.make(green(), doses);
    const auto seen = looks(world);
    const auto& [raw, dark, blank] = seen.at(0).channels.at(0);
    EXPECT_LT(blank, *seen[0].full_scale);
    return -std::log10((raw - dark) / (blank - dark));
  };
  EXPECT_NEAR(absorbance(2.0) / absorbance(1.0), 1.52, 0.006);
}

// ---- sizes are those of the file ---------------------------------------------------------------

struct Spread {
  double mean = 0.0, sd = 0.0;
};
Spread spread(const std::vector<double>& values) {
  double sum = 0.0, squares = 0.0;
  for (const double value : values) sum += value;
  const double n = static_cast<double>(values.size()), mean = sum / n;
  for (const double value : values) squares += (value - mean) * (value - mean);
  return {mean, std::sqrt(squares / (n - 1.0))};
}

TEST(TwinColour, NoiseAndPathHaveTheSizeOfTheFile) {
  plant::Plant noisy = exact_plant();
  noisy.instruments[coloured::eye].repeatability = 0.3;
  noisy.instruments[coloured::eye].colour->axis_correlation = 0.5;
  noisy.instruments[coloured::bench].colour->path_cm = 0.0;
  noisy.instruments[coloured::bench].colour->u_path_rel = 0.01;
  noisy.containers[0].u_inner_diameter_mm = 0.1;
  for (const double hardness : {0.0, 1.0}) {
    Trial world = trial(noisy, hardness);
    std::vector<double> a, sum, path;
    for (int v = 0; v < 300; ++v) {
      (void)world.make(green(), coloured::doses());
      const auto seen = looks(world);
      const colour::Lab lab = colour_of(world.truth(), green().colours[0]);
      a.push_back((*seen[0].lab)[1] - lab.a);
      sum.push_back(a.back() + (*seen[0].lab)[2] - lab.b);
      path.push_back(seen[1].spectrum->values[23] / world.truth().absorbance_per_cm[270]);
    }
    // 300 draws: 4 % of an sd, heavy tails 8 %; three of those. The eye's path does not vary.
    EXPECT_NEAR(spread(a).sd, 0.3, 0.07) << "hardness " << hardness;
    EXPECT_NEAR(spread(sum).sd, 0.3 * std::sqrt(2.0 + 2.0 * 0.5), 0.12);
    EXPECT_NEAR(spread(path).sd / spread(path).mean, 0.01, 0.0024) << "hardness " << hardness;
  }
}

TEST(TwinColour, WorldsDepartByWhatTheFilesDoubt) {
  std::vector<double> scale, bias, seen_again;
  plant::Plant plant = exact_plant();
  plant.instruments[coloured::eye].colour->u_session = 0.3;
  for (std::uint64_t seed = 1; seed <= 200; ++seed) {
    ShiftPlan plan = small::plan(seed, 60, 1.0);
    Trial world(plant, coloured::book(0.01), {green()}, plan);
    (void)world.make(green(), coloured::doses());
    const VialTruth truth = world.truth();
    scale.push_back(truth.absorbance_per_cm[270] * truth.volume_ml / truth.component_mg[2] / 163.0);
    const auto seen = looks(world);
    bias.push_back((*seen[0].lab)[0] - colour_of(truth, green().colours[0]).l);
  }
  // 200 worlds: 5 % of an sd, heavy tails 10 %. A broader band is up to half a hundredth lower.
  EXPECT_NEAR(spread(scale).mean, 1.0, 0.006);
  EXPECT_NEAR(spread(scale).sd, 0.01, 0.003);
  // L* is not far from clear solvent, so the part that grows with the distance is small there.
  EXPECT_NEAR(spread(bias).sd, 0.3 * 0.84, 0.1);
}

TEST(TwinColour, ASessionsBiasIsOneAndAnotherSessionHasAnother) {
  plant::Plant plant = exact_plant();
  plant.instruments[coloured::eye].colour->u_session = 1.0;
  Trial world = trial(plant, 0.0);
  std::map<std::string, std::vector<double>> bias;
  for (int v = 0; v < 60; ++v) {  // five minutes each, sessions of two hours
    (void)world.make(green(), coloured::doses());
    const auto seen = looks(world);
    bias[seen[0].session].push_back((*seen[0].lab)[2] -
                                    colour_of(world.truth(), green().colours[0]).b);
  }
  ASSERT_THAT(bias, SizeIs(3));
  std::vector<double> of_session;
  for (const auto& [session, values] : bias) {
    of_session.push_back(spread(values).mean);
    EXPECT_LT(spread(values).sd, half_a_digit) << session;
  }
  EXPECT_GT(std::abs(of_session[0] - of_session[1]), 0.01);
  EXPECT_GT(std::abs(of_session[1] - of_session[2]), 0.01);
}

// ---- what nobody knows -------------------------------------------------------------------------

TEST(TwinColour, AnUnknownColourantIsNoMixOfTheKnown) {
  const recipe::Book book = coloured::book();
  for (std::uint64_t seed = 1; seed <= 50; ++seed) {
    Random random(seed, "colourant");
    const Curve curve = unknown_colourant(book, random);
    ASSERT_THAT(curve, SizeIs(421));
    EXPECT_NEAR(*std::max_element(curve.begin(), curve.end()), 1.0, 1e-12);
    EXPECT_GE(*std::min_element(curve.begin(), curve.end()), 0.0);
    // Each known dye alone leaves more than 0.4 of it, whatever its amount: its cosine with the
    // dye is below sqrt(1 - 0.4^2).
    for (const recipe::Component& component : book.components) {
      double with = 0.0, own = 0.0, dye = 0.0;
      for (std::size_t n = 40; n <= 340; ++n) {
        const double e = colour::at(component.absorptivity, 360.0 + static_cast<double>(n));
        with += curve[n] * e;
        own += curve[n] * curve[n];
        dye += e * e;
      }
      EXPECT_LT(with / std::sqrt(own * dye), std::sqrt(1.0 - 0.16) + 1e-9);
    }
  }
}

TEST(TwinColour, AColourantAddsWhatItSaysAndThinsWithATopUp) {
  Trial world = trial(exact_plant(), 0.0);
  Mishap spill;
  spill.colourant_per_cm = 0.1;
  (void)world.make(green(), coloured::doses(), spill);
  const VialTruth before = world.truth();
  ASSERT_THAT(before.faults, SizeIs(1));
  EXPECT_EQ(before.faults[0], Fault::contaminated);
  Trial clean = trial(exact_plant(), 0.0);
  (void)clean.make(green(), coloured::doses());
  double most = 0.0;
  for (std::size_t n = 0; n < 421; ++n) {
    most = std::max(most, before.absorbance_per_cm[n] - clean.truth().absorbance_per_cm[n]);
  }
  EXPECT_NEAR(most, 0.1, 1e-9);
  EXPECT_NEAR(before.net_g, clean.truth().net_g, 1e-12);  // it weighs nothing
  (void)world.top_up("water", {{"clear", "clear", 2.0}});
  const VialTruth after = world.truth();
  EXPECT_NEAR(after.absorbance_per_cm[200] / before.absorbance_per_cm[200], 20.0 / 22.0, 1e-9);
}

TEST(TwinColour, LightTakesDyesAndNoMass) {
  Trial world = trial(exact_plant(), 0.0), clean = trial(exact_plant(), 0.0);
  Mishap light;
  light.faded = 0.2;
  (void)world.make(green(), coloured::doses(), light);
  (void)clean.make(green(), coloured::doses());
  const VialTruth left = world.truth(), whole = clean.truth();
  for (const std::size_t k : {std::size_t{0}, std::size_t{2}}) {
    EXPECT_NEAR(left.component_mg[k] / whole.component_mg[k], 0.8, 1e-12);
  }
  EXPECT_NEAR(left.absorbance_per_cm[100] / whole.absorbance_per_cm[100], 0.8, 1e-9);
  EXPECT_DOUBLE_EQ(left.net_g, whole.net_g);
}

TEST(TwinColour, AWrongLotIsDosedUnderTheRightName) {
  Trial world = trial(exact_plant(), 0.0);
  Mishap wrong;
  wrong.wrong_lot_stock = 3;
  wrong.wrong_lot_factor = 1.1;
  (void)world.make(green(), coloured::doses(), wrong);
  EXPECT_NEAR(world.truth().component_mg[2], 1.1 * 0.06, 1e-9);
  ASSERT_THAT(world.truth().faults, SizeIs(1));
  EXPECT_EQ(world.truth().faults[0], Fault::wrong_lot);
  (void)world.make(green(), coloured::doses());
  EXPECT_NEAR(world.truth().component_mg[2], 0.06, 1e-9);
}

}  // namespace
}  // namespace vialwright::twin
