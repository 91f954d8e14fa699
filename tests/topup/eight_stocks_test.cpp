#include <gtest/gtest.h>

#include <cstdio>

#include "support/long_form.hpp"
#include "topup/long_search.hpp"

namespace vialwright::topup::testing {
namespace {

// The bar: eight stocks with least doses, 256 sets; odds within 0.5 points of a long independent
// search, and where that finds enough, so do we, for a cost within 2 % of its own.
TEST(EightStocks, AsGoodAsALongSearch) {
  const int pairs = support::trials(6, 50), effort = support::trials(150, 500);
  support::Random random(20311);
  double worst_odds = -1.0, worst_cost = -1.0;
  int looked_at = 0, enough = 0, sets = 0;
  for (int i = 0; looked_at < pairs; ++i) {
    SCOPED_TRACE("pair " + std::to_string(i) + " of seed 20311");
    const Pair pair = any_pair(random, 8, 8);
    const double wanted = 1.0 - *pair.recipe.consumer_risk;
    const Answer answer = best(pair.belief, pair.recipe, pair.means, pair.plant, pair.book);
    // Hopeless pairs are nearly half of what comes; the long search is kept for the others.
    if (answer.impossible == Impossible::by_any_amounts) continue;
    ++looked_at;
    LongSearch search(pair, wanted, effort, 600 + static_cast<std::uint64_t>(i));
    search.look();
    sets += search.sets;
    EXPECT_GE(answer.surest.odds.value, search.surest.odds - 0.005);
    worst_odds = std::max(worst_odds, search.surest.odds - answer.surest.odds.value);
    if (!search.cheapest || search.surest.odds < wanted + 2e-3) continue;  // 128 points: 2e-3
    ++enough;
    EXPECT_TRUE(answer.meets_risk);
    EXPECT_LE(answer.best.cost, 1.02 * search.cheapest->cost + 1e-12);
    if (search.cheapest->cost > 0.0)
      worst_cost = std::max(worst_cost, answer.best.cost / search.cheapest->cost - 1.0);
  }
  std::printf(
      "%d pairs, %d sets searched, %d can meet the risk: odds at worst %.4f below the long "
      "search's, cost %.2f %% above\n",
      looked_at, sets, enough, worst_odds, 100.0 * worst_cost);
}

}  // namespace
}  // namespace vialwright::topup::testing
