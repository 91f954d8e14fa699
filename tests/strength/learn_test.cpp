#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>

#include "strength/bench_world.hpp"
#include "support/long_form.hpp"

namespace vialwright::strength::testing {
namespace {

using Kind = Learned::Kind;

/// Some samples of a world, one and both dyes, in two sessions, the second lot of teal at the end.
std::vector<Sample> course(const World& world, support::Random& random, int count,
                           double u_dose_g = 0.002) {
  std::vector<Sample> samples;
  for (int i = 0; i < count; ++i) {
    std::vector<double> grams(3, 0.0);
    if (i % 3 != 1) grams[rose_stock] = random.uniform(0.1, 0.8);
    if (i % 3 != 0) grams[teal_stock] = random.uniform(0.1, 0.8);
    grams[base] = 20.0 - grams[rose_stock] - grams[teal_stock];
    samples.push_back(world.make(random, grams, u_dose_g, i < count / 2 ? teal_1 : teal_2, i % 2));
  }
  return samples;
}

struct Truths {
  Kind kind;
  int component, lot;
  double value;
};
std::vector<Truths> truths_of(const World& world) {
  std::vector<Truths> all;
  for (int k = 0; k < 2; ++k)
    all.push_back({Kind::absorptivity, k, -1, world.deviation[World::index(k)]});
  for (const auto& [lot, k] : {std::pair(int{rose_1}, int{rose}), {teal_1, teal}, {teal_2, teal}}) {
    const double strength = world.strength[World::index(lot)][World::index(k)];
    all.push_back({Kind::strength, k, lot, strength});
    all.push_back({Kind::colour, k, lot, strength * (1.0 + world.deviation[World::index(k)])});
  }
  return all;
}

// 400 worlds with every truth drawn from its prior, colours from a model of their own. A share of
// 95 % over 400 has a standard error of 1.1 %: 92 to 98 % is within 3 of them.
TEST(Learn, IntervalsCoverAndRanksAreEven) {
  const int worlds = support::trials(400, 4000);
  support::Random random(2026);
  constexpr int numbers = 8, bins = 10;
  std::array<int, numbers> covered{};
  std::array<std::array<int, bins>, numbers> ranks{};
  double narrower = 0.0;
  for (int w = 0; w < worlds; ++w) {
    World world;
    world.draw(random);
    const Lesson lesson = learn(course(world, random, 8), world.plant, world.book);
    const std::vector<Truths> truths = truths_of(world);
    ASSERT_EQ(truths.size(), static_cast<std::size_t>(numbers));
    for (std::size_t i = 0; i < truths.size(); ++i) {
      const Learned& one = the(lesson, truths[i].kind, truths[i].component, truths[i].lot);
      ASSERT_GT(one.u, 0.0);
      covered[i] += one.lower <= truths[i].value && truths[i].value <= one.upper;
      const double share = 0.5 * std::erfc((one.value - truths[i].value) / one.u / std::sqrt(2.0));
      ++ranks[i][std::min<std::size_t>(bins - 1, static_cast<std::size_t>(share * bins))];
      if (truths[i].kind == Kind::colour) narrower += one.u / one.u_prior / 3.0 / worlds;
    }
  }
  const double three = 300.0 * std::sqrt(0.95 * 0.05 / worlds);
  for (std::size_t i = 0; i < numbers; ++i) {
    EXPECT_NEAR(100.0 * covered[i] / worlds, 95.0, three) << "number " << i;
    double chi_squared = 0.0;
    for (const int count : ranks[i])
      chi_squared += std::pow(count - 0.1 * worlds, 2) / (0.1 * worlds);
    EXPECT_LT(chi_squared, 27.9) << "number " << i;  // 0.1 % point of chi-squared with 9 degrees
    std::printf("number %zu: %.1f %% covered, ranks chi-squared %.1f of 9\n", i,
                100.0 * covered[i] / worlds, chi_squared);
  }
  std::printf("colour of a lot: u is %.2f of its prior\n", narrower);
  EXPECT_LT(narrower, 0.4);  // it did learn
}

TEST(Learn, WithoutSamplesThePriorsStandUnsaid) {
  const World world;
  const Lesson lesson = learn({}, world.plant, world.book);
  EXPECT_TRUE(lesson.learned.empty());
  EXPECT_EQ(lesson.p_value, 1.0);
}

TEST(Learn, CountsAndPriorsAreSaid) {
  World world;
  support::Random random(3);
  const Lesson lesson = learn(course(world, random, 6), world.plant, world.book);
  // Samples 0, 3 are rose alone, 1, 4 teal alone, 2, 5 both; teal's second lot from 3 on.
  EXPECT_EQ(the(lesson, Kind::absorptivity, rose).vials, 4);
  EXPECT_EQ(the(lesson, Kind::absorptivity, teal).vials, 4);
  EXPECT_EQ(the(lesson, Kind::strength, teal, teal_1).vials, 2);
  EXPECT_EQ(the(lesson, Kind::strength, teal, teal_2).vials, 2);
  const Learned& strength = the(lesson, Kind::strength, teal, teal_2);
  EXPECT_EQ(strength.prior, 0.2);
  EXPECT_DOUBLE_EQ(strength.u_prior, 0.002);
  EXPECT_LT(strength.u, strength.u_prior);
  EXPECT_EQ(name_of(strength, world.book), "teal in lot T-2");
  EXPECT_EQ(name_of(the(lesson, Kind::absorptivity, rose), world.book), "absorptivity of rose");
  EXPECT_EQ(name_of(the(lesson, Kind::colour, rose, rose_1), world.book),
            "rose in lot R-1 as it looks");
}

// By hand, one unknown after the other left out: absorbance 0.815 = 163 x 0.2 x 0.5 / 20 at one
// band, seen 2 % high with an error of 1 %; prior of the absorptivity 2 %, all else exact. The mean
// of two Gaussians: 2 % x 4 / (4 + 1) = 1.6 %, u = sqrt(4 / 5) %.
TEST(Learn, OneNumberByHand) {
  World world(0.02, 0.0);
  plant::Instrument& gauge = world.plant.instruments[0];
  gauge.colour->bands = {630.0, 630.0, 1.0};
  gauge.colour->u_path_rel = gauge.colour->u_session = gauge.colour->u_stray_light = 0.0;
  gauge.colour->stray_light = 0.0;
  gauge.repeatability_rel = 0.0;
  gauge.repeatability = 0.00815;
  Sample sample{by_weight(world.book, {19.5, 0.0, 0.5}, {base_lot, -1, teal_1}, 0.0), 0, {}};
  sample.seen.push_back({0, 0, {0.815 * 1.02}});
  const Lesson lesson = learn({sample}, world.plant, world.book);
  const Learned& teals = the(lesson, Kind::absorptivity, teal);
  EXPECT_NEAR(teals.value, 0.016, 1e-12);
  EXPECT_NEAR(teals.u, 0.02 / std::sqrt(5.0), 1e-12);
  EXPECT_NEAR(teals.upper - teals.lower, 2.0 * 1.96 * teals.u, 1e-4 * teals.u);
  // chi-squared of one value that is 2 % off with a standard deviation of sqrt(5) %.
  EXPECT_NEAR(lesson.chi_squared, 4.0 / 5.0, 1e-10);
  EXPECT_EQ(lesson.degrees, 1);
}

// The same with the dose in doubt by 1 % (of the dose; the base hardly matters) and no noise:
// errors of the weights count as noise.
TEST(Learn, ErrorsOfTheWeightsWidenIt) {
  World world(0.02, 0.0);
  plant::Instrument& gauge = world.plant.instruments[0];
  gauge.colour->bands = {630.0, 630.0, 1.0};
  gauge.colour->u_path_rel = gauge.colour->u_session = gauge.colour->u_stray_light = 0.0;
  gauge.colour->stray_light = 0.0;
  gauge.repeatability_rel = 0.0;
  gauge.repeatability = 1e-7;
  Sample sample{by_weight(world.book, {19.5, 0.0, 0.5}, {base_lot, -1, teal_1}, 0.005), 0, {}};
  sample.seen.push_back({0, 0, {0.815 * 1.02}});
  const Lesson lesson = learn({sample}, world.plant, world.book);
  const double one = 0.005 * (1.0 / 0.5 - 1.0 / 20.0), other = 0.005 / 20.0;  // of c, relative
  const double noise = one * one + other * other;
  // The slope is taken where the fit ends, 1.6 % up: second order of 1 %.
  EXPECT_NEAR(the(lesson, Kind::absorptivity, teal).u,
              std::sqrt(1.0 / (1.0 / 0.0004 + 1.0 / noise)), 2e-4);
}

/// A new lot starts from its own assay; nothing else is forgotten.
TEST(Learn, ALotChangeResetsThatLotAlone) {
  World world;
  support::Random random(11);
  world.draw(random);
  std::vector<Sample> old;
  for (int i = 0; i < 6; ++i)
    old.push_back(world.make(random, {19.2, 0.4, 0.4}, 0.002, teal_1, i % 2));
  const Lesson before = learn(old, world.plant, world.book);
  std::vector<Sample> more = old;
  more.push_back(world.make(random, {19.6, 0.0, 0.4}, 0.002, teal_2, 2));
  const Lesson after = learn(more, world.plant, world.book);
  const Learned& fresh = the(after, Kind::strength, teal, teal_2);
  EXPECT_EQ(fresh.vials, 1);
  EXPECT_EQ(fresh.prior, 0.2);
  // What was known of the old ones is still known, and rose is not touched by more than the shared
  // cell and stray light: a hundredth of its doubt.
  for (const auto& [kind, component, lot] : {std::tuple(Kind::absorptivity, int{teal}, -1),
                                             {Kind::strength, int{teal}, int{teal_1}},
                                             {Kind::colour, int{teal}, int{teal_1}},
                                             {Kind::colour, int{rose}, int{rose_1}}}) {
    const Learned &one = the(before, kind, component, lot), &two = the(after, kind, component, lot);
    EXPECT_LE(two.u, one.u * (1.0 + 1e-6)) << name_of(one, world.book);
    EXPECT_GT(two.u, 0.5 * one.u) << name_of(one, world.book);
  }
  EXPECT_NEAR(the(after, Kind::absorptivity, rose).u, the(before, Kind::absorptivity, rose).u,
              0.01 * the(before, Kind::absorptivity, rose).u);
  // The new lot's strength is known better than by its assay alone, since the absorptivity is.
  EXPECT_LT(fresh.u, 0.95 * fresh.u_prior);
}

TEST(Learn, OrderOfSamplesDoesNotMatter) {
  World world;
  support::Random random(12);
  world.draw(random);
  std::vector<Sample> samples = course(world, random, 8);
  const Lesson one = learn(samples, world.plant, world.book);
  std::reverse(samples.begin(), samples.end());
  const Lesson other = learn(samples, world.plant, world.book);
  ASSERT_EQ(one.learned.size(), other.learned.size());
  for (std::size_t i = 0; i < one.learned.size(); ++i) {
    EXPECT_NEAR(one.learned[i].value, other.learned[i].value, 1e-9);
    EXPECT_NEAR(one.learned[i].u, other.learned[i].u, 1e-9);
  }
}

// A vial with a drop of something else: its spectrum is that of no mixture, so it teaches nothing.
TEST(Learn, ASampleThatFitsNoneOfTheOthersIsSetAside) {
  World world;
  support::Random random(13);
  world.draw(random);
  std::vector<Sample> samples = course(world, random, 9);
  const Lesson sound = learn(samples, world.plant, world.book);
  for (const SampleReport& each : sound.samples) EXPECT_TRUE(each.counted);
  for (std::size_t band = 0; band < 4; ++band) samples[4].seen[0].values[band] += 0.05;
  const Lesson lesson = learn(samples, world.plant, world.book);
  for (std::size_t i = 0; i < samples.size(); ++i)
    EXPECT_EQ(lesson.samples[i].counted, i != 4) << i;
  EXPECT_LT(lesson.samples[4].p_value, 1e-6);
  EXPECT_GT(lesson.p_value, 1e-3);
  EXPECT_EQ(lesson.degrees, 8 * 13);
  // As if it had never been made.
  samples.erase(samples.begin() + 4);
  const Lesson without = learn(samples, world.plant, world.book);
  for (std::size_t i = 0; i < lesson.learned.size(); ++i)
    EXPECT_NEAR(lesson.learned[i].value, without.learned[i].value, 1e-9);
}

// Half of the samples lost a tenth of their light: it is not for the engine to say which half.
TEST(Learn, WhereManyDisagreeNoneIsSetAsideAndItIsSaid) {
  World world;
  support::Random random(16);
  world.draw(random);
  std::vector<Sample> samples = course(world, random, 8);
  for (std::size_t i = 0; i < samples.size(); i += 2)
    for (std::size_t band = 0; band < 4; ++band) samples[i].seen[0].values[band] += 0.05;
  const Lesson lesson = learn(samples, world.plant, world.book);
  for (const SampleReport& each : lesson.samples) EXPECT_TRUE(each.counted);
  EXPECT_LT(lesson.p_value, 1e-6);
}

// 1 % of benches with sound samples lose one; Bonferroni's bound, so at most.
TEST(Learn, SoundSamplesAreHardlyEverSetAside) {
  const int worlds = support::trials(1000, 10'000);
  support::Random random(14);
  int lost = 0;
  for (int w = 0; w < worlds; ++w) {
    World world;
    world.draw(random);
    const Lesson lesson = learn(course(world, random, 6), world.plant, world.book);
    for (const SampleReport& each : lesson.samples) lost += !each.counted;
  }
  std::printf("%d of %d benches lost a sound sample\n", lost, worlds);
  EXPECT_LE(lost, 0.01 * worlds + 3.0 * std::sqrt(0.01 * worlds));
}

TEST(Learn, TheBookWithALessonIsNeverSurerThanTheLesson) {
  World world;
  support::Random random(15);
  world.draw(random);
  const Lesson lesson = learn(course(world, random, 8), world.plant, world.book);
  const recipe::Book book = with(lesson, world.book);
  const Learned &deviation = the(lesson, Kind::absorptivity, teal),
                &lot = the(lesson, Kind::strength, teal, teal_1),
                &seen = the(lesson, Kind::colour, teal, teal_1);
  EXPECT_NEAR(book.components[teal].absorptivity.value[50], 163.0 * (1.0 + deviation.value), 1e-9);
  EXPECT_DOUBLE_EQ(book.lots[teal_1].strengths[teal].mg_per_g, lot.value);
  EXPECT_DOUBLE_EQ(book.lots[teal_1].strengths[teal].u_mg_per_g, lot.u);
  const double product = std::hypot(book.components[teal].u_absorptivity_rel, lot.u / lot.value);
  EXPECT_GT(product, seen.u / seen.value);
  EXPECT_EQ(book.lots[base_lot].strengths[teal].mg_per_g, 0.0);
}

}  // namespace
}  // namespace vialwright::strength::testing
