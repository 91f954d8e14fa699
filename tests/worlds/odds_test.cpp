// Are the odds of top-ups what they say? Over many worlds of the twin, whose physics differ in form
// from the engine's and whose hidden errors have the size that the line file says.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <functional>
#include <map>

#include "support/long_form.hpp"
#include "worlds/deciles.hpp"
#include "worlds/reworked_world.hpp"

namespace vialwright::worlds {
namespace {

/// Vials that may have to be made for so many top-ups: some contradict their evidence, some cannot
/// be topped up.
int most_vials(int topups) { return 4 * topups; }
using Counts = std::array<int, deciles>;
using Belief = std::function<double(const outcomes::Outcome&)>;  ///< odds that are believed
double as_predicted(const outcomes::Outcome& it) { return it.odds; }

/// Tries top-ups in one world. Of the proposals for a vial the one is taken whose odds fall where
/// fewest were tried: the choice looks at believed odds alone, so it takes nothing from their being
/// right. A world whose gauge is so far off that most vials contradict their evidence gives fewer.
std::vector<Tried> tried_in(World& world, int topups, const Belief& believed, Counts& counts) {
  std::vector<Tried> tried;
  while (static_cast<int>(tried.size()) < topups && !world.spent()) {
    world.make_wrong();
    if (!world.sound()) continue;
    const Proposal* chosen = nullptr;
    int fewest = 0;
    const auto proposals = world.proposals();
    for (const Proposal& it : proposals) {
      const int count = counts[static_cast<std::size_t>(decile_of(believed(it.described)))];
      if (chosen != nullptr && count >= fewest) continue;
      chosen = &it;
      fewest = count;
    }
    if (chosen == nullptr) continue;
    ++counts[static_cast<std::size_t>(decile_of(believed(chosen->described)))];
    tried.push_back(world.try_out(*chosen));
  }
  return tried;
}

void add(const Tried& tried, double odds, Table& into) {
  worlds::add(tried.world, odds, tried.came_true, into);
}

Table odds_table(int first_world, int worlds, int topups, Wanted wanted) {
  Counts counts{};
  Table table;
  for (int w = 0; w < worlds; ++w) {
    World world(static_cast<std::uint64_t>(first_world + w), most_vials(topups), 1.0, wanted);
    for (const Tried& it : tried_in(world, topups, as_predicted, counts)) {
      add(it, it.predicted.odds, table);
    }
  }
  return table;
}

TEST(OddsOverWorlds, AreWhatComesTrue) {
  const Table table = odds_table(1000, support::trials(20, 420), 63, Wanted::plain);
  print("odds of top-ups", table);
  expect_enough_and_near(table, support::trials(40, 2500));
}

// The same for recipes that want a colour, in worlds whose dyes and gauges depart from the book's.
TEST(OddsOverWorlds, OfColouredRecipesAreWhatComesTrue) {
  const Table table =
      odds_table(2000, support::trials(6, 420), support::trials(30, 78), Wanted::coloured);
  print("odds of top-ups, recipes with a colour", table);
  expect_enough_and_near(table, support::trials(5, 2500));
}

// Each line has 200 outcomes of its own behind it, then its corrected odds are held against what
// comes true. What is learned from is the evidence after each top-up, as on a real line.
TEST(OddsOverWorlds, WhereDosesSpreadHalfAsMuchAgainTwoHundredOutcomesMendThem) {
  const int worlds = support::trials(8, 110), history = 200, topups = support::trials(60, 240);
  Counts learned_from{}, counts{};
  Table as_they_were, table;
  for (int w = 0; w < worlds; ++w) {
    World world(static_cast<std::uint64_t>(5000 + w), most_vials(history + topups), 1.5,
                Wanted::plain);
    std::vector<outcomes::Outcome> known;
    for (const Tried& it : tried_in(world, history, as_predicted, learned_from)) {
      add(it, it.predicted.odds, as_they_were);
      known.push_back(it.predicted);
    }
    const auto stocks = static_cast<int>(larkmoor().book.stocks.size());
    const outcomes::Recalibration learned = outcomes::learn(known, stocks);
    const auto corrected = [&](const outcomes::Outcome& it) {
      return outcomes::correct(it, learned).odds;
    };
    for (const Tried& it : tried_in(world, topups, corrected, counts)) {
      add(it, corrected(it.predicted), table);
    }
  }
  print("odds as predicted, dose spread x 1.5", as_they_were);
  print("the same corrected by 200 outcomes of each line", table);
  EXPECT_LT(as_they_were.back().gap(), -0.03) << "there was something to learn";
  expect_enough_and_near(table, support::trials(20, 2500));
}

}  // namespace
}  // namespace vialwright::worlds
