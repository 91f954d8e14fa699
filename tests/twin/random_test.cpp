#include "twin/random.hpp"

#include <gtest/gtest.h>

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <vector>

namespace vialwright::twin {
namespace {

// Source: the authors' reference code of splitmix64 with the seed 1234567; values from memory, as
// they stand in many test suites.
TEST(TwinRandom, Splitmix64GivesTheKnownSequence) {
  std::uint64_t state = 1234567;
  EXPECT_EQ(splitmix64(state), 6457827717110365317U);
  EXPECT_EQ(splitmix64(state), 3203168211198807973U);
  EXPECT_EQ(splitmix64(state), 9817491932198370423U);
  EXPECT_EQ(splitmix64(state), 4593380528125082431U);
  EXPECT_EQ(splitmix64(state), 16408922859458223821U);
}

// Source: the authors' reference code of xoshiro256** from the state 1, 2, 3, 4; from memory.
TEST(TwinRandom, Xoshiro256StarStarGivesTheKnownSequence) {
  Random random({1, 2, 3, 4});
  EXPECT_EQ(random.next(), 11520U);
  EXPECT_EQ(random.next(), 0U);
  EXPECT_EQ(random.next(), 1509978240U);
  EXPECT_EQ(random.next(), 1215971899390074240U);
}

TEST(TwinRandom, StreamsOfOneSeedDifferByPurposeAndIndex) {
  EXPECT_NE(Random(7, "tare", 0).next(), Random(7, "tare", 1).next());
  EXPECT_NE(Random(7, "tare", 0).next(), Random(7, "doses", 0).next());
  EXPECT_NE(Random(7, "tare", 0).next(), Random(8, "tare", 0).next());
  EXPECT_EQ(Random(7, "tare", 3).next(), Random(7, "tare", 3).next());
}

/// Pearson's statistic of draws in 20 cells of equal probability.
template <class Cumulative>
double pearson(const std::vector<double>& draws, const Cumulative& cumulative) {
  constexpr int cells = 20;
  std::vector<int> counts(cells, 0);
  for (const double draw : draws) {
    const int cell = std::min(static_cast<int>(cumulative(draw) * cells), cells - 1);
    ++counts[static_cast<std::size_t>(cell)];
  }
  const double expected = static_cast<double>(draws.size()) / cells;
  double sum = 0.0;
  for (const int count : counts) sum += (count - expected) * (count - expected) / expected;
  return sum;
}

// One in a thousand for a right sampler, and the seed is fixed.
const double limit = boost::math::quantile(boost::math::chi_squared(19), 0.999);

std::vector<double> errors(double hardness) {
  Random random(1, "errors");
  std::vector<double> draws(100000);
  for (double& draw : draws) draw = random.error(hardness);
  return draws;
}

TEST(TwinRandom, ErrorsAreGaussianAtHardnessZero) {
  const boost::math::normal normal;
  EXPECT_LT(pearson(errors(0.0), [&](double x) { return boost::math::cdf(normal, x); }), limit);
}

TEST(TwinRandom, ErrorsAreStudentsTWithFiveDegreesAndUnitVarianceAtHardnessOne) {
  const boost::math::students_t student(5);
  const auto cumulative = [&](double x) {
    return boost::math::cdf(student, x * std::sqrt(5.0 / 3.0));
  };
  EXPECT_LT(pearson(errors(1.0), cumulative), limit);
  const boost::math::normal normal;  // and the test can tell them apart
  EXPECT_GT(pearson(errors(1.0), [&](double x) { return boost::math::cdf(normal, x); }), limit);
}

TEST(TwinRandom, UniformNumbersFillTheOpenUnitInterval) {
  Random random(2, "uniform");
  std::vector<double> draws(100000);
  for (double& draw : draws) draw = random.uniform();
  EXPECT_LT(pearson(draws, [](double x) { return x; }), limit);
  for (const double draw : draws) ASSERT_TRUE(draw > 0.0 && draw < 1.0);
}

}  // namespace
}  // namespace vialwright::twin
