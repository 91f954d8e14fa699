#include "strength/regression.hpp"

#include <gtest/gtest.h>

#include <Eigen/LU>

#include "support/random.hpp"

namespace vialwright::strength {
namespace {

using Eigen::MatrixXd;
using Eigen::VectorXd;

MatrixXd any(support::Random& random, int rows, int columns) {
  MatrixXd all(rows, columns);
  for (double& each : all.reshaped()) each = random.normal();
  return all;
}

// From the residual about the posterior of all, without fitting again: the same as fitting without
// the block and predicting it. Few blocks and little noise, so that each has a large say.
TEST(Regression, LeftOutIsTheMisfitToWhatTheOthersPredict) {
  support::Random random(51);
  for (int trial = 0; trial < 50; ++trial) {
    const VectorXd u = VectorXd::Constant(3, 2.0);
    std::vector<MatrixXd> designs, noises;
    std::vector<VectorXd> values;
    for (int block = 0; block < 3; ++block) {
      designs.push_back(any(random, 2, 3));
      const MatrixXd root = any(random, 2, 2);
      noises.push_back(0.1 * root * root.transpose() + 0.1 * MatrixXd::Identity(2, 2));
      values.push_back(any(random, 2, 1));
    }
    Regression all(u), others(u);
    for (std::size_t block = 0; block < 3; ++block) {
      all.add(designs[block], values[block], noises[block]);
      if (block > 0) others.add(designs[block], values[block], noises[block]);
    }
    const Normal with = all.posterior(), without = others.posterior();
    const VectorXd miss = values[0] - designs[0] * without.mean;
    const MatrixXd spread = noises[0] + designs[0] * without.covariance * designs[0].transpose();
    const double predicted = miss.dot(spread.inverse() * miss);
    const double quick =
        left_out(values[0] - designs[0] * with.mean, designs[0], noises[0], with.covariance);
    EXPECT_NEAR(quick / predicted, 1.0, 1e-9);  // rounding of inverses of well-behaved matrices
  }
}

// Against the textbook form in the space of the values: mean P H' (H P H' + R)^-1 y.
TEST(Regression, PosteriorIsThatOfTheOtherForm) {
  support::Random random(52);
  const VectorXd u{{0.5, 2.0, 1e-3, 40.0}};
  const MatrixXd prior = u.cwiseAbs2().asDiagonal();
  const MatrixXd design = any(random, 3, 4), root = any(random, 3, 3);
  const MatrixXd noise = root * root.transpose() + 0.1 * MatrixXd::Identity(3, 3);
  const VectorXd values = any(random, 3, 1);
  Regression regression(u);
  regression.add(design, values, noise);
  const Normal normal = regression.posterior();
  const MatrixXd gain =
      prior * design.transpose() * (design * prior * design.transpose() + noise).inverse();
  // 1e-10 of the prior's size: inverses of matrices of condition some 1e9, scaled.
  EXPECT_LT(((normal.mean - gain * values).array() / u.array()).abs().maxCoeff(), 1e-10);
  const MatrixXd covariance = prior - gain * design * prior;
  EXPECT_LT(
      ((normal.covariance - covariance).array() / (u * u.transpose()).array()).abs().maxCoeff(),
      1e-10);
}

}  // namespace
}  // namespace vialwright::strength
