// One thing at a time: what each kind of evidence does, on vials small enough to work out by hand.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "contents/contents.hpp"

namespace vialwright {
namespace {

using contents::Effect;
using contents::Evidence;
using contents::Reading;
using contents::ReadingKind;
using ::testing::HasSubstr;

/// Two scales, a meter for each of two stocks, the pulse output of the first meter. Invented.
plant::Plant line() {
  plant::Plant plant;
  plant::Instrument scale;
  scale.id = "scale";
  scale.repeatability = 0.001;
  scale.u_offset = 0.010;
  plant::Instrument meter;
  meter.kind = plant::InstrumentKind::mass_meter;
  meter.repeatability = 0.004;
  meter.u_gain = 0.002;
  plant.instruments = {scale, scale, meter, meter, meter};
  plant.instruments[1].id = "other scale";
  plant.instruments[2].same_source = plant.instruments[4].same_source = "tube";
  plant::Station station;
  station.spread_g = 0.02;
  plant.stations = {station};
  plant::Container vial;
  vial.id = "vial";
  vial.tare_g = 15.0;
  vial.u_tare_g = 0.2;
  vial.brimful_ml = 26.0;
  plant.containers = {vial};
  return plant;
}

recipe::Book book() {
  recipe::Book book;
  book.components = {{"water", "water", true}, {"dye", "dye", false}};
  recipe::Stock base, dye;
  base.id = "base";
  dye.id = "rose";
  book.stocks = {base, dye};
  book.lots = {{"B", 0, {{1000.0, 0.0}, {0.0, 0.0}}, {}},
               {"R", 1, {{999.5, 0.0}, {0.5, 0.005}}, {}}};
  return book;
}

Reading weighing(ReadingKind kind, int scale, double grams, int after) {
  Reading it;
  it.kind = kind;
  it.instrument = scale;
  it.value = grams;
  it.after_doses = after;
  it.air_kg_per_m3 = 0.0;  // in a vacuum, to keep the arithmetic plain
  return it;
}
Reading metering(int meter, double grams, int dose) {
  Reading it;
  it.kind = ReadingKind::dose;
  it.instrument = meter;
  it.value = grams;
  it.dose = dose;
  return it;
}

Evidence one_dose(double grams) {
  Evidence it;
  it.doses = {{0, 0, 0, grams, false}};
  return it;
}

double net(const contents::Estimate& it) { return it.belief.mean[it.belief.net()]; }
double u_net(const contents::Estimate& it) { return it.belief.u(it.belief.net()); }

TEST(Estimate, OffsetOfOneScaleCancelsInTheNetAndOfTwoDoesNot) {
  plant::Plant plant = line();
  plant.command_is_evidence = false;
  Evidence evidence = one_dose(20.0);
  evidence.readings = {weighing(ReadingKind::tare, 0, 15.0, 0),
                       weighing(ReadingKind::gross, 0, 35.0, 1)};
  const auto one = contents::estimate(evidence, plant, book());
  evidence.readings[1].instrument = 1;
  const auto two = contents::estimate(evidence, plant, book());
  // By hand: two weighings of 1 mg; on two scales also two offsets of 10 mg. The spread of tares,
  // 0.2 g, says a little more about the tare, hence 0.2 %.
  EXPECT_NEAR(u_net(one), 0.001 * std::sqrt(2.0), 0.002 * u_net(one));
  EXPECT_NEAR(u_net(two), std::sqrt(2e-6 + 2e-4), 0.002 * u_net(two));
  // And the belief knows on what its net hangs.
  ASSERT_EQ(one.belief.effects.size(), 1u);
  ASSERT_EQ(two.belief.effects.size(), 2u);
  const auto hangs = [](const contents::Estimate& it, int effect) {
    return it.belief.covariance(it.belief.net(), it.belief.effect(effect));
  };
  EXPECT_NEAR(hangs(one, 0), 0.0, 1e-6);
  EXPECT_NEAR(hangs(two, 0), 1e-4, 1e-6);   // a tare that reads high makes the net low
  EXPECT_NEAR(hangs(two, 1), -1e-4, 1e-6);  // so the true net is higher, and the other way round
}

TEST(Estimate, GainOfOneScaleActsOnTheNetAloneAndOfTwoOnBothWeighings) {
  plant::Plant plant = line();
  plant.command_is_evidence = false;
  for (plant::Instrument& it : plant.instruments) it.u_offset = 0.0;
  plant.instruments[0].u_gain = plant.instruments[1].u_gain = 0.001;
  Evidence evidence = one_dose(20.0);
  evidence.readings = {weighing(ReadingKind::tare, 0, 15.0, 0),
                       weighing(ReadingKind::gross, 0, 35.0, 1)};
  const auto one = contents::estimate(evidence, plant, book());
  evidence.readings[1].instrument = 1;
  const auto two = contents::estimate(evidence, plant, book());
  // By hand: 0.1 % of 20 g, or of 15 g and 35 g apart; the spread of tares helps by half a percent.
  EXPECT_NEAR(u_net(one), std::hypot(0.020, 0.0014), 0.01 * 0.020);
  EXPECT_NEAR(u_net(two), std::hypot(0.015, 0.035, 0.0014), 0.01 * 0.038);
}

TEST(Estimate, EffectsAreNamedAndCorrelatedWithWhatTheyTouch) {
  Evidence evidence;
  evidence.doses = {{0, 0, -1, {}, false}, {1, 1, -1, {}, false}};
  evidence.readings = {metering(2, 19.5, 0), metering(3, 0.5, 1)};
  const auto found = contents::estimate(evidence, line(), book());
  const contents::Belief& it = found.belief;
  ASSERT_EQ(it.effects.size(), 3u);
  EXPECT_EQ(it.effects[0], (Effect{Effect::Kind::strength, 1, 1}));
  EXPECT_EQ(it.effects[1], (Effect{Effect::Kind::gain, 2, -1}));
  EXPECT_EQ(it.effects[2], (Effect{Effect::Kind::gain, 3, -1}));
  // A meter that reads 0.2 % high means that less came: d mass / d gain = -mass.
  EXPECT_NEAR(it.covariance(it.stock(0), it.effect(1)), -19.5 * 4e-6, 0.01 * 19.5 * 4e-6);
  EXPECT_NEAR(it.covariance(it.component(1), it.effect(0)), 0.5 * 25e-6, 0.01 * 0.5 * 25e-6);
  // mg of dye: strength 0.5 +/- 0.005 mg/g times 0.5 g +/- (4 mg and 0.2 %).
  const double u_mass = std::hypot(0.004, 0.002 * 0.5);
  EXPECT_NEAR(it.u(it.component(1)), std::hypot(0.5 * u_mass, 0.5 * 0.005), 2e-6);
}

TEST(Estimate, TwoOutputsOfOneMeterAreNotTwoWitnesses) {
  plant::Plant plant = line();
  plant.command_is_evidence = false;
  Evidence evidence = one_dose(20.0);
  evidence.readings = {metering(2, 20.0, 0), metering(4, 20.0, 0)};
  const auto same = contents::estimate(evidence, plant, book());
  plant.instruments[4].same_source.clear();
  const auto apart = contents::estimate(evidence, plant, book());
  // By hand: gain 0.2 % of 20 g = 40 mg, noise 4 mg; averaging two helps both or only the noise.
  EXPECT_NEAR(u_net(same), std::hypot(0.040, 0.004 / std::sqrt(2.0)), 1e-4);
  EXPECT_NEAR(u_net(apart), std::hypot(0.040, 0.004) / std::sqrt(2.0), 1e-4);
}

TEST(Estimate, NothingReadMeansThatThePriorShows) {
  const auto told = contents::estimate(one_dose(20.0), line(), book());
  EXPECT_NEAR(net(told), 20.0, 1e-12);
  EXPECT_NEAR(u_net(told), 0.02, 1e-12);
  EXPECT_EQ(told.p_value, 1.0);
  ASSERT_EQ(told.unseen.size(), 1u);
  EXPECT_THAT(told.unseen[0].what, HasSubstr("the amount of base: no reading sees it"));
  Evidence untold = one_dose(20.0);
  untold.doses[0].commanded_g.reset();
  const auto found = contents::estimate(untold, line(), book());
  EXPECT_NEAR(net(found), 13.0, 0.7);  // somewhere in a container of 26 g
  EXPECT_GT(u_net(found), 6.0);
  EXPECT_THAT(found.unseen[0].what, HasSubstr("anything the container holds is possible"));
  const auto empty = contents::estimate(Evidence{}, line(), book());
  EXPECT_EQ(net(empty), 0.0);
  EXPECT_EQ(u_net(empty), 0.0);
}

TEST(Estimate, ACommandThatIsNoEvidenceIsReportedSo) {
  for (const int why : {0, 1, 2}) {
    plant::Plant plant = line();
    Evidence evidence = one_dose(20.0);
    if (why == 0) plant.command_is_evidence = false;
    if (why == 1) evidence.doses[0].aborted = true;
    if (why == 2) evidence.doses[0].station = -1;
    evidence.readings = {metering(2, 12.0, 0)};
    const auto found = contents::estimate(evidence, plant, book());
    EXPECT_FALSE(found.commands.at(0).counted) << why;
    EXPECT_NEAR(net(found), 12.0, 1e-3) << why;
    EXPECT_FALSE(found.contradiction) << why;
  }
}

TEST(Estimate, AMissedDoseGivesAOneSidedInterval) {
  Evidence evidence;
  evidence.doses = {{0, 0, 0, 19.7, false}, {1, 1, 0, 0.3, false}};
  evidence.readings = {weighing(ReadingKind::tare, 0, 15.0, 0),
                       weighing(ReadingKind::gross, 0, 34.7, 2), metering(2, 19.702, 0),
                       metering(3, -0.006, 1)};
  const auto found = contents::estimate(evidence, line(), book());
  ASSERT_TRUE(found.contradiction);
  ASSERT_TRUE(found.settled);
  EXPECT_EQ(found.explanations[0].wrong, contents::Explanation::Wrong::command);
  EXPECT_EQ(found.explanations[0].index, 1);
  EXPECT_NEAR(found.explanations[0].shift, -0.3, 0.01);
  EXPECT_FALSE(found.commands[1].counted);
  EXPECT_TRUE(found.dose_at_zero[1]);
  EXPECT_FALSE(found.dose_at_zero[0]);
  const contents::Belief& it = found.belief;
  EXPECT_GT(it.mean[it.stock(1)], 0.0);
  const auto interval = contents::interval_95(it.mean[it.stock(1)], it.u(it.stock(1)));
  EXPECT_EQ(interval.lower, 0.0);
  EXPECT_LT(interval.upper, 0.008);  // two standard deviations of the meter
}

TEST(Estimate, WhatEvaporatesLeavesTheSolventTheNetAndTheVolume) {
  plant::Plant plant = line();
  plant.containers[0].open_loss_g_per_h = 0.01;
  Evidence evidence;
  evidence.doses = {{0, 0, 0, 19.5, false}, {1, 1, 0, 0.5, false}};
  const auto before = contents::estimate(evidence, plant, book());
  evidence.open_s = 36000.0;  // ten hours: 0.1 g
  const auto after = contents::estimate(evidence, plant, book());
  const auto change = (after.belief.mean - before.belief.mean).eval();
  EXPECT_NEAR(change[0], -100.0, 1e-9);                    // mg of water
  EXPECT_NEAR(change[1], 0.0, 1e-12);                      // the dye stays
  EXPECT_NEAR(change[after.belief.stock(0)], 0.0, 1e-12);  // as dosed
  EXPECT_NEAR(change[after.belief.net()], -0.1, 1e-12);
  EXPECT_NEAR(change[after.belief.volume()], -0.1, 1e-12);  // base of 1 g/mL
}

TEST(Estimate, WeighingsAtTwoOpenTimesTellTheRate) {
  plant::Plant plant = line();
  plant.containers[0].open_loss_g_per_h = 0.02;
  plant.containers[0].u_open_loss_g_per_h = 0.02;
  Evidence evidence = one_dose(20.0);
  evidence.readings = {weighing(ReadingKind::gross, 0, 35.0, 1),
                       weighing(ReadingKind::gross, 0, 34.9, 1)};
  evidence.readings[1].open_s = 36000.0;
  evidence.open_s = 72000.0;
  const auto found = contents::estimate(evidence, plant, book());
  // The drop of 0.100 g, 1.4 mg known, in ten hours; as much again in the next ten. What the vial
  // weighed full stays unknown, but what it lost does not.
  const contents::Belief& it = found.belief;
  EXPECT_NEAR(it.mean[it.stock(0)] - it.mean[it.net()], 0.200, 1e-3);
}

TEST(Estimate, TheCapIsNotMistakenForLiquid) {
  plant::Plant plant = line();
  plant.command_is_evidence = false;
  plant.containers[0].cap_g = 1.1;
  plant.containers[0].u_cap_g = 0.02;
  Evidence evidence = one_dose(20.0);
  evidence.readings = {weighing(ReadingKind::tare, 0, 15.0, 0),
                       weighing(ReadingKind::gross, 0, 36.1, 1)};
  evidence.readings[1].capped = true;
  const auto found = contents::estimate(evidence, plant, book());
  EXPECT_NEAR(net(found), 20.0, 1e-4);
  EXPECT_NEAR(u_net(found), 0.02, 2e-4);
}

TEST(Estimate, ALotNotKnownMayBeAnyOfItsStock) {
  recipe::Book known = book();
  known.lots.push_back({"R2", 1, {{999.5, 0.0}, {0.7, 0.005}}, {}});
  Evidence evidence;
  evidence.doses = {{1, -1, 0, 10.0, false}};
  const auto found = contents::estimate(evidence, line(), known);
  // Strengths 0.5 and 0.7: mean 0.6, standard deviation 0.1.
  EXPECT_NEAR(found.belief.mean[1], 6.0, 1e-9);
  EXPECT_NEAR(found.belief.u(1), 1.0, 0.01);
  ASSERT_FALSE(found.unseen.empty());
  EXPECT_THAT(found.unseen.back().what, HasSubstr("its lot is unknown"));
}

TEST(Estimate, DosesThatOnlyTheScaleSawShareTheirSum) {
  Evidence evidence;
  evidence.doses = {{0, 0, 0, 19.5, false}, {1, 1, 0, 0.5, false}};
  evidence.readings = {weighing(ReadingKind::tare, 0, 15.0, 0),
                       weighing(ReadingKind::gross, 0, 35.0, 2)};
  const auto found = contents::estimate(evidence, line(), book());
  ASSERT_EQ(found.unseen.size(), 1u);
  EXPECT_THAT(found.unseen[0].what, HasSubstr("how base and rose share their sum"));
}

TEST(Estimate, MetersThatReadVolumeGoThroughTheDensity) {
  plant::Plant plant = line();
  plant.command_is_evidence = false;
  plant.instruments[2].kind = plant::InstrumentKind::volume_meter;
  recipe::Book liquids = book();
  liquids.stocks[0].density_g_per_ml = 0.8;
  liquids.stocks[0].u_density_g_per_ml = 0.008;
  Evidence evidence = one_dose(10.0);
  evidence.readings = {metering(2, 10.0, 0)};
  const auto found = contents::estimate(evidence, plant, liquids);
  EXPECT_NEAR(net(found), 8.0, 1e-3);
  EXPECT_NEAR(u_net(found), 8.0 * std::hypot(0.01, 0.002, 0.0004), 1e-3);
  // Density and mass err together: the volume is as good as the meter.
  EXPECT_NEAR(found.belief.u(found.belief.volume()), std::hypot(0.02, 0.004), 1e-3);
}

TEST(Estimate, LevelReadsTheVolumeAboveTheFloor) {
  plant::Plant plant = line();
  plant.command_is_evidence = false;
  plant.containers[0].inner_diameter_mm = 20.0;
  plant.containers[0].floor_volume_ml = 0.5;
  plant.instruments[2].kind = plant::InstrumentKind::level_gauge;
  plant.instruments[2].repeatability = 0.3;
  Evidence evidence = one_dose(20.0);
  Reading level = weighing(ReadingKind::level, 2, 60.0, 1);
  evidence.readings = {level};
  const auto found = contents::estimate(evidence, plant, book());
  // 60 mm over a circle of 20 mm: 18.85 mL, and half a millilitre in the floor; 0.3 mm is 94 mg.
  EXPECT_NEAR(net(found), 18.850 + 0.5, 0.003);
  EXPECT_NEAR(u_net(found), std::hypot(0.0942, 0.002 * 18.85), 0.002);
}

TEST(Estimate, SameInputSameBits) {
  Evidence evidence = one_dose(20.0);
  evidence.readings = {metering(2, 20.03, 0), weighing(ReadingKind::gross, 0, 35.1, 1)};
  const auto one = contents::estimate(evidence, line(), book());
  const auto two = contents::estimate(evidence, line(), book());
  EXPECT_EQ(one.belief.mean, two.belief.mean);
  EXPECT_EQ(one.belief.covariance, two.belief.covariance);
}

}  // namespace
}  // namespace vialwright
