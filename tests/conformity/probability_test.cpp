#include "conformity/conformity.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "conformity/random_beliefs.hpp"
#include "support/long_form.hpp"

namespace vialwright::conformity {
namespace {

using conformity_test::any_case;
using conformity_test::Case;
using support::Random;

double cdf(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

Line window(const Eigen::VectorXd& weights, double low, double high) {
  return {weights, {}, low, high};
}

Eigen::VectorXd unit(Eigen::Index n, Eigen::Index axis) { return Eigen::VectorXd::Unit(n, axis); }

TEST(Probability, OneQuantityIsTheClosedForm) {
  const Eigen::VectorXd mean = Eigen::VectorXd::Constant(1, 20.1);
  const Eigen::MatrixXd covariance = Eigen::MatrixXd::Constant(1, 1, 0.04);
  const auto found = probability(mean, covariance, {window(unit(1, 0), 19.5, 20.5)});
  EXPECT_NEAR(found.value, cdf(2.0) - cdf(-3.0), 1e-14);  // rounding
  EXPECT_EQ(found.error, 0.0);
}

TEST(Probability, NoLineOrOnlyOpenOnesHoldForSure) {
  const Eigen::VectorXd mean = Eigen::VectorXd::Zero(2);
  const Eigen::MatrixXd covariance = Eigen::MatrixXd::Identity(2, 2);
  const Line open{unit(2, 1), {}, -recipe::no_limit, recipe::no_limit};
  EXPECT_EQ(probability(mean, covariance, {}).value, 1.0);
  EXPECT_EQ(probability(mean, covariance, {open, open}).value, 1.0);
}

// Source: De Moivre/independence. Four one-sided limits at 97.5 % each.
TEST(Probability, FourIndependentLimitsMultiply) {
  const double z = 1.959963984540054;
  std::vector<Line> lines;
  for (int k = 0; k < 4; ++k) lines.push_back(window(unit(4, k), -recipe::no_limit, z));
  const auto found = probability(Eigen::VectorXd::Zero(4), Eigen::MatrixXd::Identity(4, 4), lines);
  EXPECT_NEAR(found.value, 0.90368789, found.error);  // 0.975^4
  EXPECT_LE(found.error, 1e-3);
}

// Source: one-dimensional integral over the shared cause, composite Simpson, in the test.
TEST(Probability, FourEquicorrelatedLimits) {
  const double z = 1.959963984540054;
  for (const double rho : {0.5, 0.9}) {
    double expected = 0.0;
    const int steps = 4000;
    for (int k = 0; k <= steps; ++k) {
      const double x = -8.0 + 16.0 * k / steps;
      const double weight = (k == 0 || k == steps) ? 1.0 : (k % 2 == 1 ? 4.0 : 2.0);
      const double one = cdf((z - std::sqrt(rho) * x) / std::sqrt(1.0 - rho));
      expected += weight * std::exp(-0.5 * x * x) * std::pow(one, 4);
    }
    expected *= 16.0 / steps / 3.0 / std::sqrt(2.0 * std::acos(-1.0));
    // The rounded figures are those quoted in the module's notes: 92.2 % and 95.3 %.
    EXPECT_NEAR(expected, rho == 0.5 ? 0.922 : 0.953, 5e-4);
    Eigen::MatrixXd covariance = Eigen::MatrixXd::Constant(4, 4, rho);
    covariance.diagonal().setOnes();
    std::vector<Line> lines;
    for (int k = 0; k < 4; ++k) lines.push_back(window(unit(4, k), -recipe::no_limit, z));
    const auto found = probability(Eigen::VectorXd::Zero(4), covariance, lines);
    EXPECT_LE(std::abs(found.value - expected), found.error);
    EXPECT_LE(found.error, 1e-3);
  }
}

TEST(ProbabilitySingular, QuantitiesWithoutDoubtOnlyDecide) {
  Eigen::VectorXd mean(2);
  mean << 20.0, 1.0;
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(2, 2);
  covariance(1, 1) = 1.0;
  const Line good = window(unit(2, 0), 19.5, 20.5), bad = window(unit(2, 0), 20.1, 20.5);
  const Line edge = window(unit(2, 0), 20.0, 20.5), open = window(unit(2, 1), 0.0, 3.0);
  const double expected = cdf(2.0) - cdf(-1.0);
  EXPECT_NEAR(probability(mean, covariance, {good, open}).value, expected, 1e-14);
  EXPECT_NEAR(probability(mean, covariance, {edge, open}).value, expected, 1e-14);  // limit holds
  EXPECT_EQ(probability(mean, covariance, {bad, open}).value, 0.0);
}

TEST(ProbabilitySingular, TwoAxesThatAreOneQuantity) {
  // Both axes follow one cause exactly, so that the tighter of the two limits decides.
  const Eigen::VectorXd mean = Eigen::VectorXd::Zero(2);
  const Eigen::MatrixXd covariance = Eigen::MatrixXd::Ones(2, 2);
  const auto found =
      probability(mean, covariance, {window(unit(2, 0), -1.0, 5.0), window(unit(2, 1), -5.0, 2.0)});
  EXPECT_NEAR(found.value, cdf(2.0) - cdf(-1.0), 1e-6 + found.error);
}

TEST(ProbabilitySingular, ASumDecidedByItsPartsIsStillALimit) {
  // x + y with both in [-1, 1] and the sum in [0, 5]: half the square, by symmetry.
  const Eigen::VectorXd mean = Eigen::VectorXd::Zero(2);
  const Eigen::MatrixXd covariance = Eigen::MatrixXd::Identity(2, 2);
  const auto found = probability(mean, covariance,
                                 {window(unit(2, 0), -1.0, 1.0), window(unit(2, 1), -1.0, 1.0),
                                  window(Eigen::VectorXd::Ones(2), 0.0, 5.0)});
  const double square = std::pow(cdf(1.0) - cdf(-1.0), 2);
  EXPECT_LE(std::abs(found.value - 0.5 * square), found.error);
}

TEST(ProbabilitySingular, ARatioThatIsExactHasNoDoubt) {
  // One stock of exact strength: the content is known however unsure the dose is.
  Eigen::VectorXd mean(2);
  mean << 10.0, 20.0;  // mg, g
  Eigen::MatrixXd covariance(2, 2);
  covariance << 0.25, 0.5, 0.5, 1.0;
  const Line inside{unit(2, 0), unit(2, 1), 0.49, 0.51}, outside{unit(2, 0), unit(2, 1), 0.51, 0.6};
  EXPECT_NEAR(probability(mean, covariance, {inside}).value, 1.0, 1e-9);
  EXPECT_NEAR(probability(mean, covariance, {outside}).value, 0.0, 1e-9);
}

TEST(Probability, ALineThatIsGivenTwiceCountsOnce) {
  Random random(20251);
  for (int trial = 0; trial < 20; ++trial) {
    const Case c = any_case(random, 3);
    std::vector<Line> lines = lines_of(c.recipe, c.belief);
    const auto once = probability(c.belief.mean, c.belief.covariance, lines);
    const std::vector<Line> again = lines;
    lines.insert(lines.end(), again.begin(), again.end());
    const auto twice = probability(c.belief.mean, c.belief.covariance, lines);
    EXPECT_NEAR(once.value, twice.value, 1e-12);  // the same points, the same limits
  }
}

TEST(ProbabilityProperties, GrowsWhenALimitWidens) {
  Random random(71);
  for (int trial = 0; trial < support::trials(100, 1000); ++trial) {
    const Case c = any_case(random, 1 + random.below(6));
    std::vector<Line> lines = lines_of(c.recipe, c.belief);
    const auto before = probability(c.belief.mean, c.belief.covariance, lines);
    Line& wider = lines[static_cast<std::size_t>(random.below(static_cast<int>(lines.size())))];
    const double more = 0.3 * (wider.high - wider.low);
    wider.low -= more;
    wider.high += more;
    const auto after = probability(c.belief.mean, c.belief.covariance, lines);
    EXPECT_GE(after.value, before.value - before.error - after.error) << "trial " << trial;
  }
}

TEST(ProbabilityProperties, OrderOfLinesAndAxesDoesNotMatter) {
  Random random(72);
  for (int trial = 0; trial < support::trials(100, 1000); ++trial) {
    const Case c = any_case(random, 2 + random.below(5));
    std::vector<Line> lines = lines_of(c.recipe, c.belief);
    const auto before = probability(c.belief.mean, c.belief.covariance, lines);
    std::reverse(lines.begin(), lines.end());
    const Eigen::Index n = c.belief.mean.size();
    Eigen::PermutationMatrix<Eigen::Dynamic> turn(n);
    std::iota(turn.indices().begin(), turn.indices().end(), 0);
    for (Eigen::Index k = n - 1; k > 0; --k) {
      std::swap(turn.indices()(k), turn.indices()(random.below(static_cast<int>(k) + 1)));
    }
    for (Line& line : lines) {
      line.weights = (turn * line.weights).eval();
      if (line.divisor.size() > 0) line.divisor = (turn * line.divisor).eval();
    }
    const auto after =
        probability(turn * c.belief.mean, turn * c.belief.covariance * turn.transpose(), lines);
    EXPECT_NEAR(before.value, after.value, before.error + after.error) << "trial " << trial;
  }
}

TEST(ProbabilityProperties, NoMoreThanTheLeastLikelyLine) {
  Random random(73);
  for (int trial = 0; trial < support::trials(100, 1000); ++trial) {
    const Case c = any_case(random, 1 + random.below(6));
    const Conformity found = judge(c.belief, c.recipe, {}, {});
    double least = 1.0;
    for (const LineReport& line : found.lines) least = std::min(least, line.holds.value);
    const Probability& binding = found.lines[static_cast<std::size_t>(found.binding)].holds;
    EXPECT_EQ(binding.value, least);
    // A ratio line with two sides is an integral too, so both numbers have a stated error; where
    // both are closed forms they are the same sum in another order, good to a few units in the last
    // place.
    EXPECT_LE(found.joint.value, least + found.joint.error + binding.error + 4e-16)
        << "trial " << trial;
  }
}

TEST(ProbabilityProperties, AUnitOfALineDoesNotMatter) {
  Random random(74);
  for (int trial = 0; trial < 100; ++trial) {
    const Case c = any_case(random, 3);
    std::vector<Line> lines = lines_of(c.recipe, c.belief);
    const auto before = probability(c.belief.mean, c.belief.covariance, lines);
    // Powers of two, so that rounding cannot differ.
    lines[0].weights *= 1024.0;
    lines[0].low *= 1024.0;
    lines[0].high *= 1024.0;
    lines[1].weights *= 0.25;
    lines[1].divisor *= 0.25;
    const auto after = probability(c.belief.mean, c.belief.covariance, lines);
    EXPECT_NEAR(before.value, after.value, before.error + after.error);
  }
}

TEST(Probability, TheSameSeedGivesTheSameBits) {
  Random random(75);
  const Case c = any_case(random, 5);
  const std::vector<Line> lines = lines_of(c.recipe, c.belief);
  const auto one = probability(c.belief.mean, c.belief.covariance, lines);
  const auto two = probability(c.belief.mean, c.belief.covariance, lines);
  EXPECT_EQ(one.value, two.value);
  EXPECT_EQ(one.error, two.error);
  Options other;
  other.seed = 7;
  const auto moved = probability(c.belief.mean, c.belief.covariance, lines, other);
  EXPECT_NE(one.value, moved.value);
  EXPECT_NEAR(one.value, moved.value, one.error + moved.error);
}

TEST(ProbabilityDecideAt, BoundsSettleWithoutLyingAboutTheValue) {
  Random random(76);
  int settled = 0;
  const int trials = 200;
  for (int trial = 0; trial < trials; ++trial) {
    const Case c = any_case(random, 4);
    const std::vector<Line> lines = lines_of(c.recipe, c.belief);
    const auto full = probability(c.belief.mean, c.belief.covariance, lines);
    Options quick;
    quick.decide_at = 0.9;
    const auto found = probability(c.belief.mean, c.belief.covariance, lines, quick);
    EXPECT_NEAR(found.value, full.value, found.error + full.error);
    if (std::abs(full.value - 0.9) > full.error) {
      EXPECT_EQ(found.value >= 0.9, full.value >= 0.9) << full.value;
    }
    settled += found.error > 1.1e-3 ? 1 : 0;
  }
  EXPECT_GT(settled, trials / 2);  // else the bounds are useless
}

}  // namespace
}  // namespace vialwright::conformity
