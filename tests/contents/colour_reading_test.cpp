// Colour readings in the joint estimate: slopes, the turning of spectra, what is no evidence, what
// is seen and what is not, and what a colour gives away.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <Eigen/SVD>
#include <limits>

#include "contents/drawn_colour.hpp"
#include "contents/fitted.hpp"

namespace vialwright {
namespace {

using contents::Doubted;
using contents::Effect;
using contents::Estimate;
using contents::Evidence;
using contents::Explanation;
using contents::Reading;
using contents::ReadingKind;
using contents::VialModel;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using support::TintedVial;
using support::z;
using ::testing::HasSubstr;
using Wrong = Explanation::Wrong;

constexpr std::uint64_t seed = 20261130;

Estimate estimate(const TintedVial& vial, double false_flag = 0.01) {
  contents::Options options;
  options.false_flag = false_flag;
  return contents::estimate(vial.evidence, vial.plant, vial.book, options);
}

// ---- slopes and turning ----------------------------------------------------------------------

Doubted any_doubt(support::Random& random) {
  Doubted doubted;
  doubted.size = 0.05;
  switch (random.below(4)) {
    case 0:
      doubted.carried_over = 1 + random.below(4);
      break;
    case 1:
      doubted.faded = true;
      break;
    case 2:
      doubted.colourant = true;
      break;
    default:
      break;
  }
  return doubted;
}

// Central differences of a thousandth of the prior's doubt: third derivatives leave 1e-6 of the
// curvature, rounding 1e-10.
TEST(ColourReading, SlopesOfAllThatIsReadAtAThousandPoints) {
  support::Random random(seed);
  for (int trial = 0; trial < 1000; ++trial) {
    const TintedVial vial = support::tinted_vial(random);
    const VialModel model(vial.evidence, vial.plant, vial.book, any_doubt(random), true);
    const contents::Unknowns& prior = model.unknowns();
    const auto n = prior.mean.size(), m = model.observed().value.size();
    VectorXd x = prior.mean;
    for (Eigen::Index i = 0; i < n; ++i) {
      x[i] += std::sqrt(prior.variance[i]) * random.uniform(-1.5, 1.5);
      if (prior.bounded[z(static_cast<int>(i))] != 0) x[i] = std::abs(x[i]);
    }
    VectorXd predicted(m), up(m), down(m);
    MatrixXd gradient(n, m), unused(n, m);
    model.linearise(x, predicted, gradient);
    for (Eigen::Index i = 0; i < n; ++i) {
      const double step = 1e-3 * std::sqrt(prior.variance[i]);
      if (step == 0.0) continue;
      VectorXd moved = x;
      moved[i] = x[i] + step;
      model.linearise(moved, up, unused);
      moved[i] = x[i] - step;
      model.linearise(moved, down, unused);
      const VectorXd slope = (up - down) / 2e-3;
      const VectorXd told = std::sqrt(prior.variance[i]) * gradient.row(i).transpose();
      const double size = 1.0 + told.lpNorm<Eigen::Infinity>();
      ASSERT_LT((slope - told).lpNorm<Eigen::Infinity>(), 2e-6 * size)
          << "trial " << trial << ", unknown " << i << ", seed " << seed;
    }
  }
}

TEST(ColourReading, ASpectrumTurnedIntoFewRowsSaysAllThatItSaidWhole) {
  support::Random random(seed + 1);
  int turned = 0;
  for (int trial = 0; trial < 200; ++trial) {
    const TintedVial vial = support::tinted_vial(random);
    const VialModel few(vial.evidence, vial.plant, vial.book);
    const VialModel whole(vial.evidence, vial.plant, vial.book, {}, true);
    turned += few.observed().value.size() < whole.observed().value.size() ? 1 : 0;
    const contents::Fitted one = contents::fitted(few, 25), other = contents::fitted(whole, 25);
    const VectorXd u = other.fit.covariance.diagonal().cwiseSqrt().cwiseMax(1e-300);
    // Both stop within 1e-9 of the prior's doubt, some 1e-6 of what is left of it.
    EXPECT_LT((one.fit.mean - other.fit.mean).cwiseQuotient(u).lpNorm<Eigen::Infinity>(), 1e-5);
    EXPECT_LT((one.fit.covariance - other.fit.covariance)
                  .cwiseQuotient(u * u.transpose())
                  .lpNorm<Eigen::Infinity>(),
              1e-5);
    EXPECT_NEAR(one.fit.chi_squared, other.fit.chi_squared, 1e-5 * other.fit.chi_squared);
    EXPECT_EQ(one.fit.degrees, other.fit.degrees);
    EXPECT_NEAR(contents::chance_of_no_colourant(one, few),
                contents::chance_of_no_colourant(other, whole), 1e-5);
    for (std::size_t i = 0; i < few.colour().rows.size(); ++i) {
      const auto a = contents::colour_report(one, few, i),
                 b = contents::colour_report(other, whole, i);
      EXPECT_NEAR(a.chi_squared, b.chi_squared, 1e-5 * b.chi_squared);
      EXPECT_NEAR(a.residual, b.residual, 1e-5);  // of whichever value is furthest off: two may be
    }
  }
  EXPECT_GT(turned, 50);
}

// Sources of the tails: chi-squared of 3 and 8 degrees, 95 % and 99.9 % points (any table).
TEST(ColourReading, TailOfAWeightedSumIsChiSquaredWhereTheWeightsAreAlike) {
  EXPECT_NEAR(contents::weighted_tail(7.815, VectorXd::Ones(3)), 0.05, 0.05 * 0.02);
  EXPECT_NEAR(contents::weighted_tail(26.125, VectorXd::Ones(8)), 0.001, 0.001 * 0.02);
  EXPECT_NEAR(contents::weighted_tail(2.0 * 7.815, VectorXd::Constant(3, 2.0)), 0.05, 0.05 * 0.02);
}

TEST(ColourReading, TailOfAWeightedSumIsThatOfManyDraws) {
  support::Random random(seed + 2);
  VectorXd weights(4);
  weights << 0.9, 0.6, 0.2, 0.05;
  constexpr int draws = 400000;
  int above = 0;
  for (int i = 0; i < draws; ++i) {
    double sum = 0.0;
    for (const double weight : weights) sum += weight * std::pow(random.normal(), 2);
    above += sum > 6.5 ? 1 : 0;
  }
  // Five standard errors of the draws, and 2 % of the saddlepoint.
  const double seen = static_cast<double>(above) / draws;
  EXPECT_NEAR(contents::weighted_tail(6.5, weights), seen,
              5.0 * std::sqrt(seen / draws) + 0.02 * seen);
}

// ---- no evidence -----------------------------------------------------------------------------

TintedVial vial_with(int gauge) {
  support::Random random(seed + 3);
  return support::tinted_vial(random, gauge);
}

TEST(ColourReading, ThatIsNoEvidenceSaysWhyAndChangesNothing) {
  struct Case {
    const char* reason;
    void (*spoil)(TintedVial&);
  };
  const Case cases[] = {
      {"not been mixed", [](TintedVial& it) { it.evidence.readings.back().mixed = false; }},
      {"cloudy", [](TintedVial& it) { it.evidence.readings.back().cloudy = true; }},
      {"nothing had been dosed",
       [](TintedVial& it) { it.evidence.readings.back().after_doses = 0; }},
      {"2 values where its gauge gives 3",
       [](TintedVial& it) { it.evidence.readings.back().values.pop_back(); }},
      {"value 2 of it is not a number",
       [](TintedVial& it) {
         it.evidence.readings.back().values[1] = std::numeric_limits<double>::quiet_NaN();
       }},
      {"scatters", [](TintedVial& it) { it.book.stocks[0].scatters = true; }},
      {"no colour gauge", [](TintedVial& it) { it.plant.instruments[8].colour.reset(); }},
  };
  for (const Case& it : cases) {
    TintedVial vial = vial_with(support::as_lab);
    it.spoil(vial);
    const Estimate found = estimate(vial);
    ASSERT_EQ(found.readings.size(), vial.evidence.readings.size());
    EXPECT_FALSE(found.readings.back().counted);
    EXPECT_THAT(found.readings.back().reason, HasSubstr(it.reason));
    vial.evidence.readings.pop_back();
    const Estimate without = estimate(vial);
    EXPECT_EQ(found.belief.mean, without.belief.mean) << it.reason;
    EXPECT_EQ(found.belief.covariance, without.belief.covariance) << it.reason;
    EXPECT_EQ(found.p_value, without.p_value) << it.reason;
  }
}

TEST(ColourReading, OneThatCountsReportsItsValuesAsOne) {
  const Estimate found = estimate(vial_with(support::through_vial));
  const contents::ReadingReport& it = found.readings.back();
  EXPECT_TRUE(it.counted);
  EXPECT_EQ(it.reason, "");
  EXPECT_EQ(it.values, 31);
  EXPECT_GT(it.chi_squared, 10.0);  // 31 degrees of freedom: below 10 once in 10^4
  EXPECT_LT(it.chi_squared, 70.0);
  EXPECT_LT(std::abs(it.standardised), 5.0);
  EXPECT_GT(it.share, 0.0);
  EXPECT_LT(it.share, 1.0);
}

// ---- the worked green ------------------------------------------------------------------------

/// 19.380 g of a clear base, 0.320 g of yellow and 0.300 g of blue-green, in 2 cm, all of 1 g/mL.
struct Green {
  plant::Plant plant;
  recipe::Book book;
  Evidence evidence;

