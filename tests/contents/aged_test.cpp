// A capped vial that waits: mass balance, fade, and a simulation written apart from the formulas.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <cmath>

#include "contents/contents.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright {
namespace {

using contents::Belief;

enum : int { yellow, salt, water };
enum : int { base, tint };

constexpr double capped_loss_g_per_h = 2e-5;  // 0.02 mg/h, common practice

/// Invented: yellow fades, salt does not, water leaves.
recipe::Book book() {
  recipe::Book book;
  book.components = {{"yellow", "", false, 0.02, 0.004}, {"salt", "", false}, {"water", "", true}};
  recipe::Stock clear, dye;
  clear.id = "base";
  clear.density_g_per_ml = 0.998;
  dye.id = "tint";
  dye.density_g_per_ml = 1.05;
  book.stocks = {clear, dye};
  book.lots = {{"B", base, {{0, 0}, {5, 0.1}, {990, 1}}, {}},
               {"T", tint, {{0.5, 0.005}, {0, 0}, {960, 1}}, {}}};
  return book;
}

/// A vial of 20 g or so with correlated doubts; one effect, the strength of the tint.
Belief belief_of(support::Random& random) {
  Belief made;
  made.components = 3;
  made.stocks = 2;
  made.effects = {{contents::Effect::Kind::strength, 1, yellow}};
  made.mean = Eigen::VectorXd(8);
  made.mean << 0.16, 98.0, 19600.0, 19.68, 0.32, 20.0, 20.02, 0.0;
  Eigen::MatrixXd root(8, 8);
  for (int i = 0; i < 8; ++i)
    for (int j = 0; j < 8; ++j) root(i, j) = random.uniform(-1.0, 1.0);
  Eigen::VectorXd size(8);
  size << 0.0015, 1.0, 20.0, 0.02, 0.003, 0.02, 0.02, 0.005;
  root = size.asDiagonal() * root;
  made.covariance = root * root.transpose();
  return made;
}

constexpr double days_0 = 0.0;

TEST(Aged, NoTimeIsNoChange) {
  support::Random random(1);
  const Belief now = belief_of(random);
  const Belief then = contents::aged(now, days_0, capped_loss_g_per_h, book());
  EXPECT_EQ(then.mean, now.mean);
  EXPECT_EQ(then.covariance, now.covariance);
}

// Ten days at 0.02 mg/h are 4.8 mg of water and of the net; at 0.998 g/mL 4.8096 uL.
TEST(Aged, WhatLeavesIsWaterAndTheBalanceHolds) {
  support::Random random(2);
  const Belief now = belief_of(random);
  const Belief then = contents::aged(now, 10.0, capped_loss_g_per_h, book());
  EXPECT_NEAR(now.mean[water] - then.mean[water], 4.8, 1e-9);
  EXPECT_NEAR(now.mean[now.net()] - then.mean[now.net()], 0.0048, 1e-12);
  EXPECT_NEAR(now.mean[now.volume()] - then.mean[now.volume()], 0.0048 / 0.998, 1e-12);
  EXPECT_EQ(then.mean[now.stock(base)], now.mean[now.stock(base)]) << "stocks are as dosed";
  EXPECT_EQ(then.mean[now.stock(tint)], now.mean[now.stock(tint)]);
  EXPECT_EQ(then.mean[now.effect(0)], now.mean[now.effect(0)]);
}

// Half of it is gone after ln 2 / 0.02 = 34.657 days.
TEST(Aged, FadeTakesItsOwnComponentAlone) {
  support::Random random(3);
  const Belief now = belief_of(random);
  const Belief then = contents::aged(now, std::log(2.0) / 0.02, 0.0, book());
  EXPECT_NEAR(then.mean[yellow], 0.08, 1e-12);
  for (int axis = 1; axis < 8; ++axis) EXPECT_EQ(then.mean[axis], now.mean[axis]) << axis;
  for (int i = 1; i < 8; ++i) {
    EXPECT_NEAR(then.covariance(yellow, i), 0.5 * now.covariance(yellow, i), 1e-12) << i;
    for (int j = 1; j < 8; ++j) EXPECT_EQ(then.covariance(i, j), now.covariance(i, j));
  }
}

TEST(Aged, ALineThatNeitherFadesNorLosesKeepsItsVials) {
  recipe::Book still = book();
  still.components[yellow].fade_per_day = still.components[yellow].u_fade_per_day = 0.0;
  support::Random random(4);
  const Belief now = belief_of(random);
  const Belief then = contents::aged(now, 30.0, 0.0, still);
  EXPECT_EQ(then.mean, now.mean);
  EXPECT_EQ(then.covariance, now.covariance);
}

RC_GTEST_PROP(Aged, DoubtRelativeToWhatIsLeftNeverFalls, (std::uint64_t seed)) {
  support::Random random(seed);
  const Belief now = belief_of(random);
  const double first = random.uniform(0.0, 20.0), more = random.uniform(0.0, 20.0);
  const Belief then = contents::aged(now, first, capped_loss_g_per_h, book());
  const Belief later = contents::aged(now, first + more, capped_loss_g_per_h, book());
  const auto relative = [](const Belief& it) { return it.u(yellow) / it.mean[yellow]; };
  RC_ASSERT(relative(then) >= relative(now) * (1.0 - 1e-12));  // rounding
  RC_ASSERT(relative(later) >= relative(then) * (1.0 - 1e-12));
  // A covariance stays one: no direction has a variance below zero, but for rounding of the scale.
  const Eigen::VectorXd scale = later.covariance.diagonal().cwiseSqrt().cwiseInverse();
  const Eigen::MatrixXd correlation = scale.asDiagonal() * later.covariance * scale.asDiagonal();
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(correlation);
  RC_ASSERT(solver.eigenvalues().minCoeff() > -1e-9);
}

/// Vials drawn from the belief, each with its own rate of fade, aged in small steps: the change of
/// a step is the rate times what is there.
TEST(Aged, MatchesASimulationInSmallSteps) {
  support::Random random(20261125);
  const recipe::Book line = book();
  const Belief now = belief_of(random);
  const double days = 12.0;
  const Belief then = contents::aged(now, days, capped_loss_g_per_h, line);
  const Eigen::MatrixXd root = now.covariance.llt().matrixL();
  const int draws = support::trials(40'000, 400'000), steps = 240;
  Eigen::VectorXd sum = Eigen::VectorXd::Zero(8);
  Eigen::MatrixXd squares = Eigen::MatrixXd::Zero(8, 8);
  for (int n = 0; n < draws; ++n) {
    Eigen::VectorXd z(8);
    for (int i = 0; i < 8; ++i) z[i] = random.normal();
    Eigen::VectorXd vial = now.mean + root * z;
    const double rate = 0.02 + 0.004 * random.normal(), step = days / steps;
    for (int s = 0; s < steps; ++s) {
      vial[yellow] *= 1.0 - rate * step * (1.0 - 0.5 * rate * step);
      vial[water] -= 1000.0 * 24.0 * step * capped_loss_g_per_h;
      vial[now.net()] -= 24.0 * step * capped_loss_g_per_h;
      vial[now.volume()] -= 24.0 * step * capped_loss_g_per_h / 0.998;
    }
    const Eigen::VectorXd off = vial - then.mean;
    sum += off;
    squares += off * off.transpose();
  }
  for (int i = 0; i < 8; ++i) {
    const double u = then.u(i);
    // Four standard errors, and the second order of the mean that a first order leaves out:
    // (days u_fade)^2 / 2 of it, 0.12 %.
    const double second = i == yellow ? 0.0012 * then.mean[yellow] : 0.0;
    EXPECT_NEAR(sum[i] / draws, 0.0, 4.0 * u / std::sqrt(draws) + second) << i;
    for (int j = 0; j < 8; ++j) {
      const double found = squares(i, j) / draws;
      const double scale = u * then.u(j);
      // Four standard errors of a covariance, at most sqrt(2 / n) of the product of the two u; and
      // the second order of the spread, (days u_fade)^2 of it.
      EXPECT_NEAR(found / scale, then.covariance(i, j) / scale,
                  4.0 * std::sqrt(2.0 / draws) + 0.005)
          << i << ", " << j;
    }
  }
}

}  // namespace
}  // namespace vialwright
