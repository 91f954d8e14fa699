#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cstdio>
#include <numeric>

#include "support/long_form.hpp"
#include "topup/exact.hpp"
#include "topup/glpk.hpp"

namespace vialwright::topup::testing {
namespace {

ExactProgramme exact_of(const Instance& one) {
  const std::size_t n = one.stocks();
  ExactProgramme exact;
  const mpq_class total = one.total;
  for (std::size_t i = 0; i < n; ++i) {
    exact.cost.emplace_back(one.cost[i]);
    std::vector<mpq_class> low(n, -mpq_class(one.low[i])), cap(n);
    low[i] += 1;
    cap[i] = 1;
    exact.at_least(low, mpq_class(one.low[i]) * total - mpq_class(one.have[i]));
    exact.at_most(cap, one.cap[i]);
    if (one.high[i] == infinity) continue;
    std::vector<mpq_class> high(n, -mpq_class(one.high[i]));
    high[i] += 1;
    exact.at_most(high, mpq_class(one.high[i]) * total - mpq_class(one.have[i]));
  }
  const std::vector<mpq_class> ones(n, 1);
  exact.at_least(ones, mpq_class(one.total_low) - total);
  exact.at_most(ones, mpq_class(one.total_high) - total);
  std::vector<mpq_class> volume;
  for (const double each : one.volume) volume.emplace_back(each);
  exact.at_most(volume, one.volume_room);
  return exact;
}

double size_of(const Instance& one) { return std::max({1.0, one.total, one.total_high}); }

/// By how many grams (or mL) the additions break a line at most.
double worst_break(const Instance& one, const std::vector<double>& additions) {
  const double total = std::accumulate(additions.begin(), additions.end(), one.total);
  double volume = 0.0, worst = std::max(one.total_low - total, total - one.total_high);
  for (std::size_t i = 0; i < one.stocks(); ++i) {
    const double held = one.have[i] + additions[i];
    worst = std::max({worst, -additions[i], additions[i] - one.cap[i], one.low[i] * total - held});
    if (one.high[i] != infinity) worst = std::max(worst, held - one.high[i] * total);
    volume += one.volume[i] * additions[i];
  }
  return std::max(worst, volume - one.volume_room);
}

/// 1e-9 of the cost, or of a thousandth of a unit of account where costs cancel.
bool same_cost(double one, double other) {
  return std::abs(one - other) <= 1e-9 * std::max(1e-3, std::abs(other));
}

/// Is our answer right by exact arithmetic on the very doubles of the problem? A solution that
/// exists must be found at its cost. "Found" where none exists is right only if all limits need to
/// give by no more than the 1e-11 of the size that the solver states as the same mass.
::testing::AssertionResult right(const Instance& one, const Answer& ours) {
  const ExactProgramme exact = exact_of(one);
  const auto cost = ExactSimplex(exact).minimum(exact.cost);
  if (cost) {
    if (!ours.found) return ::testing::AssertionFailure() << "a solution exists, none was found";
    if (same_cost(ours.cost, cost->get_d())) return ::testing::AssertionSuccess();
    return ::testing::AssertionFailure() << "cost " << ours.cost << ", exactly " << cost->get_d();
  }
  if (!ours.found) return ::testing::AssertionSuccess();
  const double miss = ExactSimplex(exact).least_relaxation().get_d();
  if (miss <= 1e-11 * size_of(one)) return ::testing::AssertionSuccess();
  return ::testing::AssertionFailure() << "none exists, limits miss by " << miss;
}

struct Tally {
  int problems = 0, found = 0, verdicts_differ = 0, costs_differ = 0;
};

void compare(const Instance& one, Glpk& glpk, Tally& tally) {
  const Answer ours = solved(one);
  const GlpkAnswer theirs = glpk.solve(one);
  ++tally.problems;
  if (ours.found) {
    ++tally.found;
    ASSERT_LE(worst_break(one, ours.additions), 1e-9 * size_of(one));
  }
  const bool verdict_differs = ours.found != theirs.found;
  const bool cost_differs = !verdict_differs && ours.found && !same_cost(ours.cost, theirs.cost);
  if (!verdict_differs && !cost_differs) return;
  ++(verdict_differs ? tally.verdicts_differ : tally.costs_differ);
  ASSERT_TRUE(right(one, ours));
}

void print(const char* kind, const Tally& tally) {
  std::printf(
      "%s: %d problems, %d found; verdicts differ from GLPK in %d, costs in %d; "
      "exact arithmetic sides with us in each\n",
      kind, tally.problems, tally.found, tally.verdicts_differ, tally.costs_differ);
}

/// Peer: GLPK 5.0 (GNU), primal simplex; judge: exact rational simplex of this folder.
void compare_with_glpk(const char* kind, Instance (*make)(support::Random&, int),
                       std::uint64_t seed, int each) {
  support::Random random(seed);
  Tally tally;
  for (int stocks = 1; stocks <= 12; ++stocks) {
    Glpk glpk(stocks);
    for (int i = 0; i < each; ++i) {
      SCOPED_TRACE("stocks " + std::to_string(stocks) + ", problem " + std::to_string(i));
      ASSERT_NO_FATAL_FAILURE(compare(make(random, stocks), glpk, tally));
    }
  }
  print(kind, tally);
  EXPECT_GT(tally.found, tally.problems / 20);  // both answers must occur often
  EXPECT_GT(tally.problems - tally.found, tally.problems / 20);
}

TEST(LeastCost, OrdinaryPairsAgreeWithGlpkOrExactArithmeticIsOnOurSide) {
  compare_with_glpk("ordinary", ordinary, 20251, support::trials(4'500, 45'000));
}

TEST(LeastCost, AwkwardPairsAgreeWithGlpkOrExactArithmeticIsOnOurSide) {
  compare_with_glpk("awkward", awkward, 20252, support::trials(4'500, 45'000));
}

TEST(LeastCost, NearMissesAgreeWithGlpkOrExactArithmeticIsOnOurSide) {
  compare_with_glpk("near misses", near_miss, 20255, support::trials(1'000, 20'000));
}

// Where both solvers agree they may still both be wrong: a sample goes to the exact judge anyway.
TEST(LeastCost, ASampleIsRightByExactArithmetic) {
  support::Random random(20253);
  for (int i = 0; i < support::trials(1'500, 15'000); ++i) {
    const int stocks = 1 + random.below(8);
    const Instance one = i % 2 == 0 ? ordinary(random, stocks) : awkward(random, stocks);
    SCOPED_TRACE("problem " + std::to_string(i));
    ASSERT_TRUE(right(one, solved(one)));
  }
}

/// Two stocks, one of them the solvent, no limits that bind unless set by the test.
Instance plain() {
  Instance one;
  one.have = {4.0, 0.0};
  one.low = {0.0, 0.0};
  one.high = {infinity, infinity};
  one.cap = {10.0, 10.0};
  one.cost = {2.0, 1.0};
  one.volume = {1.0, 1.0};
  one.total = 20.0;
  one.total_low = 0.0;
  one.total_high = 30.0;
  one.volume_room = 10.0;
  return one;
}

TEST(LeastCost, NothingIsAddedWhereNothingIsAsked) {
  const Answer answer = solved(plain());
  ASSERT_TRUE(answer.found);
  EXPECT_EQ(answer.cost, 0.0);
  EXPECT_EQ(answer.additions, (std::vector<double>{0.0, 0.0}));
}

TEST(LeastCost, AWindowThatIsAPointIsMet) {
  Instance one = plain();
  one.total_low = one.total_high = 25.0;
  const Answer answer = solved(one);
  ASSERT_TRUE(answer.found);
  EXPECT_NEAR(answer.cost, 5.0, 1e-12);  // 5 g of the cheaper one
}

TEST(LeastCost, EqualLimitsHoldTheSolventToOneAmount) {
  Instance one = plain();
  one.low[0] = one.high[0] = 0.16;  // 4 g are 0.16 of 25 g
  one.cap[0] = 0.0;
  const Answer answer = solved(one);
  ASSERT_TRUE(answer.found);
  EXPECT_NEAR(answer.additions[1], 5.0, 1e-11);
}

TEST(LeastCost, WhatIsForbiddenAndThereCannotBeDiluted) {
  Instance one = plain();
  one.high[0] = 0.0;
  EXPECT_FALSE(solved(one).found);
  one.have[0] = 0.0;
  EXPECT_TRUE(solved(one).found);
}

TEST(LeastCost, AnEmptyVialIsFilledFromNothing) {
  Instance one = plain();
  one.have[0] = one.total = 0.0;
  one.low[0] = 0.25;
  one.high[0] = 0.5;
  one.total_low = one.total_high = 8.0;
  const Answer answer = solved(one);
  ASSERT_TRUE(answer.found);
  EXPECT_NEAR(answer.cost, 2.0 * 2.0 + 6.0 * 1.0, 1e-12);
  one.total_low = one.total_high = 0.0;
  EXPECT_TRUE(solved(one).found);  // an empty vial for an empty recipe
}

TEST(LeastCost, ACapOfZeroForbidsTheStock) {
  Instance one = plain();
  one.total_low = 25.0;
  one.cap = {10.0, 0.0};
  const Answer answer = solved(one);
  ASSERT_TRUE(answer.found);
  EXPECT_NEAR(answer.cost, 10.0, 1e-12);
  one.cap = {0.0, 0.0};
  EXPECT_FALSE(solved(one).found);
}

TEST(LeastCost, TheVolumeRowTradesTheCheaperStockForTheDenser) {
  Instance one = plain();
  one.total_low = 28.0;
  one.volume = {0.5, 1.0};
  one.volume_room = 6.0;  // 8 g: a + b = 8 and a / 2 + b = 6, so a = 4 and b = 4
  const Answer answer = solved(one);
  ASSERT_TRUE(answer.found);
  EXPECT_NEAR(answer.additions[0], 4.0, 1e-11);
  EXPECT_NEAR(answer.cost, 12.0, 1e-11);
  one.volume_room = 3.9;
  EXPECT_FALSE(solved(one).found);
}

// A vial that is at its limit to the last bit stays possible, whatever way the products round.
TEST(LeastCost, LimitsMetToTheLastBitAreMet) {
  support::Random random(20254);
  for (int i = 0; i < 20'000; ++i) {
    Instance one = plain();
    const double share = random.uniform(0.001, 0.9), total = random.uniform(1.0, 30.0);
    one.have[0] = share * total;
    one.total = one.total_low = one.total_high = total;
    one.low[0] = one.high[0] = share;
    ASSERT_TRUE(solved(one).found) << share << " of " << total;
  }
}

// ---- what must hold of any answer --------------------------------------------------------------

Instance any_instance() {
  const auto seed = *rc::gen::arbitrary<std::uint64_t>();
  support::Random random(seed);
  const int stocks = 1 + random.below(10);
  return random.below(2) == 0 ? ordinary(random, stocks) : awkward(random, stocks);
}

RC_GTEST_PROP(LeastCostAlways, MoreRoomOrMoreOfAStockNeverCostsMore, ()) {
  const Instance tight = any_instance();
  const Answer before = solved(tight);
  RC_PRE(before.found);
  Instance loose = tight;
  const auto stock =
      static_cast<std::size_t>(*rc::gen::inRange(0, static_cast<int>(tight.stocks())));
  loose.cap[stock] += 1.5;
  loose.volume_room += 0.7;
  loose.total_high += 0.3;
  const Answer after = solved(loose);
  RC_ASSERT(after.found);
  RC_ASSERT(after.cost <= before.cost + 1e-9 * std::max(1.0, std::abs(before.cost)));
}

RC_GTEST_PROP(LeastCostAlways, PricesInAnotherCoinScaleTheCost, ()) {
  const Instance one = any_instance();
  Instance dear = one;
  for (double& price : dear.cost) price *= 3.7;
  const Answer before = solved(one), after = solved(dear);
  RC_ASSERT(before.found == after.found);
  if (before.found) RC_ASSERT(same_cost(after.cost, 3.7 * before.cost));
}

RC_GTEST_PROP(LeastCostAlways, GramsOrKilogramsGiveTheSameAnswer, ()) {
  const Instance one = any_instance();
  Instance large = one;
  for (auto* each : {&large.have, &large.cap})
    for (double& mass : *each) mass *= 1024.0;  // a power of two: no rounding of its own
  large.total *= 1024.0;
  large.total_low *= 1024.0;
  large.total_high *= 1024.0;
  large.volume_room *= 1024.0;
  const Answer before = solved(one), after = solved(large);
  RC_ASSERT(before.found == after.found);
  if (before.found) RC_ASSERT(same_cost(after.cost, 1024.0 * before.cost));
}

RC_GTEST_PROP(LeastCostAlways, OrderOfTheStocksDoesNotMatter, ()) {
  const Instance one = any_instance();
  Instance turned = one;
  for (auto* each :
       {&turned.have, &turned.low, &turned.high, &turned.cap, &turned.cost, &turned.volume})
    std::reverse(each->begin(), each->end());
  const Answer before = solved(one), after = solved(turned);
  RC_ASSERT(before.found == after.found);
  if (before.found) RC_ASSERT(same_cost(after.cost, before.cost));
}

}  // namespace
}  // namespace vialwright::topup::testing
