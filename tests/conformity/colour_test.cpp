// The joint probability with colours beside plain Monte Carlo by another way from contents to
// colour, and in limits that have closed forms.
#include <gtest/gtest.h>

#include <Eigen/Eigenvalues>
#include <cmath>
#include <utility>

#include "conformity/tints.hpp"
#include "support/long_form.hpp"

namespace vialwright::conformity {
namespace {

using conformity_test::any_tint;
using conformity_test::ByHand;
using conformity_test::Kind;
using conformity_test::Tint;
using support::Random;

struct Share {
  double value = 0.0, u = 0.0;
};

/// A root of a covariance that may be singular.
Eigen::MatrixXd root_of(const Eigen::MatrixXd& covariance) {
  const Eigen::VectorXd scale = covariance.diagonal().cwiseSqrt().cwiseMax(1e-300);
  const Eigen::MatrixXd scaled =
      scale.cwiseInverse().asDiagonal() * covariance * scale.cwiseInverse().asDiagonal();
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> parts(scaled);
  return scale.asDiagonal() * parts.eigenvectors() *
         parts.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal();
}

Share sampled(const Tint& tint, int draws, Random& random) {
  std::vector<ByHand> views;
  for (const recipe::ColourTarget& target : tint.recipe.colours) views.emplace_back(target);
  const Eigen::MatrixXd root = root_of(tint.belief.covariance);
  Eigen::VectorXd z(root.cols());
  int good = 0;
  for (int k = 0; k < draws; ++k) {
    for (double& one : z) one = random.normal();
    good += conformity_test::meets(tint, views, tint.belief.mean + root * z) ? 1 : 0;
  }
  const double share = static_cast<double>(good) / draws;
  return {share, std::sqrt(std::max(share * (1.0 - share), 1.0 / draws) / draws)};
}

Probability joint_of(const Tint& tint, const Options& options = {}) {
  return probability(tint.belief.mean, tint.belief.covariance, lines_of(tint.recipe, tint.belief),
                     colour_lines_of(tint.recipe, tint.belief, tint.book), options);
}

/// Every kind of recipe and belief in turn.
Kind kind_of(int trial) {
  Kind kind;
  kind.contents = trial % 2 == 0;
  kind.net = trial % 3 != 1;
  kind.second = trial % 5 == 2;
  kind.deviations = trial % 4 != 3;
  kind.foreign = trial % 6 == 5;
  return kind;
}

TEST(ColourJoint, AgreesWithPlainDrawsThroughASpectrumLoopOfItsOwn) {
  const int trials = support::trials(24, 40), draws = support::trials(30'000, 1'000'000);
  Random random(20261), sampling(20262);
  int between = 0;
  double largest = 0.0, stated = 0.0;
  for (int trial = 0; trial < trials; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    const Tint tint = any_tint(random, kind_of(trial));
    const Probability found = joint_of(tint);
    const Share drawn = sampled(tint, draws, sampling);
    EXPECT_LE(found.error, 1e-3);
    // Four standard errors of the draws: some 6e-5 a trial.
    EXPECT_LE(std::abs(found.value - drawn.value), found.error + 4.0 * drawn.u)
        << found.value << " against " << drawn.value;
    between += drawn.value > 0.05 && drawn.value < 0.95 ? 1 : 0;
    largest = std::max(largest, std::abs(found.value - drawn.value) / (found.error + drawn.u));
    stated = std::max(stated, found.error);
  }
  std::printf(
      "%d tints, %d draws each: largest difference %.2f of error and u; largest error %.1e\n",
      trials, draws, largest, stated);
  EXPECT_GT(between, trials / 3);  // else the trial says little
}

TEST(ColourJoint, WithAToleranceThatNothingMissesTheLinesDecide) {
  Random random(20263);
  Kind kind;
  kind.least_high = kind.most_high = 60.0;
  for (int trial = 0; trial < 30; ++trial) {
    kind.second = trial % 2 == 1;
    const Tint tint = any_tint(random, kind);
    const auto lines = lines_of(tint.recipe, tint.belief);
    const Probability alone = probability(tint.belief.mean, tint.belief.covariance, lines);
    const Probability found = joint_of(tint);
    EXPECT_NEAR(found.value, alone.value, found.error + alone.error);
  }
}

TEST(ColourJoint, WithoutDoubtItIsYesOrNo) {
  Random random(20264);
  Kind kind;
  kind.contents = kind.net = false;
  for (int trial = 0; trial < 20; ++trial) {
    Tint tint = any_tint(random, kind);
    tint.belief.covariance.setZero();
    const ByHand view(tint.recipe.colours[0]);
    const double difference = conformity_test::difference_by_hand(
        view.lab(liquid_at(tint, tint.belief.mean), false), tint.recipe.colours[0].lab);
    for (const double share : {0.999, 1.001}) {
      tint.recipe.tolerances[0].high = share * difference;
      const Probability found = joint_of(tint);
      EXPECT_EQ(found.value, share > 1.0 ? 1.0 : 0.0);
      EXPECT_EQ(found.error, 0.0);
    }
  }
}

TEST(ColourJoint, DoubtAboutWhatHasNoColourChangesNothing) {
  Random random(20265);
  Kind kind;
  kind.contents = kind.net = kind.deviations = false;
  Tint tint = any_tint(random, kind);
  tint.belief.covariance.setZero();
  tint.belief.covariance(3, 3) = 4.0;  // the salt
  tint.recipe.tolerances[0].high = 50.0;
  EXPECT_EQ(joint_of(tint).value, 1.0);
}

/// Dyes known to a third, tolerances far beyond what the formula is meant for, greys: the balls are
/// neither small nor round, and what is stated of the error must still hold.
TEST(ColourJoint, StaysHonestWhereDoubtsAreLargeAndTolerancesWide) {
  Random random(20266), sampling(20267);
  Options options;
  options.most_points = 4096;  // what more would cost, these cases are not worth
  Kind kind;
  kind.least_u = 0.1;
  kind.most_u = 0.35;
  kind.least_high = 2.0;
  kind.most_high = 25.0;
  const int trials = support::trials(16, 80), draws = support::trials(30'000, 400'000);
  double largest = 0.0;
  for (int trial = 0; trial < trials; ++trial) {
    SCOPED_TRACE("trial " + std::to_string(trial));
    kind.contents = trial % 4 == 0;
    kind.second = trial % 3 == 1;
    kind.foreign = trial % 5 == 4;
    const Tint tint = any_tint(random, kind);
    const Probability found = joint_of(tint, options);
    const Share drawn = sampled(tint, draws, sampling);
    EXPECT_LE(std::abs(found.value - drawn.value), found.error + 4.0 * drawn.u)
        << found.value << " against " << drawn.value;
    EXPECT_LE(found.error, 0.02);
    largest = std::max(largest, found.error);
  }
  std::printf("largest stated error %.1e\n", largest);
}

TEST(ColourJoint, TheOrderOfIlluminantsDoesNotMatter) {
  Random random(20268);
  Kind kind;
  kind.second = true;
  for (int trial = 0; trial < 10; ++trial) {
    Tint tint = any_tint(random, kind);
    const Probability one = joint_of(tint);
    std::swap(tint.recipe.tolerances.back(), *(tint.recipe.tolerances.end() - 2));
    const Probability other = joint_of(tint);
    EXPECT_NEAR(one.value, other.value, one.error + other.error);
    // A second one can only be one more thing to miss.
    tint.recipe.tolerances.pop_back();
    const Probability without = joint_of(tint);
    EXPECT_LE(one.value, without.value + one.error + without.error);
  }
}

TEST(ColourJoint, TheSameSeedGivesTheSameBits) {
  Random random(20269);
  const Tint tint = any_tint(random, {});
  const Probability one = joint_of(tint), two = joint_of(tint);
  EXPECT_EQ(one.value, two.value);
  EXPECT_EQ(one.error, two.error);
  Options other;
  other.seed = 7;
  const Probability moved = joint_of(tint, other);
  EXPECT_NE(one.value, moved.value);
  EXPECT_NEAR(one.value, moved.value, one.error + moved.error);
}

TEST(ColourJoint, GrowsWithItsTolerance) {
  Random random(20270);
  for (int trial = 0; trial < 10; ++trial) {
    Tint tint = any_tint(random, {});
    Probability before{};
    for (const double high : {0.2, 0.5, 1.0, 2.0, 4.0, 8.0}) {
      tint.recipe.tolerances.back().high = high;
      const Probability found = joint_of(tint);
      EXPECT_GE(found.value, before.value - before.error - found.error);
      before = found;
    }
  }
}

TEST(JudgeColour, AReportHasTheDifferenceTheColourAndTheMarginal) {
  Random random(20280), sampling(20281);
  for (int trial = 0; trial < 5; ++trial) {
    Tint tint = any_tint(random, {});
    const Conformity found = judge(tint.belief, tint.recipe, tint.book, {});
    ASSERT_EQ(found.lines.size(), tint.recipe.tolerances.size());
    EXPECT_TRUE(found.doubt.empty());
    const LineReport& line = found.lines.back();
    ASSERT_TRUE(line.seen.has_value());
    EXPECT_FALSE(found.lines.front().seen.has_value());
    const colour::Lab lab =
        ByHand(tint.recipe.colours[0]).lab(liquid_at(tint, tint.belief.mean), false);
    EXPECT_NEAR(line.seen->mean.l, lab.l, 1e-9);  // rounding of 81 bands
    EXPECT_NEAR(line.seen->mean.a, lab.a, 1e-9);
    EXPECT_NEAR(line.seen->mean.b, lab.b, 1e-9);
    const double difference = conformity_test::difference_by_hand(lab, tint.recipe.colours[0].lab);
    EXPECT_NEAR(line.value, difference, 1e-7);
    tint.recipe.tolerances.erase(tint.recipe.tolerances.begin(), tint.recipe.tolerances.end() - 1);
    const Share drawn = sampled(tint, 20'000, sampling);
    EXPECT_NEAR(line.holds.value, drawn.value, line.holds.error + 4.0 * drawn.u);
  }
}

TEST(JudgeColour, WhereTheLawDoesNotHoldNothingIsReleased) {
  Random random(20282);
  Kind kind;
  kind.contents = false;
  Tint tint = any_tint(random, kind);
  tint.belief.covariance *= 1e-4;
  tint.belief.mean(tint.belief.net()) = 20.0;
  tint.recipe.tolerances.back().high = 50.0;
  EXPECT_EQ(judge(tint.belief, tint.recipe, tint.book, {}).ruling, Ruling::release);
  tint.book.stocks[0].scatters = true;
  const Conformity cloudy = judge(tint.belief, tint.recipe, tint.book, {});
  EXPECT_EQ(cloudy.ruling, Ruling::unclear);
  EXPECT_NE(cloudy.doubt.find("base"), std::string::npos) << cloudy.doubt;
  // The other lines may still say no.
  tint.belief.mean(tint.belief.net()) = 23.0;
  EXPECT_EQ(judge(tint.belief, tint.recipe, tint.book, {}).ruling, Ruling::reject);
}

/// A colour that nothing misses leaves the worth of a weighing as it is; one that is surely missed
/// leaves none; and one that is in doubt is looked at with the contents as the weighing leaves
/// them.
TEST(WorthColour, AWeighingIsWorthWhatTheColourLeavesOfIt) {
  Random random(20283);
  Kind kind;
  kind.contents = false;
  const Stakes stakes{1.0, 4.0, 0.1};
  Tint tint = any_tint(random, kind);
  const int net = tint.belief.net();
  tint.belief.covariance *= std::pow(0.08 / tint.belief.u(net), 2);
  tint.belief.mean(net) = 20.12;  // of 20.15 that are allowed
  const auto worth = [&](double high) {
    tint.recipe.tolerances.back().high = high;
    return worth_of_weighing(tint.belief, 0.005, tint.recipe, tint.book, {}, stakes);
  };
  recipe::Recipe plain = tint.recipe;
  plain.tolerances.pop_back();
  plain.colours.clear();
  const ReadingWorth alone = worth_of_weighing(tint.belief, 0.005, plain, tint.book, {}, stakes);
  EXPECT_GT(alone.gain, 0.0);
  // Crossings are found to 1e-6 of a standard deviation, P to 1e-3.
  EXPECT_NEAR(worth(60.0).gain, alone.gain, 5e-3);
  EXPECT_EQ(worth(1e-3).gain, 0.0);
}

}  // namespace
}  // namespace vialwright::conformity
