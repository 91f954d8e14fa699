// The joint probability with colours beside plain Monte Carlo by another way from contents to
// colour, and in limits that have closed forms.
#include <gtest/gtest.h>

#include <Eigen/Eigenvalues>
#include <cmath>

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
  const int trials = support::trials(24, 120), draws = support::trials(30'000, 1'000'000);
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

}  // namespace
}  // namespace vialwright::conformity
