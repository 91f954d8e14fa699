// Does a belief that saw colours mean what it says? Over worlds drawn from the estimator's own
// assumptions, with optics of the test's own.
#include <gtest/gtest.h>

#include <array>
#include <boost/math/distributions/chi_squared.hpp>
#include <cstdio>

#include "contents/other_colour_posterior.hpp"
#include "contents/ranks.hpp"
#include "support/long_form.hpp"

namespace vialwright {
namespace {

using support::Tally;
using support::TintedVial;
using support::z;

constexpr std::uint64_t seed = 20261127;
constexpr int all_ranked = 1 << 30;

const char* const tint_names[] = {"water mg", "yellow mg", "rose mg",  "teal mg",
                                  "salt mg",  "net g",     "volume mL"};

/// The axis of a belief behind each name.
int axis_of(const contents::Belief& belief, int i) {
  return i < 5 ? belief.component(i) : i == 5 ? belief.net() : belief.volume();
}

// Chi-squared of 20 ranks at 1 %, 7 quantities; the standard error of a coverage of 95 % over 1200
// vials is 0.6 points.
TEST(ContentsColourWorlds, IntervalsCoverAndRanksAreFlat) {
  support::Random random(seed);
  std::array<Tally, 7> tallies;
  const int worlds = support::trials(1200, 12000);
  int steps = 0, flagged = 0;
  for (int w = 0; w < worlds; ++w) {
    const TintedVial vial = support::tinted_vial(random);
    contents::Options plain;
    plain.false_flag = 0.0;
    const auto found = contents::estimate(vial.evidence, vial.plant, vial.book, plain);
    steps = std::max(steps, found.iterations);
    flagged += found.p_value < 0.01 ? 1 : 0;
    const std::vector<double> truth = support::holds_then(vial, vial.truth);
    for (int i = 0; i < 7; ++i) {
      const int axis = axis_of(found.belief, i);
      if (found.belief.u(axis) <= 0.0) continue;
      support::count(tallies[z(i)], truth[z(axis)], found.belief.mean[axis], found.belief.u(axis),
                     all_ranked);
    }
  }
  std::printf("at most %d steps; %d of %d sound vials flagged at a nominal 0.01\n", steps, flagged,
              worlds);
  const double limit = boost::math::quantile(boost::math::chi_squared(19), 0.99);
  for (int i = 0; i < 7; ++i) {
    const Tally& it = tallies[z(i)];
    const double covered = static_cast<double>(it.covered) / it.seen;
    const double flat = support::chi_squared_of(it, all_ranked);
    std::printf("%-10s %5d vials, covered %.4f, ranks chi2 %.1f (limit %.1f)\n", tint_names[i],
                it.seen, covered, flat, limit);
    EXPECT_GE(covered, 0.93) << tint_names[i] << ", seed " << seed;
    EXPECT_LE(covered, 0.97) << tint_names[i] << ", seed " << seed;
    EXPECT_LT(flat, limit) << tint_names[i] << ", seed " << seed;
  }
}

struct Errors {
  int seen = 0;
  double ours = 0.0, other = 0.0, width = 0.0;
};

// How far the means lie from the truth, beside those of the exact posterior; and how wide both are.
// Over 400 vials two methods that agree but for the sampler's own noise (some 1 % of a standard
// deviation a vial) differ by far less than 5 %.
TEST(ContentsColourWorlds, MeansOfDyesAreAsGoodAsTheExactPosteriors) {
  support::Random random(seed + 1);
  std::array<Errors, 3> errors;
  const int worlds = support::trials(400, 1200), samples = support::trials(1500, 6000);
  int poor = 0;
  for (int w = 0; w < worlds; ++w) {
    const TintedVial vial = support::tinted_vial(random);
    contents::Options plain;
    plain.false_flag = 0.0;
    const auto found = contents::estimate(vial.evidence, vial.plant, vial.book, plain);
    const support::OtherColourPosterior other(vial, samples, random);
    // Where the sampler itself is poor it proves nothing.
    if (other.effective_samples() < 100.0) {
      ++poor;
      continue;
    }
    const std::vector<double> truth = support::holds_then(vial, vial.truth);
    for (int dye = 1; dye <= 3; ++dye) {
      if (found.belief.u(dye) <= 0.0) continue;
      Errors& it = errors[z(dye - 1)];
      const double unit = other.u(dye);
      ++it.seen;
      it.ours += std::pow((found.belief.mean[dye] - truth[z(dye)]) / unit, 2);
      it.other += std::pow((other.mean(dye) - truth[z(dye)]) / unit, 2);
      it.width += found.belief.u(dye) / unit;
    }
  }
  EXPECT_LE(poor, worlds / 10);
  for (int dye = 1; dye <= 3; ++dye) {
    const Errors& it = errors[z(dye - 1)];
    const double ratio = std::sqrt(it.ours / it.other);
    std::printf("%-10s %d vials: error over the exact posterior's %.4f, width over its %.4f\n",
                tint_names[dye], it.seen, ratio, it.width / it.seen);
    EXPECT_NEAR(ratio, 1.0, 0.05) << tint_names[dye];
    EXPECT_NEAR(it.width / it.seen, 1.0, 0.05) << tint_names[dye];
  }
  std::printf("%d of %d left out: fewer than 100 effective samples\n", poor, worlds);
}

}  // namespace
}  // namespace vialwright
