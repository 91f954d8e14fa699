#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "strength/bench_world.hpp"

namespace vialwright::strength::testing {
namespace {

using Kind = Learned::Kind;

Bench bench() {
  Bench bench;
  bench.lots = {base_lot, rose_1, teal_1};
  return bench;
}

/// Sum of the relative variances of what trials are compared by, from the numbers that are shown.
double relative_variance(const Lesson& lesson) {
  double sum = 0.0;
  for (const Learned& each : lesson.learned) {
    if (each.kind == Kind::absorptivity) sum += each.u * each.u;
    if (each.kind == Kind::strength) sum += std::pow(each.u / each.prior, 2);
  }
  return sum;
}

// What a trial promises is what making it brings: the doubt after a sample hangs on what is read
// only through noise and slopes, here by less than a few per cent.
TEST(NextSamples, WhatIsPromisedIsWhatItBrings) {
  World world;
  support::Random random(21);
  world.draw(random);
  std::vector<Sample> samples{world.make(random, {19.4, 0.3, 0.3}, 0.002, teal_1, 0)};
  const Lesson before = learn(samples, world.plant, world.book);
  const std::vector<Trial> trials = next_samples(before, world.plant, world.book, bench());
  ASSERT_GT(trials.size(), 10u);
  for (std::size_t i = 0; i < trials.size(); i += 3) {
    std::vector<Sample> more = samples;
    more.push_back(world.make(random, trials[i].stock_g, 0.002, teal_1, 1));
    const Lesson after = learn(more, world.plant, world.book);
    EXPECT_NEAR(trials[i].before, relative_variance(before), 1e-12);
    EXPECT_NEAR(trials[i].after / relative_variance(after), 1.0, 0.03) << trials[i].words;
  }
}

TEST(NextSamples, BestFirstAndNoneTeachesLessThanNothing) {
  const World world;
  const std::vector<Trial> trials =
      next_samples(learn({}, world.plant, world.book), world.plant, world.book, bench());
  for (std::size_t i = 0; i < trials.size(); ++i) {
    EXPECT_GT(trials[i].gain(), 0.0);
    EXPECT_LE(trials[i].gain(), trials[i > 0 ? i - 1 : 0].gain());
    double total = 0.0;
    for (const double g : trials[i].stock_g) total += g;
    EXPECT_NEAR(total, 20.0, 1e-9);
    EXPECT_GE(*std::min_element(trials[i].stock_g.begin() + 1, trials[i].stock_g.end()), 0.0);
  }
  // Nothing is known: a sample with both dyes teaches about both.
  EXPECT_GT(trials.front().stock_g[rose_stock], 0.0);
  EXPECT_GT(trials.front().stock_g[teal_stock], 0.0);
}

// Rose has been made ten times, teal never: the next is of teal, alone or with rose, and dark
// enough to be read well but not so dark that stray light decides.
TEST(NextSamples, WhatIsLeastKnownComesNext) {
  World world;
  support::Random random(22);
  world.draw(random);
  std::vector<Sample> samples;
  for (int i = 0; i < 10; ++i)
    samples.push_back(world.make(random, {19.5, 0.5, 0.0}, 0.002, teal_1, i % 4));
  const Lesson lesson = learn(samples, world.plant, world.book);
  const std::vector<Trial> trials = next_samples(lesson, world.plant, world.book, bench());
  EXPECT_GT(trials.front().stock_g[teal_stock], 0.0);
  EXPECT_GE(trials.front().absorbance, 0.4);
  const auto rose_alone = std::ranges::find_if(
      trials, [](const Trial& each) { return each.stock_g[teal_stock] == 0.0; });
  ASSERT_NE(rose_alone, trials.end());
  EXPECT_LT(rose_alone->gain(), 0.1 * trials.front().gain());
  EXPECT_THAT(trials.front().words, ::testing::HasSubstr("of clear base: standard uncertainty of"));
  EXPECT_THAT(trials.front().words,
              ::testing::HasSubstr("teal in lot T-1 as it looks from 2.24 % to"));
}

// A stock that is not to be had, or that scatters, is not asked for.
TEST(NextSamples, OnlyWhatCanBeMade) {
  World world;
  world.book.stocks[teal_stock].scatters = true;
  Bench some = bench();
  for (const Trial& each :
       next_samples(learn({}, world.plant, world.book), world.plant, world.book, some))
    EXPECT_EQ(each.stock_g[teal_stock], 0.0);
  some.lots[rose_stock] = -1;
  EXPECT_TRUE(
      next_samples(learn({}, world.plant, world.book), world.plant, world.book, some).empty());
}

}  // namespace
}  // namespace vialwright::strength::testing
