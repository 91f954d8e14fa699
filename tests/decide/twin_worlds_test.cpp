/// The whole path from recorded events to beliefs, in simulated worlds whose physics differ in form
/// from the estimator's (other tails, meter response, after-flow, drift within the shift). Coverage
/// may suffer a little there; it must not break.

#include <gtest/gtest.h>
#include <cmath>
#include <cstdio>
#include <map>

#include "decide/decide.hpp"
#include "support/long_form.hpp"
#include "twin/twin.hpp"

namespace vialwright::decide {
namespace {

const line::LineFile& larkmoor() {
  static const line::LineFile file = [] {
    const std::string folder = std::string(VIALWRIGHT_SOURCE_DIR) + "/examples/larkmoor/";
    auto line = line::read_line_file(folder + "line.toml");
    if (!line) ADD_FAILURE() << line.error().front().what << " " << line.error().front().where;
    if (line->recipes.empty()) {
      auto recipes = line::read_recipes_csv(folder + "recipes.csv", *line);
      if (!recipes) ADD_FAILURE() << recipes.error().front().what;
      line->recipes = *recipes;
    }
    // Recorded shifts end before anything fades, and their truth is told as it was made.
    for (auto& component : line->book.components) {
      component.fade_per_day = component.u_fade_per_day = 0.0;
    }
    return *std::move(line);
  }();
  return file;
}

std::vector<twin::OrderWanted> orders(int count, std::uint64_t world) {
  std::vector<twin::OrderWanted> wanted(static_cast<std::size_t>(count));
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    const std::size_t recipe = (world * 7 + i) % larkmoor().recipes.size();
    wanted[i].order = "O-" + std::to_string(i);
    wanted[i].recipe = larkmoor().recipes[recipe].id;
    wanted[i].due = quantity::Instant{1'795'694'400'000'000};
  }
  return wanted;
}

line::State folded(const twin::Shift& shift) {
  std::vector<line::Fact> facts;
  facts.reserve(shift.lines.size());
  for (std::size_t i = 0; i < shift.lines.size(); ++i) {
    auto event = event::parse(shift.lines[i], "recorded");
    if (!event) {
      ADD_FAILURE() << event.error().what << " " << event.error().where;
      continue;
    }
    facts.push_back({*std::move(event), i + 1, shift.received[i]});
  }
  return line::fold(larkmoor(), std::move(facts), {1'795'700'000'000'000});
}

twin::Shift recorded(std::uint64_t world, int vials, double hardness) {
  twin::ShiftPlan plan;
  plan.seed = world;
  plan.vials = vials;
  plan.start = {1'795'608'000'000'000};
  plan.hardness = hardness;
  return twin::record_shift(larkmoor().plant, larkmoor().book, larkmoor().recipes,
                            orders(vials, world), plan);
}

/// How often 95 % intervals held the truth, with the spread between worlds as its error.
class Coverage {
 public:
  void add(std::uint64_t world, bool held) {
    auto& [hits, all] = worlds_[world];
    hits += held ? 1 : 0;
    all += 1;
  }
  double share() const {
    double hits = 0.0, all = 0.0;
    for (const auto& [world, counts] : worlds_) {
      hits += counts.first;
      all += counts.second;
    }
    return hits / all;
  }
  /// Cluster-robust standard error: worlds are independent, vials of one world are not.
  double error() const {
    const double mean = share();
    double all = 0.0, squares = 0.0;
    for (const auto& [world, counts] : worlds_) {
      all += counts.second;
      const double off = counts.first - mean * counts.second;
      squares += off * off;
    }
    return std::sqrt(squares) / all;
  }
  std::size_t worlds() const { return worlds_.size(); }

 private:
  std::map<std::uint64_t, std::pair<double, double>> worlds_;
};

bool holds(const contents::Belief& belief, int axis, double truth) {
  return std::abs(belief.mean[axis] - truth) <= 1.959963984540054 * belief.u(axis);
}

std::map<std::string, Coverage> coverage_over(int worlds, int vials, double hardness) {
  std::map<std::string, Coverage> coverage;
  for (int world = 1; world <= worlds; ++world) {
    const auto seed = static_cast<std::uint64_t>(world);
    const twin::Shift shift = recorded(seed, vials, hardness);
    const line::State state = folded(shift);
    for (const twin::VialTruth& truth : shift.truth) {
      const line::VialRecord* vial = line::find_vial(state, truth.serial);
      if (vial == nullptr) {
        ADD_FAILURE() << truth.serial << " is in no record";
        continue;
      }
      const Decision decision = decide_vial(state, *vial, {});
      const contents::Belief& belief = decision.estimate->belief;
      coverage["net mass"].add(seed, holds(belief, belief.net(), truth.net_g));
      for (std::size_t k = 0; k < truth.component_mg.size(); ++k) {
        if (truth.component_mg[k] <= 0.0) continue;
        const std::string& name = larkmoor().book.components[k].id;
        coverage[name].add(
            seed, holds(belief, belief.component(static_cast<int>(k)), truth.component_mg[k]));
      }
    }
  }
  return coverage;
}

TEST(TwinWorlds, IntervalsOfContentsStillCoverInWorldsOfAnotherForm) {
  const int worlds = support::trials(240, 2000);
  std::printf("seeds 1 to %d, 4 vials a world\n", worlds);
  for (const auto& [name, coverage] : coverage_over(worlds, 4, 1.0)) {
    std::printf("%-10s %.1f %% (error %.1f, %zu worlds), loss against 95 %%: %+.1f points\n",
                name.c_str(), 100.0 * coverage.share(), 100.0 * coverage.error(), coverage.worlds(),
                100.0 * (0.95 - coverage.share()));
    // The band is the agreed one for mismatched physics; two clustered errors are its grain.
    EXPECT_GE(coverage.share(), 0.90 - 2.0 * coverage.error()) << name;
    EXPECT_LE(coverage.share(), 0.98 + 2.0 * coverage.error()) << name;
  }
}

TEST(TwinWorlds, ReleasedVialsAreGoodAsOftenAsPromised) {
  const int worlds = support::trials(120, 1000);
  double promised = 0.0, variance = 0.0;
  int released = 0, good = 0;
  for (int world = 1; world <= worlds; ++world) {
    const twin::Shift shift = recorded(static_cast<std::uint64_t>(10'000 + world), 6, 1.0);
    const line::State state = folded(shift);
    for (const twin::VialTruth& truth : shift.truth) {
      const line::VialRecord* vial = line::find_vial(state, truth.serial);
      ASSERT_NE(vial, nullptr);
      const Decision decision = decide_vial(state, *vial, {});
      if (decision.disposition != Disposition::release) continue;
      const double p = decision.conformity->joint.value;
      promised += p;
      variance += p * (1.0 - p);
      released += 1;
      good += twin::meets(truth, *vial->recipe) ? 1 : 0;
    }
  }
  std::printf("released %d, good %d, promised %.1f\n", released, good, promised);
  ASSERT_GT(released, worlds * 3);
  // Vials of one world share errors: the variance is inflated by at most the six vials of a world.
  EXPECT_NEAR(good, promised, 3.0 * std::sqrt(6.0 * variance) + 0.01 * released);
}

}  // namespace
}  // namespace vialwright::decide
