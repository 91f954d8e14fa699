// Is the probability that a coloured vial is good what it says? Judged on the belief, all lines of
// the recipe together, in worlds whose dyes and gauges depart from the book's.
#include <gtest/gtest.h>

#include "worlds/deciles.hpp"
#include "worlds/reworked_world.hpp"

namespace vialwright::worlds {
namespace {

TEST(ColouredConformity, IsAsOftenTrueAsItSays) {
  const int worlds = support::trials(60, 420), vials = support::trials(12, 70);
  Table table;
  for (int w = 0; w < worlds; ++w) {
    const auto seed = static_cast<std::uint64_t>(30'000 + w);
    World world(seed, vials, 1.0, Wanted::coloured);
    for (int v = 0; v < vials; ++v) {
      // About the limits, which are 3 to 5 % away.
      world.random().below(2) == 0 ? world.make(0.985, 0.945, 0.975)
                                   : world.make(0.985, 1.025, 1.055);
      if (world.sound()) add(seed, world.conforms(), world.is_good(), table);
    }
  }
  print("conformity, recipes with a colour", table);
  expect_calibrated(table);
  for (const Decile& it : table) {
    EXPECT_GE(it.n, support::trials(5, 300)) << "every decile is tried";
  }
}

}  // namespace
}  // namespace vialwright::worlds
