// Faults: how many are seen, how many sound vials are flagged, and whether the right reading is
// named. "Noncentrality" of a fault in one reading is its shift over the standard deviation of that
// reading about what all the others predict: the mean of its standardised residual. (As the
// parameter of a noncentral chi-squared it would be its square; at 1 % false flags no test at all
// could see 95 % of faults of less than 2.33 + 1.64 = 4.0 in this sense.)
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <optional>

#include "contents/explained_by_force.hpp"
#include "support/long_form.hpp"

namespace vialwright {
namespace {

using contents::Estimate;
using contents::Explanation;
using support::DrawnVial;
using support::ExplainedByForce;
using support::z;

constexpr std::uint64_t seed = 20261126;

/// Blunders told in the line file, so that the brute force needs no rule of the estimator's.
void tell_blunders(DrawnVial& vial) {
  using enum plant::InstrumentKind;
  for (plant::Instrument& it : vial.plant.instruments)
    it.blunder = it.kind == scale         ? 0.2
                 : it.kind == tank_scale  ? 5.0
                 : it.kind == level_gauge ? 8.0
                                          : 0.4;
}

DrawnVial told_vial(support::Random& random) {
  DrawnVial vial = support::drawn_vial(random);
  tell_blunders(vial);
  return vial;
}

Estimate estimate(const DrawnVial& vial) {
  return contents::estimate(vial.evidence, vial.plant, vial.book);
}

TEST(ContentsFaults, SoundVialsAreSeldomFlagged) {
  support::Random random(seed);
  const int vials = support::trials(10000, 100000);
  int flagged = 0;
  for (int i = 0; i < vials; ++i) flagged += estimate(told_vial(random)).contradiction ? 1 : 0;
  const double rate = static_cast<double>(flagged) / vials;
  std::printf("flagged %d of %d sound vials: %.4f at a nominal 0.01\n", flagged, vials, rate);
  EXPECT_LE(rate, 0.02);
  // Two tests share the rate and Šidák's bound is not tight, so it is less; but not nothing.
  EXPECT_GE(rate, 0.003);
}

TEST(ContentsFaults, FaultsOfNoncentralitySixAreFlagged) {
  support::Random random(seed + 1);
  const int wanted = support::trials(2000, 20000);
  int planted = 0, flagged = 0;
  while (planted < wanted) {
    DrawnVial vial = told_vial(random);
    if (vial.evidence.readings.empty()) continue;
    const int j = random.below(static_cast<int>(vial.evidence.readings.size()));
    const double sign = random.below(2) == 0 ? 1.0 : -1.0;
    vial.evidence.readings[z(j)].value += sign * 6.0 * ExplainedByForce(vial).sd_given_rest(j);
    ++planted;
    flagged += estimate(vial).contradiction ? 1 : 0;
  }
  const double rate = static_cast<double>(flagged) / planted;
  std::printf("flagged %d of %d faults of noncentrality 6: %.4f\n", flagged, planted, rate);
  EXPECT_GE(rate, 0.95);
}

// ---- which one -----------------------------------------------------------------------------

struct Fault {
  Explanation::Wrong wrong = Explanation::Wrong::nothing;
  int index = -1;
  double odds = 0.0;
};

double missed_by(const DrawnVial& vial, int dose) {
  const double grams = *vial.evidence.doses[z(dose)].commanded_g;
  const plant::Station& station = vial.plant.stations[0];
  return std::max(grams, 10.0 * std::hypot(station.spread_g, station.spread_rel * grams));
}

double against(double fault_odds) { return fault_odds / (1.0 - fault_odds); }

/// Prior odds of each single fault.
std::vector<Fault> possible_faults(const DrawnVial& vial) {
  std::vector<Fault> all;
  for (int j = 0; j < static_cast<int>(vial.evidence.readings.size()); ++j) {
    const int instrument = vial.evidence.readings[z(j)].instrument;
    all.push_back({Explanation::Wrong::reading, j,
                   against(vial.plant.instruments[z(instrument)].fault_odds)});
  }
  for (int d = 0; d < static_cast<int>(vial.evidence.doses.size()); ++d)
    all.push_back({Explanation::Wrong::command, d, against(vial.plant.stations[0].fault_odds)});
  return all;
}

/// Posterior over the explanations, `nothing` first.
std::vector<Fault> posterior(const DrawnVial& vial) {
  const ExplainedByForce force(vial);
  std::vector<Fault> all = possible_faults(vial);
  all.insert(all.begin(), {Explanation::Wrong::nothing, -1, 1.0});
  const double none = force.log_density(force.of_reading(0), 0.0);
  std::vector<double> logs;
  for (const Fault& it : all) {
    double log = none;
    if (it.wrong == Explanation::Wrong::reading) {
      const int instrument = vial.evidence.readings[z(it.index)].instrument;
      log = force.log_density(force.of_reading(it.index),
                              std::pow(vial.plant.instruments[z(instrument)].blunder, 2));
    } else if (it.wrong == Explanation::Wrong::command) {
      log = force.log_density(force.of_dose(it.index), std::pow(missed_by(vial, it.index), 2));
    }
    logs.push_back(log + std::log(it.odds));
  }
  const double most = *std::max_element(logs.begin(), logs.end());
  double sum = 0.0;
  for (std::size_t i = 0; i < all.size(); ++i) sum += all[i].odds = std::exp(logs[i] - most);
  for (Fault& it : all) it.odds /= sum;
  return all;
}

/// Draws one fault by the prior odds and plants it.
Fault plant_one(DrawnVial& vial, support::Random& random) {
  std::vector<Fault> all = possible_faults(vial);
  double sum = 0.0;
  for (const Fault& it : all) sum += it.odds;
  double left = sum * random.uniform();
  std::size_t chosen = 0;
  while (chosen + 1 < all.size() && (left -= all[chosen].odds) > 0.0) ++chosen;
  const Fault fault = all[chosen];
  if (fault.wrong == Explanation::Wrong::reading) {
    auto& reading = vial.evidence.readings[z(fault.index)];
    reading.value += vial.plant.instruments[z(reading.instrument)].blunder * random.normal();
    return fault;
  }
  // The dose itself went elsewhere; its readings saw it.
  double& dose = vial.truth[z(vial.places.dose[z(fault.index)])];
  double missed = -1.0;
  while (missed < 0.0) missed = dose + missed_by(vial, fault.index) * random.normal();
  dose = missed;
  support::read_all(vial, random);
  return fault;
}

std::optional<Explanation> named(const Estimate& found) {
  if (!found.contradiction || !found.settled || found.explanations.empty()) return std::nullopt;
  const Explanation& best = found.explanations.front();
  if (best.wrong == Explanation::Wrong::nothing) return std::nullopt;
  return best;
}

TEST(ContentsFaults, TheRightOneIsNamedWhereItCanBeKnown) {
  support::Random random(seed + 2);
  const int wanted = support::trials(2000, 20000);
  int sure = 0, right = 0, wrong = 0;
  while (sure < wanted) {
    DrawnVial vial = told_vial(random);
    if (vial.evidence.readings.empty()) continue;
    const Fault planted = plant_one(vial, random);
    const std::vector<Fault> all = posterior(vial);
    const auto best = std::max_element(
        all.begin(), all.end(), [](const Fault& a, const Fault& b) { return a.odds < b.odds; });
    if (best->odds < 0.95 || best->wrong == Explanation::Wrong::nothing) continue;
    ++sure;
    const auto said = named(estimate(vial));
    if (!said) continue;
    const bool same = said->wrong == planted.wrong && said->index == planted.index;
    (same ? right : wrong) += 1;
  }
  std::printf("exact posterior sure in %d vials: right one named %.4f, a wrong one %.4f\n", sure,
              static_cast<double>(right) / sure, static_cast<double>(wrong) / sure);
  EXPECT_GE(right, 0.90 * sure);
  EXPECT_LE(wrong, 0.01 * sure);
}

TEST(ContentsFaults, OddsAreThoseOfBruteForce) {
  support::Random random(seed + 3);
  int compared = 0;
  while (compared < 200) {
    DrawnVial vial = told_vial(random);
    if (vial.evidence.readings.empty()) continue;
    plant_one(vial, random);
    const Estimate found = estimate(vial);
    if (!found.contradiction) continue;
    ++compared;
    const std::vector<Fault> all = posterior(vial);
    ASSERT_EQ(all.size(), found.explanations.size());
    for (const Explanation& said : found.explanations) {
      const auto same = std::find_if(all.begin(), all.end(), [&](const Fault& it) {
        return it.wrong == said.wrong && it.index == said.index;
      });
      ASSERT_NE(same, all.end());
      // Both linearise once; where a bound holds they do so at slightly different points.
      EXPECT_NEAR(said.odds, same->odds, 0.01);
    }
  }
}

// ---- what is said ----------------------------------------------------------------------------

TEST(ContentsFaults, ABelievedFaultIsSetAsideAndNothingElse) {
  support::Random random(seed + 4);
  int seen = 0;
  while (seen < 100) {
    DrawnVial vial = told_vial(random);
    if (vial.evidence.readings.empty()) continue;
    plant_one(vial, random);
    const Estimate found = estimate(vial);
    const auto said = named(found);
    if (!said) continue;
    ++seen;
    int aside = 0;
    for (const auto& report : found.readings) aside += report.counted ? 0 : 1;
    for (const auto& report : found.commands) aside += report.counted ? 0 : 1;
    EXPECT_EQ(aside, 1);
    const auto& reports =
        said->wrong == Explanation::Wrong::reading ? found.readings : found.commands;
    EXPECT_FALSE(reports[z(said->index)].counted);
    double sum = 0.0;
    for (const Explanation& it : found.explanations) sum += it.odds;
    EXPECT_NEAR(sum, 1.0, 1e-12);
  }
}

// Each explanation's size of the fault and net mass come from a rank-one update; solving the whole
// problem again with that one thing doubted is another road.
TEST(ContentsFaults, WhatTheVialWouldThenHoldIsWhatSolvingAgainGives) {
  support::Random random(seed + 6);
  int compared = 0;
  while (compared < 100) {
    DrawnVial vial = told_vial(random);
    if (vial.evidence.readings.empty()) continue;
    for (const auto& dose : vial.evidence.doses)
      if (*dose.commanded_g < 0.1)
        vial.evidence.readings.clear();  // the bound is not in the update
    if (vial.evidence.readings.empty()) continue;
    vial.plant.containers[0].u_open_loss_g_per_h = 0.001;  // nor the one of the rate
    plant_one(vial, random);
    const Estimate found = estimate(vial);
    if (!found.contradiction) continue;
    ++compared;
    for (const Explanation& it : found.explanations) {
      // An explanation far from what happened may be linearised far from the truth: nobody reads
      // it.
      if (it.wrong != Explanation::Wrong::reading || it.odds < 0.01) continue;
      DrawnVial doubted = vial;
      // The same instrument, but for a noisier copy of it that shares its errors.
      auto& instruments = doubted.plant.instruments;
      auto& reading = doubted.evidence.readings[z(it.index)];
      plant::Instrument& own = instruments[z(reading.instrument)];
      if (own.same_source.empty()) own.same_source = "a source of its own";
      plant::Instrument copy = own;
      const double noise = reading.kind == contents::ReadingKind::tank_loss
                               ? own.blunder / std::sqrt(2.0)
                               : own.blunder;
      copy.repeatability = std::hypot(own.repeatability, noise);
      reading.instrument = static_cast<int>(instruments.size());
      instruments.push_back(copy);
      contents::Options plain;
      plain.false_flag = 0.0;
      const Estimate again =
          contents::estimate(doubted.evidence, doubted.plant, doubted.book, plain);
      const int net = again.belief.net();
      // Both are linearised, at points apart by the blunder: a gain known to 0.3 % times three
      // standard deviations of a blunder of 0.4 g.
      EXPECT_NEAR(it.net_g, again.belief.mean[net], 0.003 * 3.0 * 0.4);
      EXPECT_NEAR(it.u_net_g, again.belief.u(net), 0.02 * again.belief.u(net));
    }
  }
}

TEST(ContentsFaults, TwoFaultsAreNotPutDownToOne) {
  support::Random random(seed + 5);
  int seen = 0, settled = 0;
  while (seen < 200) {
    DrawnVial vial = told_vial(random);
    if (vial.evidence.readings.size() < 6) continue;
    const ExplainedByForce force(vial);
    vial.evidence.readings[0].value += 30.0 * force.sd_given_rest(0);
    vial.evidence.readings[2].value += 30.0 * force.sd_given_rest(2);
    ++seen;
    const Estimate found = estimate(vial);
    EXPECT_TRUE(found.contradiction);
    settled += found.settled ? 1 : 0;
  }
  // Now and then one fault elsewhere does explain two; it may not be the rule.
  EXPECT_LE(settled, 20);
}

}  // namespace
}  // namespace vialwright