  explicit Green(double u_path_rel) {
    book.components.resize(3);
    const double peak[] = {0.0, 53.0, 163.0}, centre[] = {0.0, 426.0, 630.0},
                 width[] = {1, 45.0, 24.0};
    for (std::size_t k = 1; k < 3; ++k)
      book.components[k].absorptivity = support::bump(peak[k], centre[k], width[k]);
    book.stocks.resize(3);
    book.lots = {{"W", 0, {{1000.0, 0.0}, {0.0, 0.0}, {0.0, 0.0}}, {}},
                 {"Y", 1, {{999.5, 0.0}, {0.5, 0.0}, {0.0, 0.0}}, {}},
                 {"B", 2, {{999.8, 0.0}, {0.0, 0.0}, {0.2, 0.0}}, {}}};
    const double grams[] = {19.380, 0.320, 0.300}, spread[] = {0.00206, 0.019, 0.04};
    for (int s = 0; s < 3; ++s) {
      plant::Station station;
      station.spread_rel = spread[s];
      plant.stations.push_back(station);
      evidence.doses.push_back({s, s, s, grams[s], false});
    }
    plant.containers.emplace_back();
    plant.containers[0].inner_diameter_mm = 20.0;
    plant.containers[0].brimful_ml = 26.0;
    plant.instruments = {support::instrument("scale", plant::InstrumentKind::scale, 0.005, 0.0),
                         support::looking("eye", plant::ColourGauge::Gives::lab, 0.3, 0.0)};
    plant.instruments[1].colour->u_path_rel = u_path_rel;
    Reading net;
    net.kind = ReadingKind::gross;
    net.value = 20.0;
    net.after_doses = 3;
    net.air_kg_per_m3 = 0.0;  // masses as they are
    Reading look = net;
    look.kind = ReadingKind::colour;
    look.instrument = 1;
    look.values = {86.8968, -56.6516, 50.7868};
    evidence.readings = {net, look};
  }

