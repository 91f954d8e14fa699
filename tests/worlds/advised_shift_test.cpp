// The whole circle on the twin: a shift with planted faults, every vial decided by the engine, what
// it says done, and what comes of it held against the truth.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>

#include "support/long_form.hpp"
#include "worlds/deciding_adviser.hpp"
#include "worlds/reworked_world.hpp"

namespace vialwright::worlds {
namespace {

std::vector<twin::OrderWanted> orders(int count) {
  std::vector<twin::OrderWanted> wanted(static_cast<std::size_t>(count));
  for (std::size_t i = 0; i < wanted.size(); ++i) {
    wanted[i].order = "L-" + std::to_string(4001 + i);
    wanted[i].recipe = larkmoor().recipes[(7 * i) % larkmoor().recipes.size()].id;
    wanted[i].due = quantity::Instant{1'795'780'800'000'000};
    wanted[i].value = 4.0;
  }
  return wanted;
}

twin::ShiftPlan plan(std::uint64_t seed, int vials) {
  twin::ShiftPlan made;
  made.seed = seed;
  made.vials = vials;
  made.start = {1'795'608'000'000'000};
  made.faults.over_dose = made.faults.under_dose = 0.08;
  made.faults.gross_blunder = 0.02;
  made.rework.orders_per_day = 300.0;
  made.rework.history_h = 24.0;
  made.rework.hours_after = 30.0;
  made.rework.downs_per_day = 2.0;
  return made;
}

TEST(AdvisedShift, WhatIsReleasedIsGoodAndRescuesComeTrue) {
  const int vials = support::trials(80, 300);
  DecidingAdviser adviser(larkmoor());
  const twin::Shift shift = twin::record_shift(
      larkmoor().plant, larkmoor().book, larkmoor().recipes, orders(vials), plan(77, vials),
      [&](const twin::Question& question) { return adviser(question); });
  int released = 0, good = 0, scrapped = 0, rescued = 0;
  for (const twin::VialTruth& truth : shift.truth) {
    const auto recipe = std::find_if(larkmoor().recipes.begin(), larkmoor().recipes.end(),
                                     [&](const auto& it) { return it.id == truth.recipe; });
    ASSERT_NE(recipe, larkmoor().recipes.end());
    scrapped += truth.fate == "scrapped" ? 1 : 0;
    if (truth.fate != "released") continue;
    ++released;
    good += twin::meets(truth, *recipe) ? 1 : 0;
  }
  for (const twin::TopupTruth& topup : shift.topups) rescued += topup.met ? 1 : 0;
  std::printf("%d vials: %d released, %d of them good; %d scrapped; %zu top-ups, %d met\n", vials,
              released, good, scrapped, shift.topups.size(), rescued);
  for (const auto& [word, n] : adviser.dispositions) std::printf("  %s %d\n", word.c_str(), n);
  // A vial is released at 95 in 100 at least, most at far more; four standard errors below.
  EXPECT_GE(good, 0.95 * released - 4.0 * std::sqrt(0.05 * 0.95 * released));
  EXPECT_GT(shift.topups.size(), 0U);
}

}  // namespace
}  // namespace vialwright::worlds
