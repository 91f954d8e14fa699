// Colour top-ups: worked cases of the demo system.
#include <gtest/gtest.h>

#include "topup/colour_d0.hpp"

namespace vialwright::topup::testing {
namespace {

/// Stocks so strong that adding them thins nothing.
ColourD0 strong() {
  ColourD0 d0;
  for (recipe::Lot& lot : d0.book.lots)
    for (recipe::Strength& each : lot.strengths) each.mg_per_g *= 1e6;
  for (plant::Station& each : d0.plant.stations) {
    each.least_dose_g = 1e-12;
    each.spread_g = 0.0;
  }
  return d0;
}

double nearest(const ColourD0& d0, const contents::Belief& belief) {
  const Answer answer = best(belief, d0.green_by_colour(1.0), d0.means, d0.plant, d0.book);
  EXPECT_EQ(answer.impossible, Impossible::by_colour);
  EXPECT_TRUE(answer.nearest.has_value());
  if (!answer.nearest) return -1.0;
  std::printf("%s\n", answer.nearest->in_words.c_str());
  return answer.nearest->nearest;
}

TEST(NearestColour, OfAGreenTintWithForeignRose) {
  ColourD0 d0;
  d0.plant.containers[0].largest_fill_g = d0.plant.containers[0].largest_fill_ml = 24.0;
  EXPECT_NEAR(nearest(d0, d0.with_rose(0.160, 0.006, 0.060)), 1.01, 0.005);
  EXPECT_NEAR(nearest(d0, d0.with_rose(0.160, 0.012, 0.060)), 2.02, 0.005);
  d0 = strong();
  d0.plant.containers[0].largest_fill_g = d0.plant.containers[0].largest_fill_ml = 20.0 + 1e-4;
  EXPECT_NEAR(nearest(d0, d0.with_rose(0.160, 0.006, 0.060)), 1.23, 0.005);
  EXPECT_NEAR(nearest(d0, d0.with_rose(0.080, 0.006, 0.030)), 1.21, 0.005);
  EXPECT_NEAR(nearest(d0, d0.with_rose(0.080, 0.012, 0.030)), 2.43, 0.005);
}

TEST(BestColour, ThinsAGreenTintThatCameOutTooStrong) {
  ColourD0 d0(0.005);
  const contents::Belief belief = d0.with_rose(0.160, 0.0, 0.0648);
  const Answer answer = best(belief, d0.green_by_colour(1.0), d0.means, d0.plant, d0.book);
  for (const Addition& each : answer.best.additions)
    std::printf("%d %.5f\n", each.stock, each.amount_g);
  for (const Addition& each : answer.surest.additions)
    std::printf("surest %d %.5f\n", each.stock, each.amount_g);
  std::printf("odds %.4f surest %.4f %s cost %.4f\n", answer.best.odds.value,
              answer.surest.odds.value, answer.best.binding.c_str(), answer.best.cost);
}

}  // namespace
}  // namespace vialwright::topup::testing