  /// Slopes of what is read in units of its noise, by relative changes of what is dosed and, last,
  /// of the path where it is in doubt: (read, unknowns).
  [[nodiscard]] MatrixXd scaled(bool with_net) const {
    const VialModel model(evidence, plant, book, {}, true);
    const auto n = model.unknowns().mean.size();
    VectorXd predicted(4);
    MatrixXd gradient(n, 4);
    model.linearise(model.unknowns().mean, predicted, gradient);
    MatrixXd all(with_net ? 4 : 3, 3);
    for (int d = 0; d < 3; ++d) {
      const double grams = *evidence.doses[z(d)].commanded_g;
      if (with_net) all(3, d) = grams * gradient(d, 0) / 0.005;
      all.col(d).head(3) = grams * gradient.row(d).tail(3).transpose();
    }
    const int path = model.colour().vial_path;
    if (path < 0) return all;
    all.conservativeResize(Eigen::NoChange, 4);
    all.col(3).setZero();
    all.col(3).head(3) =
        gradient.row(path).tail(3).transpose() / plant.instruments[1].colour->u_path_rel;
    return all;
  }
};

// Source of the figures of the next three tests: the project's domain notes, section 6 (invented
// system; computed there apart from this program). Half a unit of the last printed digit.
TEST(WorkedGreen, ColourAloneSeesOnlyRatios) {
  const Eigen::JacobiSVD<MatrixXd> svd(Green(0.0).scaled(false), Eigen::ComputeFullV);
  EXPECT_NEAR(svd.singularValues()[0], 205.8, 0.05);
  EXPECT_NEAR(svd.singularValues()[1], 117.1, 0.05);
  EXPECT_NEAR(svd.singularValues()[2], 0.0, 1e-9);
  const VectorXd none = svd.matrixV().col(2);  // w = y = b
  EXPECT_NEAR(none[0] / none[1], 1.0, 1e-9);
  EXPECT_NEAR(none[0] / none[2], 1.0, 1e-9);
}

TEST(WorkedGreen, WithTheNetAllIsSeenUnlessThePathIsUnknown) {
  const Eigen::JacobiSVD<MatrixXd> known(Green(0.0).scaled(true), Eigen::ComputeFullV);
  EXPECT_NEAR(known.singularValues()[0], 3880.0, 5.0);
  EXPECT_NEAR(known.singularValues()[1], 155.6, 0.05);
  EXPECT_NEAR(known.singularValues()[2], 92.2, 0.05);
  const Eigen::JacobiSVD<MatrixXd> unknown(Green(0.01).scaled(true), Eigen::ComputeFullV);
  VectorXd none = unknown.matrixV().col(3);
  none *= none[3] > 0.0 ? 1.0 : -1.0;
  EXPECT_LT((unknown.singularValues().size() > 3 ? unknown.singularValues()[3] : 0.0), 1e-9);
  EXPECT_NEAR(none[0], 0.02, 0.005);
  EXPECT_NEAR(none[1], -0.58, 0.005);
  EXPECT_NEAR(none[2], -0.58, 0.005);
  EXPECT_NEAR(none[3], 0.58, 0.005);
}

TEST(WorkedGreen, AKnownPathIsWorthMoreThanABetterEye) {
  const auto relative = [](double u_path_rel, int stock) {
    const Green green(u_path_rel);
    const auto found = contents::estimate(green.evidence, green.plant, green.book);
    const auto& it = found.belief;
    return 100.0 * it.u(it.stock(stock)) / it.mean[it.stock(stock)];
  };
  EXPECT_NEAR(relative(0.01, 1), 0.99, 0.005);
  EXPECT_NEAR(relative(0.01, 2), 1.28, 0.005);
  EXPECT_NEAR(relative(0.0, 1), 0.63, 0.005);
  EXPECT_NEAR(relative(0.0, 2), 1.02, 0.005);
}

TEST(WorkedGreen, WhatColourDoesNotSeeIsSaidInPlainWords) {
  Green green(0.01);
  green.evidence.readings.erase(green.evidence.readings.begin());
  green.plant.command_is_evidence = false;
  const auto alone = contents::estimate(green.evidence, green.plant, green.book);
  ASSERT_FALSE(alone.unseen.empty());
  EXPECT_THAT(alone.unseen[0].what, HasSubstr("colour sees only ratios"));
}

// ---- what a belief gives away ------------------------------------------------------------------

int effect_at(const contents::Belief& belief, const Effect& effect) {
  for (int e = 0; e < static_cast<int>(belief.effects.size()); ++e)
    if (belief.effects[z(e)] == effect) return belief.effect(e);
  return -1;
}

TEST(ColourBelief, AbsorptivitiesAreEffectsWithAndWithoutAReading) {
  TintedVial vial = vial_with(support::through_vial);
  const Estimate with = estimate(vial);
  vial.evidence.readings.pop_back();
  const Estimate without = estimate(vial);
  for (const contents::Dose& dose : vial.evidence.doses) {
    const int dye = dose.stock;  // stock and component stand alike in this book
    const double u = vial.book.components[z(dye)].u_absorptivity_rel;
    if (u == 0.0) continue;
    const Effect absorptivity{Effect::Kind::absorptivity, dye, -1};
    const int told = effect_at(without.belief, absorptivity),
              seen = effect_at(with.belief, absorptivity);
    ASSERT_GE(told, 0);
    ASSERT_GE(seen, 0);
    EXPECT_EQ(without.belief.u(told), u);
    EXPECT_EQ(without.belief.covariance(told, dye), 0.0);
    EXPECT_LE(with.belief.u(seen), u * (1.0 + 1e-9));
    // A lot that is weaker and a dye that absorbs more look alike: they go against each other.
    const int strength = effect_at(with.belief, {Effect::Kind::strength, dose.lot, dye});
    ASSERT_GE(strength, 0);
    EXPECT_LT(with.belief.covariance(seen, strength), 0.0);
    EXPECT_LT(with.belief.u(strength), 0.005);
  }
}

TEST(ColourBelief, PredictsTheColourThatTheLiquidHas) {
  support::Random random(seed + 4);
  recipe::ColourTarget seen;
  seen.path_cm = 2.0;
  int within = 0, all = 0;
  for (int i = 0; i < 300; ++i) {
    const TintedVial vial = support::tinted_vial(random);
    const auto found = estimate(vial, 0.0);
    const contents::Colour colour =
        contents::colour_of(found.belief, mixing::View(vial.book, seen));
    plant::ColourGauge eye;
    eye.path_cm = seen.path_cm;
    const VectorXd held = support::liquid(vial, static_cast<int>(vial.evidence.doses.size()),
                                          vial.evidence.open_s, vial.evidence.days, vial.truth);
    VectorXd mg_per_ml = held.head(5) / held[5];
    for (int k = 0; k < 5; ++k) mg_per_ml[k] *= 1.0 + vial.truth[z(vial.deviation[z(k)])];
    const VectorXd truth = support::own_optics(vial.book, eye, 20.0).show(mg_per_ml, 1.0, 0.0);
    const double off[] = {colour.mean.l - truth[0], colour.mean.a - truth[1],
                          colour.mean.b - truth[2]};
    for (int axis = 0; axis < 3; ++axis) {
      const double u = std::sqrt(colour.covariance(axis, axis));
      ++all;
      within += std::abs(off[axis]) <= 1.96 * u ? 1 : 0;
    }
  }
  // 95 % of 900, three axes of a vial as one: five standard errors of 300.
  EXPECT_NEAR(static_cast<double>(within) / all, 0.95, 5.0 * std::sqrt(0.95 * 0.05 / 300.0));
}

TEST(ColourBelief, SlopesOfWhatColoursTheLiquid) {
  contents::Belief belief = estimate(vial_with(support::through_vial)).belief;
  belief.effects.push_back({Effect::Kind::foreign, 2, -1});
  belief.mean.conservativeResize(belief.mean.size() + 1);
  belief.mean[belief.mean.size() - 1] = 0.03;
  MatrixXd gradient;
  const VectorXd amounts = contents::colouring(belief, belief.mean, &gradient);
  EXPECT_EQ(amounts[5 + 2], 0.03);
  for (Eigen::Index i = 0; i < belief.mean.size(); ++i) {
    const double step = 1e-5 * std::max(1e-2, std::abs(belief.mean[i]));
    const VectorXd by = step * VectorXd::Unit(belief.mean.size(), i);
    const VectorXd slope = (contents::colouring(belief, belief.mean + by) -
                            contents::colouring(belief, belief.mean - by)) /
                           (2.0 * step);
    // Products and quotients: third derivatives of 1e-10, rounding of 50 mg/mL over the step.
    EXPECT_LT((slope - gradient.col(i)).lpNorm<Eigen::Infinity>(), 1e-6) << i;
  }
}

TEST(ColourBelief, FadesToItsMomentAsAWaitingVialDoes) {
  TintedVial vial = vial_with(support::as_lab);
  vial.evidence.readings.pop_back();
  for (contents::Dose& dose : vial.evidence.doses) dose.days = 0.0;
  vial.evidence.days = 0.0;
  const auto fresh = estimate(vial).belief;
  vial.evidence.days = 4.0;
  const auto later = estimate(vial).belief;
  const auto waited = contents::aged(fresh, 4.0, 0.0, vial.book);
  for (int dye = 1; dye <= 3; ++dye) {
    if (fresh.mean[dye] == 0.0) continue;
    // Rates 3.3 standard deviations from zero are cut off in the one and not in the other: 0.1 % of
    // a doubt that is 1.2 % of the dye.
    EXPECT_NEAR(later.mean[dye], waited.mean[dye], 1e-4 * waited.mean[dye]) << dye;
    EXPECT_NEAR(later.u(dye), waited.u(dye), 0.02 * waited.u(dye)) << dye;
  }
}

// ---- what a colour gives away ------------------------------------------------------------------

/// Base, yellow and salt, weighed, metered and looked at by a spectrometer; not read yet.
TintedVial yellow_vial(support::Random& random) {
  TintedVial vial;
  vial.plant = support::tinted_line().plant;
  vial.book = support::tinted_line().book;
  vial.optics = support::tinted_line().optics;
  vial.evidence.doses = {{0, 0, 0, 19.0, false}, {1, 1, 0, 0.35, false}, {4, 4, 0, 0.3, false}};
  support::read_vial(vial, ReadingKind::tare, 0, 0, 0.0, 1.2);
  for (int d = 0; d < 3; ++d)
    support::read_dose(vial, d, 1 + vial.evidence.doses[z(d)].stock, ReadingKind::dose, 0.0);
  support::read_vial(vial, ReadingKind::gross, 0, 3, 600.0, 1.2);
  support::look_at(vial, support::through_vial, 0, 600.0, 1.0);
  vial.evidence.open_s = 600.0;
  vial.evidence.days = 1.0;
  support::name_hidden(vial);
  support::name_tints(vial);
  support::draw_truth(vial, random);
  return vial;
}

TEST(ColourGivesAway, StockThatWasCarriedOver) {
  support::Random random(seed + 5);
  for (int i = 0; i < 20; ++i) {
    TintedVial vial = yellow_vial(random);
    const auto optics = vial.optics.at(support::through_vial);
    // One small drop, 12 mg of rose, in some 19.6 mL.
    support::read_tints(vial, random, optics->absorptivity.col(2) * (0.012 * 0.5 / 19.6));
    const Estimate found = estimate(vial);
    ASSERT_TRUE(found.contradiction) << i;
    const Explanation& best = found.explanations.front();
    EXPECT_EQ(best.wrong, Wrong::carried_over) << i;
    EXPECT_EQ(best.index, 2);
    EXPECT_NEAR(best.shift, 0.012, 4.0 * best.u_shift);
    EXPECT_LT(best.u_shift, 0.002);
    ASSERT_TRUE(found.settled);
    const contents::Belief& it = found.belief;
    EXPECT_NEAR(it.mean[it.component(2)], 0.006, 4.0 * it.u(it.component(2)));
    EXPECT_NEAR(it.mean[it.stock(2)], 0.012, 4.0 * it.u(it.stock(2)));
    EXPECT_LT(it.u(it.component(2)), 0.001);
    EXPECT_EQ(found.commands.size(), 3u);
    for (const auto& report : found.readings) EXPECT_TRUE(report.counted);
  }
}

TEST(ColourGivesAway, FadingBeyondTheRates) {
  support::Random random(seed + 6);
  int named = 0;
  for (int i = 0; i < 20; ++i) {
    TintedVial vial = yellow_vial(random);
    support::read_tints(vial, random);
    TintedVial weaker = vial;
    weaker.truth[z(weaker.places.strength[z(1 * 5 + 1)])] *= 0.8;  // a fifth of the yellow is gone
    support::read_colour(weaker, weaker.evidence.readings.back(), random);
    vial.evidence.readings.back().values = weaker.evidence.readings.back().values;
    const Estimate found = estimate(vial);
    ASSERT_TRUE(found.contradiction);
    const Explanation& best = found.explanations.front();
    if (best.wrong != Wrong::faded) continue;
    ++named;
    EXPECT_NEAR(best.shift, 0.2, 4.0 * best.u_shift);
  }
  EXPECT_GE(named, 18);
}

TEST(ColourGivesAway, AStrangerIsPartOfThePredictedColour) {
  support::Random random(seed + 7);
  TintedVial vial = yellow_vial(random);
  const auto optics = vial.optics.at(support::through_vial);
  VectorXd stranger(static_cast<Eigen::Index>(optics->nm.size()));
  for (Eigen::Index i = 0; i < stranger.size(); ++i)
    stranger[i] =
        0.05 * std::exp(-0.5 * std::pow((optics->nm[z(static_cast<int>(i))] - 570.0) / 30.0, 2));
  support::read_tints(vial, random, stranger);
  const Estimate found = estimate(vial);
  ASSERT_TRUE(found.contradiction && found.settled);
  EXPECT_EQ(found.explanations.front().wrong, Wrong::colourant);
  EXPECT_NEAR(found.explanations.front().shift, 0.05, 4.0 * found.explanations.front().u_shift);
  ASSERT_GE(effect_at(found.belief, {Effect::Kind::foreign, 0, -1}), 0);
  ASSERT_GE(effect_at(found.belief, {Effect::Kind::foreign, 7, -1}), 0);
  const VectorXd amounts = contents::colouring(found.belief, found.belief.mean);
  double at_570 = 0.0;
  for (int s = 0; s < mixing::foreign_shapes; ++s)
    at_570 += amounts[5 + s] * mixing::foreign_shape(s, 570.0);
  EXPECT_NEAR(at_570, 0.05, 0.005);
}

TEST(ColourGivesAway, AReadingThatIsWrongAsAWhole) {
  support::Random random(seed + 8);
  TintedVial vial = yellow_vial(random);
  support::read_tints(vial, random);
  // Each band off on its own: no liquid looks like that.
  for (double& value : vial.evidence.readings.back().values) value += 0.2 * random.normal();
  const Estimate found = estimate(vial);
  ASSERT_TRUE(found.contradiction && found.settled);
  EXPECT_EQ(found.explanations.front().wrong, Wrong::reading);
  EXPECT_EQ(found.explanations.front().index, 5);
  EXPECT_FALSE(found.readings.back().counted);
  EXPECT_EQ(found.readings.back().reason, "");
  EXPECT_TRUE(found.readings.front().counted);
}

}  // namespace
}  // namespace vialwright
