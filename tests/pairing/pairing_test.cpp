// Pairing against every way there is, and what must hold of any pairing.
#include "pairing/pairing.hpp"

#include <gtest/gtest.h>

#include <rapidcheck/gtest.h>
#include <algorithm>
#include <cmath>

#include "pairing/by_force.hpp"
#include "support/long_form.hpp"

namespace vialwright::pairing {
namespace {

using testing::by_order;
using testing::ByForce;
using testing::Found;
using testing::small_problem;

constexpr double grain = 1e-6;

Problem dense(const std::vector<std::vector<double>>& worth) {
  Problem made;
  made.waiting.assign(worth.size(), 0.0);
  made.orders = static_cast<int>(worth.front().size());
  for (std::size_t i = 0; i < worth.size(); ++i)
    for (std::size_t j = 0; j < worth[i].size(); ++j)
      made.pairs.push_back({static_cast<int>(i), static_cast<int>(j), worth[i][j]});
  return made;
}

/// Whole money makes ties, which must be settled alike; twelfths of a unit are no whole number of
/// grains, so that rounding takes part and may settle a tie by itself.
TEST(Pairing, EqualsEveryWayThereIs) {
  support::Random random(901);
  const int cases = support::trials(500, 20'000);
  for (int n = 0; n < cases; ++n) {
    const Problem problem = small_problem(random, n % 2 == 0 ? 1.0 : 1.0 / 12.0);
    const Found force = ByForce(problem).best();
    const Answer answer = assign(problem, grain);
    SCOPED_TRACE("seed 901, case " + std::to_string(n));
    // Six pairs, each rounded by half a grain on either side of the comparison.
    ASSERT_NEAR(answer.gain, force.gain, 6 * grain);
    if (n % 2 == 0) {
      ASSERT_EQ(by_order(problem, answer.pairs), force.by_order);
    }
    ASSERT_EQ(answer.kept.size() + answer.pairs.size(), problem.waiting.size());
  }
}

TEST(Pairing, OfEqualAnswersTheLowerOrderGetsTheLowerVial) {
  Problem problem = dense({{5, 5, 5}, {5, 5, 5}, {5, 5, 5}, {5, 5, 5}});
  EXPECT_EQ(by_order(problem, assign(problem).pairs), (testing::ByOrder{0, 1, 2}));
  EXPECT_EQ(assign(problem).kept, (std::vector<int>{3}));
  std::ranges::reverse(problem.pairs);
  EXPECT_EQ(by_order(problem, assign(problem).pairs), (testing::ByOrder{0, 1, 2}));
}

TEST(Pairing, TheOrderInWhichPairsAreListedDoesNotMatter) {
  support::Random random(902);
  for (int n = 0; n < support::trials(300, 5'000); ++n) {
    Problem problem = small_problem(random, 1.0);  // many ties
    const Answer one = assign(problem);
    for (std::size_t i = problem.pairs.size(); i > 1; --i)
      std::swap(problem.pairs[i - 1],
                problem.pairs[static_cast<std::size_t>(random.below(static_cast<int>(i)))]);
    const Answer other = assign(problem);
    ASSERT_EQ(one.pairs, other.pairs) << "seed 902, case " << n;
    ASSERT_EQ(one.kept, other.kept);
  }
}

TEST(Pairing, WaitingBeatsAPairOfLessWorth) {
  Problem problem = dense({{1.0}, {0.5}});
  problem.waiting = {1.5, 0.25};
  const Answer answer = assign(problem);
  EXPECT_EQ(answer.pairs, (std::vector<Pair>{{1, 0, 0.5}}));
  EXPECT_EQ(answer.kept, (std::vector<int>{0}));
  EXPECT_DOUBLE_EQ(answer.gain, 0.25);
  // It must beat waiting (0.5) and what the other vial brings there (0.25).
  EXPECT_NEAR(shortfall(problem, answer, problem.pairs[0]), 0.75, 2 * grain);
}

TEST(Pairing, NothingToPairIsAnAnswer) {
  EXPECT_TRUE(assign(Problem{}).pairs.empty());
  Problem no_orders;
  no_orders.waiting = {1.0, -0.3};
  EXPECT_EQ(assign(no_orders).kept, (std::vector<int>{0, 1}));
  Problem no_vials;
  no_vials.orders = 3;
  EXPECT_TRUE(assign(no_vials).kept.empty());
}

TEST(Pairing, FixedPairsStayWhateverElseIsBetter) {
  Problem problem = dense({{1, 9}, {9, 1}});
  problem.fixed = {problem.pairs[0]};
  const Answer answer = assign(problem);
  EXPECT_EQ(by_order(problem, answer.pairs), (testing::ByOrder{0, 1}));
  EXPECT_DOUBLE_EQ(answer.gain, 2.0);
  EXPECT_EQ(answer.short_by[0], 0.0);
  EXPECT_TRUE(std::isinf(answer.short_by[1]));
  EXPECT_TRUE(std::isinf(shortfall(problem, answer, problem.pairs[2])));
}

// A rush order: its lateness makes a fresh vial dear, so that a pair there is worth more.
TEST(Pairing, ARushOrderTakesTheVialFromOneThatCanWait) {
  Problem problem = dense({{4.0, 3.9}});
  EXPECT_EQ(assign(problem).pairs.front().order, 0);
  problem.pairs[1].worth += 2.5;  // what lateness would cost
  EXPECT_EQ(assign(problem).pairs.front().order, 1);
}

// ---- advice that does not flutter
// ------------------------------------------------------------------

TEST(Pairing, WhatWasAdvisedStaysUntilTheGainIsWorthTheSwitch) {
  Problem problem = dense({{5.0, 5.0}});
  problem.switching = 0.2;
  problem.advised = {problem.pairs[0]};
  problem.pairs[1].worth = 5.19;
  EXPECT_EQ(assign(problem).pairs.front().order, 0);
  problem.pairs[1].worth = 5.21;
  EXPECT_EQ(assign(problem).pairs.front().order, 1);
  problem.waiting = {5.21 + 0.19};  // keeping it waiting is a switch too
  problem.pairs[1].worth = 0.0;
  problem.pairs[0].worth = 5.21;
  EXPECT_EQ(assign(problem).pairs.size(), 1u);
  problem.waiting = {5.21 + 0.21};
  EXPECT_TRUE(assign(problem).pairs.empty());
}

/// A pairing that changes gives up at least one advised pair, unless it only adds. With changes of
/// worth below e in each of n pairs and m vials, no other pairing can gain more than
/// 2 e min(n, m), so that a switch that costs more flips nothing advised.
TEST(Pairing, SmallChangesOfWorthFlipNothingAdvised) {
  support::Random random(903);
  int moved_without = 0;
  for (int n = 0; n < support::trials(300, 5'000); ++n) {
    Problem problem = small_problem(random, 1.0);
    problem.advised.clear();
    const Answer before = assign(problem);
    problem.advised = before.pairs;
    const double most = 0.05;
    for (Pair& pair : problem.pairs) pair.worth += random.uniform(-most, most);
    for (double& each : problem.waiting) each += random.uniform(-most, most);
    problem.switching = 0.0;
    const auto still_advised = [&](const Answer& after) {
      return std::ranges::all_of(problem.advised, [&](const Pair& pair) {
        return std::ranges::any_of(after.pairs, [&](const Pair& other) {
          return other.vial == pair.vial && other.order == pair.order;
        });
      });
    };
    moved_without += still_advised(assign(problem)) ? 0 : 1;
    // Six pairs before and six after, each moved by two changes.
    problem.switching = 12 * 2 * most;
    ASSERT_TRUE(still_advised(assign(problem))) << "seed 903, case " << n;
  }
  EXPECT_GT(moved_without, 20);  // without the price advice does flutter
}

// ---- what is missing
// -------------------------------------------------------------------------------

bool takes(const Problem& problem, std::size_t p) {
  const Pair& pair = problem.pairs[p];
  return std::ranges::any_of(assign(problem, grain).pairs, [&](const Pair& other) {
    return other.vial == pair.vial && other.order == pair.order;
  });
}

/// With the worth raised by what is missing and a little, the pair is taken; by a little less, it
/// is not. Money moves in twelfths, so nothing else lies within the little.
TEST(Pairing, WhatIsMissingIsWhatMustBeAdded) {
  support::Random random(904);
  int looked_at = 0;
  for (int n = 0; n < support::trials(60, 1'000); ++n) {
    Problem problem = small_problem(random, 1.0 / 12.0);
    const Answer answer = assign(problem, grain);
    for (std::size_t p = 0; p < problem.pairs.size(); ++p) {
      const double missing = shortfall(problem, answer, problem.pairs[p], grain);
      SCOPED_TRACE("seed 904, case " + std::to_string(n) + ", pair " + std::to_string(p));
      const double little = 12 * grain;  // half a grain a pair of both pairings
      ASSERT_LE(answer.short_by[p], missing + little);
      ASSERT_GE(answer.short_by[p], 0.0);
      if (std::isinf(missing)) {
        ASSERT_TRUE(std::isinf(answer.short_by[p]));
        continue;
      }
      const double worth = problem.pairs[p].worth;
      problem.pairs[p].worth = worth + missing + little;
      ASSERT_TRUE(takes(problem, p));
      problem.pairs[p].worth = worth + missing - little;
      if (missing > little) {
        ASSERT_FALSE(takes(problem, p));
      }
      problem.pairs[p].worth = worth;
      ++looked_at;
    }
  }
  EXPECT_GT(looked_at, 300);
}

/// Weak duality by hand: while the worth rises by less than short_by, the pairing stays.
TEST(Pairing, ByLessThanShortByNothingMoves) {
  support::Random random(905);
  for (int n = 0; n < support::trials(100, 2'000); ++n) {
    Problem problem = small_problem(random, 1.0 / 12.0);
    const Answer answer = assign(problem, grain);
    for (std::size_t p = 0; p < problem.pairs.size(); ++p) {
      if (std::isinf(answer.short_by[p]) || answer.short_by[p] < 1e-4) continue;
      Problem raised = problem;
      raised.pairs[p].worth += answer.short_by[p] - 2 * grain;
      ASSERT_EQ(by_order(raised, assign(raised, grain).pairs), by_order(problem, answer.pairs))
          << "seed 905, case " << n << ", pair " << p;
    }
  }
}

RC_GTEST_PROP(PairingOfAny, AVialAndAnOrderAreUsedOnceAndNoPairLosesAgainstWaiting, ()) {
  support::Random random(static_cast<std::uint64_t>(*rc::gen::inRange(0, 1 << 30)));
  Problem problem = small_problem(random, 0.25);
  problem.advised.clear();  // what is kept for the price of switching may lose
  const Answer answer = assign(problem);
  std::vector<int> vials, orders;
  for (const Pair& pair : answer.pairs) {
    vials.push_back(pair.vial);
    orders.push_back(pair.order);
    const bool fixed = std::ranges::count(problem.fixed, pair) > 0;
    RC_ASSERT(fixed || pair.worth >= problem.waiting[static_cast<std::size_t>(pair.vial)]);
  }
  RC_ASSERT(std::ranges::is_sorted(vials));
  RC_ASSERT(std::ranges::adjacent_find(vials) == vials.end());
  std::ranges::sort(orders);
  RC_ASSERT(std::ranges::adjacent_find(orders) == orders.end());
}

TEST(PairingDeath, WhatBreaksThePromisesStops) {
  Problem problem = dense({{1, 2}});
  problem.fixed = {{0, 0, 1.0}, {0, 1, 2.0}};
  EXPECT_DEATH((void)assign(problem), "fixed pairs share no vial");
  problem = dense({{1, std::nan("")}});
  EXPECT_DEATH((void)assign(problem), "pairs name vials and orders");
  problem = dense({{1, 2}});
  problem.pairs.push_back(problem.pairs[0]);
  EXPECT_DEATH((void)assign(problem), "at most one pair");
  EXPECT_DEATH((void)assign(dense({{9e5}}), 1e-14), "not too fine");
}

}  // namespace
}  // namespace vialwright::pairing
