// Contents with colour, over many worlds of the twin: do the intervals hold the truth where the
// physics differ in form from the engine's, and what does that cost against a world whose form is
// the engine's own?
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <optional>

#include "support/long_form.hpp"
#include "support/random.hpp"
#include "worlds/larkmoor.hpp"

namespace vialwright::worlds {
namespace {

constexpr int vials_each = 6;
constexpr double bench_share = 0.3;

/// Of how many dye contents the 95 % interval held the truth, and how far off the means were.
struct Tally {
  int n = 0, held = 0, vials = 0, flagged = 0;
  double squares = 0.0;          ///< of relative errors
  double score_squares = 0.0;    ///< of errors over their standard uncertainties
  std::vector<double> by_world;  ///< share held, of each world

  [[nodiscard]] double coverage() const { return static_cast<double>(held) / n; }
  [[nodiscard]] double rms_rel() const { return std::sqrt(squares / n); }
  [[nodiscard]] double rms_score() const { return std::sqrt(score_squares / n); }
  /// Vials of one world share its errors, so the spread between worlds counts.
  [[nodiscard]] double u_coverage() const {
    double sum = 0.0;
    for (const double share : by_world) sum += std::pow(share - coverage(), 2);
    const auto worlds = static_cast<double>(by_world.size());
    return std::sqrt(sum / worlds / (worlds - 1.0));
  }
};

/// `colour`: doses spread ten times as much as the line file says, and nothing meters them, so that
/// the colour has the most to say.
enum class Sees { everything, colour };

plant::Plant plant_for(Sees sees, plant::Plant plant) {
  if (sees == Sees::everything) return plant;
  for (plant::Station& station : plant.stations) {
    station.spread_g *= 10.0;
    station.spread_rel *= 10.0;
  }
  return plant;
}

contents::Evidence seen(contents::Evidence evidence, Sees sees) {
  if (sees == Sees::everything) return evidence;
  std::erase_if(evidence.readings, [](const contents::Reading& it) {
    return it.kind == contents::ReadingKind::dose || it.kind == contents::ReadingKind::tank_loss;
  });
  return evidence;
}

void count(const contents::Estimate& estimate, const twin::VialTruth& truth, Tally& tally) {
  ++tally.vials;
  tally.flagged += estimate.contradiction ? 1 : 0;
  for (int k = 0; k < estimate.belief.components; ++k) {
    const bool dye =
        !larkmoor().book.components.at(static_cast<std::size_t>(k)).absorptivity.nm.empty();
    const double u = estimate.belief.u(k), mean = estimate.belief.mean[k];
    const double real = truth.component_mg.at(static_cast<std::size_t>(k));
    if (!dye || real <= 0.0) continue;
    const auto [lower, upper] = contents::interval_95(mean, u);
    ++tally.n;
    tally.held += real >= lower && real <= upper ? 1 : 0;
    tally.squares += std::pow(mean / real - 1.0, 2);
    tally.score_squares += std::pow((mean - real) / u, 2);
  }
}

Tally over_worlds(int worlds, double hardness, Sees sees) {
  Tally all;
  for (int w = 0; w < worlds; ++w) {
    twin::ShiftPlan plan;
    plan.seed = static_cast<std::uint64_t>(20'000 + w);
    plan.vials = vials_each;
    plan.start = {1'795'608'000'000'000};
    plan.hardness = hardness;
    plan.bench_colour = bench_share;
    twin::Trial trial(plant_for(sees, larkmoor().plant), larkmoor().book, larkmoor().recipes, plan);
    support::Random random(plan.seed * 7919 + 29);
    Record record;
    Tally one;
    for (int v = 0; v < vials_each; ++v) {
      const auto& recipes = larkmoor().recipes;
      const recipe::Recipe& recipe =
          recipes[static_cast<std::size_t>(random.below(static_cast<int>(recipes.size())))];
      const std::string serial = trial.make(recipe, trial.planned(recipe));
      const line::State state = record.about(serial, trial);
      const line::VialRecord* vial = line::find_vial(state, serial);
      if (vial == nullptr) {
        ADD_FAILURE() << serial;
        continue;
      }
      count(contents::estimate(seen(evidence_of(*vial), sees), plant_for(sees, state.plant),
                               state.book),
            trial.truth(), one);
    }
    all.n += one.n;
    all.held += one.held;
    all.vials += one.vials;
    all.flagged += one.flagged;
    all.squares += one.squares;
    all.score_squares += one.score_squares;
    all.by_world.push_back(one.coverage());
  }
  return all;
}

void print(const char* what, const Tally& tally) {
  std::printf(
      "%-34s %6d contents  coverage %.4f (se %.4f)  rms error %.3f %%  rms score %.3f  "
      "flagged %.4f\n",
      what, tally.n, tally.coverage(), tally.u_coverage(), 100.0 * tally.rms_rel(),
      tally.rms_score(), static_cast<double>(tally.flagged) / tally.vials);
}

void expect_held(const char* what, Sees sees) {
  const int worlds = support::trials(40, 420);
  const Tally matched = over_worlds(worlds, 0.0, sees), other = over_worlds(worlds, 1.0, sees);
  std::printf("%s\n", what);
  print("  the engine's own form", matched);
  print("  another form, of the same size", other);
  std::printf("  loss: %.1f %% more error, %.2f points of coverage\n",
              100.0 * (other.rms_rel() / matched.rms_rel() - 1.0),
              100.0 * (matched.coverage() - other.coverage()));
  EXPECT_GE(other.coverage(), 0.90 - 3.0 * other.u_coverage());
  EXPECT_LE(other.coverage(), 0.98 + 3.0 * other.u_coverage());
  // Where the form is the engine's own its intervals are right but for rounding and first order.
  EXPECT_NEAR(matched.coverage(), 0.95, 3.0 * matched.u_coverage() + 0.01);
}

TEST(ColouredContents, HoldTheTruthWithEveryReading) {
  expect_held("every reading", Sees::everything);
}
TEST(ColouredContents, HoldTheTruthWhereColourHasTheMostToSay) {
  expect_held("wide doses that nothing meters", Sees::colour);
}

}  // namespace
}  // namespace vialwright::worlds
