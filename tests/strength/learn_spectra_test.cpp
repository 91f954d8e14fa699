#include <gtest/gtest.h>

#include <array>

#include "strength/bench_world.hpp"
#include "support/long_form.hpp"

namespace vialwright::strength::testing {
namespace {

/// Every truth from its prior: each band of each spectrum on its own.
void draw_shapes(World& world, support::Random& random, double weak_rel) {
  world.draw(random);
  world.deviation.assign(2, 0.0);
  for (std::size_t k = 0; k < 2; ++k) {
    colour::Spectrum bands;
    const recipe::Component& said = world.book.components[k];
    const double peak = k == rose ? 54.0 : 163.0;
    for (int band = 0; band < world.gauge().bands.size(); ++band) {
      const double nm = world.gauge().bands.at(band), value = colour::at(said.absorptivity, nm);
      bands.nm.push_back(nm);
      bands.value.push_back(
          value + random.normal() * std::hypot(said.u_absorptivity_rel * value, weak_rel * peak));
    }
    world.truth.components[k].absorptivity = bands;
  }
}

std::vector<Sample> course(const World& world, support::Random& random) {
  std::vector<Sample> samples;
  for (int i = 0; i < 6; ++i)
    samples.push_back(world.make(random, {19.2, i % 3 == 1 ? 0.0 : 0.5, i % 3 == 0 ? 0.0 : 0.5},
                                 0.002, teal_1, i % 2));
  return samples;
}

// 13 bands of two dyes in 400 worlds; numbers hang together in a world, so their mean is held to 1
// %. Each band: 26 are looked at, so 4 standard errors, and half a per cent for what one
// linearisation leaves out where a shape is 3 % off (94.2 to 95.6 % were seen over 8,000 other
// worlds).
TEST(LearnSpectra, IntervalsCoverBandByBand) {
  const int worlds = support::trials(400, 2000);
  support::Random random(31);
  std::array<std::array<int, 13>, 2> covered{};
  double narrower = 0.0;
  for (int w = 0; w < worlds; ++w) {
    World world;
    draw_shapes(world, random, 0.03);
    const auto spectra = learn_spectra(course(world, random), 0, world.plant, world.book, 0.03);
    ASSERT_EQ(spectra.size(), 2u);
    for (std::size_t k = 0; k < 2; ++k) {
      ASSERT_EQ(spectra[k].value.size(), 13u);
      EXPECT_EQ(spectra[k].vials, 4);
      for (std::size_t band = 0; band < 13; ++band) {
        const double truth = world.truth.components[k].absorptivity.value[band];
        covered[k][band] += std::abs(spectra[k].value[band] - truth) < 1.96 * spectra[k].u[band];
        narrower += spectra[k].u[band] / spectra[k].u_prior[band] / (26.0 * worlds);
      }
    }
  }
  double all = 0.0;
  for (const auto& one : covered)
    for (const int each : one) {
      EXPECT_NEAR(100.0 * each / worlds, 95.0, 0.5 + 400.0 * std::sqrt(0.0475 / worlds));
      all += 100.0 * each / (26.0 * worlds);
    }
  std::printf("%.2f %% covered; u is %.2f of its prior\n", all, narrower);
  EXPECT_NEAR(all, 95.0, 1.0);
  EXPECT_LT(narrower, 0.5);
}

// A peak that is 4 nm further than the book says: a scale cannot tell, the bands do.
TEST(LearnSpectra, ShowsAPeakThatHasMoved) {
  World world;
  support::Random random(32);
  world.truth.components[teal].absorptivity = mixing::testing::band(163.0, 634.0, 24.0);
  const std::vector<Sample> samples = course(world, random);
  const Lesson scale = learn(samples, world.plant, world.book);
  EXPECT_LT(scale.p_value, 1e-6);  // says that something is wrong
  const auto spectra = learn_spectra(samples, 0, world.plant, world.book);
  const LearnedSpectrum& teals = spectra[1];
  for (std::size_t band = 0; band < teals.nm.size(); ++band) {
    const double truth = colour::at(world.truth.components[teal].absorptivity, teals.nm[band]);
    EXPECT_NEAR(teals.value[band], truth, 3.5 * teals.u[band]) << teals.nm[band];
  }
  EXPECT_EQ(teals.nm[8], 600.0);
  EXPECT_LT(teals.value[8] + 3.0 * teals.u[8], teals.prior[8]);
}

TEST(LearnSpectra, WithoutSamplesOfThatGaugeThereAreNone) {
  World world;
  EXPECT_TRUE(learn_spectra({}, 0, world.plant, world.book).empty());
}

}  // namespace
}  // namespace vialwright::strength::testing
