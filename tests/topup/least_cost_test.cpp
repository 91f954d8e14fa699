#include <gtest/gtest.h>

#include <cstdio>

#include "support/long_form.hpp"
#include "topup/glpk.hpp"

namespace vialwright::topup::testing {
namespace {

TEST(LeastCost, AgreesWithGlpk) {
  support::Random random(20251125);
  int found = 0, differ = 0, cost_differ = 0, done = 0;
  for (int n = 1; n <= 12; ++n) {
    Glpk glpk(n);
    for (int i = 0; i < 8000; ++i, ++done) {
      const Instance one = i % 2 == 0 ? ordinary(random, n) : awkward(random, n);
      const Answer ours = solved(one);
      const GlpkAnswer theirs = glpk.solve(one);
      found += ours.found;
      if (ours.found != theirs.found)
        ++differ;
      else if (ours.found &&
               std::abs(ours.cost - theirs.cost) > 1e-9 * std::max(1.0, std::abs(ours.cost)))
        ++cost_differ;
    }
  }
  std::printf("%d problems, %d found, %d verdicts differ, %d costs differ\n", done, found, differ,
              cost_differ);
}

}  // namespace
}  // namespace vialwright::topup::testing
