#include <gtest/gtest.h>
#include <hwy/highway.h>
#include <hwy/targets.h>

#include <cstdio>

#include "topup/instances.hpp"

namespace vialwright::topup::testing {
namespace {

/// Many recipes for one vial: recipe r is the r-th instance's, the vial and stocks the first one's.
struct Screen {
  Instance vial;
  RecipeTable recipes;

  Screen(std::uint64_t seed, int stocks, int count, double room,
         Instance (*make)(support::Random&, int)) {
    support::Random random(seed);
    vial = make(random, stocks);
    vial.volume_room = room;
    recipes.stocks = stocks;
    recipes.count = count;
    const auto n = static_cast<std::size_t>(stocks), many = static_cast<std::size_t>(count);
    recipes.low.resize(n * many);
    recipes.high.resize(n * many);
    for (std::size_t r = 0; r < many; ++r) {
      const Instance recipe = make(random, stocks);
      for (std::size_t i = 0; i < n; ++i) {
        recipes.low[i * many + r] = recipe.low[i];
        recipes.high[i * many + r] = recipe.high[i];
      }
      recipes.total_low.push_back(recipe.total_low);
      recipes.total_high.push_back(recipe.total_high);
    }
  }
  [[nodiscard]] std::vector<double> screened() const {
    std::vector<double> cost(recipes.total_low.size(), -1.0);
    screen(recipes, vial.have, vial.cap, vial.cost, vial.volume, vial.total, vial.volume_room,
           cost);
    return cost;
  }
  [[nodiscard]] std::vector<double> one_by_one() const {
    const std::size_t many = recipes.total_low.size();
    std::vector<double> cost;
    Instance one = vial;
    for (std::size_t r = 0; r < many; ++r) {
      for (std::size_t i = 0; i < one.stocks(); ++i) {
        one.low[i] = recipes.low[i * many + r];
        one.high[i] = recipes.high[i * many + r];
      }
      one.total_low = recipes.total_low[r];
      one.total_high = recipes.total_high[r];
      const Answer answer = solved(one);
      cost.push_back(answer.found ? answer.cost : infinity);
    }
    return cost;
  }
};

std::vector<Screen> screens() {
  std::vector<Screen> all;
  for (const int stocks : {1, 2, 4, 5, 8, 12}) {
    for (const double room : {0.5, 3.0, 50.0}) {
      const auto seed =
          static_cast<std::uint64_t>(stocks * 1000) + static_cast<std::uint64_t>(room);
      all.emplace_back(seed, stocks, 1003, room, ordinary);  // 1003: no vector width divides it
      all.emplace_back(seed + 1, stocks, 1003, room, awkward);
    }
  }
  return all;
}

int expect_same(const Screen& screen) {
  const std::vector<double> lanes = screen.screened(), single = screen.one_by_one();
  int found = 0;
  for (std::size_t r = 0; r < single.size(); ++r) {
    if (single[r] == infinity) {
      EXPECT_EQ(lanes[r], infinity) << "recipe " << r;
      continue;
    }
    ++found;
    // Relative, or to a thousandth of a unit of account where negative prices cancel.
    EXPECT_NEAR(lanes[r], single[r], 1e-9 * std::max(1e-3, std::abs(single[r]))) << "recipe " << r;
  }
  return found;
}

TEST(Screen, GivesTheAnswersOfLeastCost) {
  int found = 0, recipes = 0;
  for (const Screen& each : screens()) {
    found += expect_same(each);
    recipes += each.recipes.count;
  }
  std::printf("%d of %d recipes possible\n", found, recipes);
  EXPECT_GT(found, recipes / 50);
}

// Every path that this processor has runs once, and all give the same bits.
TEST(Screen, EveryVectorWidthGivesTheSameBits) {
  const std::vector<Screen> all = screens();
  std::vector<std::vector<double>> first;
  for (const Screen& each : all) first.push_back(each.screened());
  const auto targets = hwy::SupportedAndGeneratedTargets();
  ASSERT_FALSE(targets.empty());
  for (const std::int64_t target : targets) {
    SCOPED_TRACE(hwy::TargetName(target));
    hwy::SetSupportedTargetsForTest(target);
    hwy::GetChosenTarget().DeInit();
    for (std::size_t i = 0; i < all.size(); ++i) {
      EXPECT_EQ(all[i].screened(), first[i]);
      expect_same(all[i]);
    }
    std::printf("ran as %s\n", hwy::TargetName(target));
  }
  hwy::SetSupportedTargetsForTest(0);
  hwy::GetChosenTarget().DeInit();
}

}  // namespace
}  // namespace vialwright::topup::testing
