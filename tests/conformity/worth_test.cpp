// The worth of a weighing beside nested integrals written out here, and draws of the reading.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "conformity/conformity.hpp"
#include "support/random.hpp"

namespace vialwright::conformity {
namespace {

double cdf(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

/// Net mass N(net, u_net^2) and one component of mass N(10, u_mg^2), independent.
contents::Belief belief_with(double net, double u_net, double u_mg) {
  contents::Belief belief;
  belief.components = 1;
  belief.mean = Eigen::VectorXd(3);
  belief.mean << 10.0, net, net;
  belief.covariance = Eigen::MatrixXd::Zero(3, 3);
  belief.covariance(0, 0) = u_mg * u_mg;
  belief.covariance.bottomRightCorner(2, 2).setConstant(u_net * u_net);
  return belief;
}

recipe::Recipe net_only() {
  recipe::Recipe made;
  made.tolerances = {{recipe::ToleranceOn::net_mass, -1, 19.5, 20.0, 20.5}};
  return made;
}

constexpr Stakes stakes{4.0, 4.6, 0.3};

struct Worth {
  double gain = 0.0, odds = 0.0;
};

/// E over the reading of the best permitted action, by draws of the reading; `p` gives P(good) at
/// a net mass N(mean, u^2).
Worth by_draws(double net, double u_net, double u_reading, double consumer,
               const std::function<double(double, double)>& p, int draws) {
  const double spread = std::hypot(u_net, u_reading), after = u_net * u_reading / spread;
  const auto utility = [&](double good) {
    const double released = good * stakes.good - (1.0 - good) * stakes.wrong;
    return good >= 1.0 - consumer ? std::max(released, -stakes.scrap) : -stakes.scrap;
  };
  support::Random random(4);
  Worth sum;
  for (int k = 0; k < draws; ++k) {
    const double reading = net + spread * random.normal();
    const double good = p(net + (reading - net) * u_net * u_net / (spread * spread), after);
    sum.gain += utility(good) / draws;
    sum.odds += utility(good) > -stakes.scrap ? 1.0 / draws : 0.0;
  }
  sum.gain -= utility(p(net, u_net));
  return sum;
}

TEST(WorthOfWeighing, NetMassAloneAsByDraws) {
  const auto p = [](double mean, double u) {
    return cdf((20.5 - mean) / u) - cdf((19.5 - mean) / u);
  };
  plant::Risks risks;
  for (const double net : {20.40, 20.47, 20.55, 20.70}) {
    SCOPED_TRACE(net);
    const int draws = 400000;
    const Worth right = by_draws(net, 0.08, 0.02, risks.consumer, p, draws);
    const ReadingWorth found =
        worth_of_weighing(belief_with(net, 0.08, 0.0), 0.02, net_only(), {}, risks, stakes);
    // Four standard errors: the utility spreads over 4.3, an indicator over 1.
    EXPECT_NEAR(found.gain, right.gain, 4.0 * 2.15 / std::sqrt(draws));
    EXPECT_NEAR(found.odds_release, right.odds, 4.0 * 0.5 / std::sqrt(draws));
  }
}

TEST(WorthOfWeighing, NetMassAndContentAsByDrawsOverAQuadrature) {
  recipe::Recipe recipe = net_only();
  recipe.tolerances.push_back({recipe::ToleranceOn::content, 0, 0.485, 0.5, 0.515});
  const double u_mg = 0.1;
  // Midpoint rule over the net mass; the content given the net mass is a closed form.
  const auto p = [&](double mean, double u) {
    double sum = 0.0;
    const int steps = 300;
    for (int k = 0; k < steps; ++k) {
      const double net = 19.5 + (k + 0.5) / steps, z = (net - mean) / u;
      const double inside = cdf((0.515 * net - 10.0) / u_mg) - cdf((0.485 * net - 10.0) / u_mg);
      sum += inside * std::exp(-0.5 * z * z) / (u * std::sqrt(2.0 * std::acos(-1.0))) / steps;
    }
    return sum;
  };
  plant::Risks risks;
  risks.consumer = 0.10;
  const int draws = 20000;
  const Worth right = by_draws(20.44, 0.08, 0.02, risks.consumer, p, draws);
  const ReadingWorth found =
      worth_of_weighing(belief_with(20.44, 0.08, u_mg), 0.02, recipe, {}, risks, stakes);
  EXPECT_NEAR(found.gain, right.gain, 4.0 * 2.15 / std::sqrt(draws));
  EXPECT_NEAR(found.odds_release, right.odds, 4.0 * 0.5 / std::sqrt(draws));
  EXPECT_GT(found.gain, 0.1);
}

TEST(WorthOfWeighing, ABetterScaleIsWorthNoLess) {
  double before = -1.0;
  for (const double u : {1.0, 0.3, 0.1, 0.05, 0.02, 0.01, 0.001, 0.0001}) {
    const double gain =
        worth_of_weighing(belief_with(20.47, 0.08, 0.0), u, net_only(), {}, {}, stakes).gain;
    EXPECT_GE(gain, before - 1e-6) << u;  // quadrature
    before = gain;
  }
  // A perfect scale: the vial is released when it is good, and it is so with P(good).
  const double good = cdf(0.03 / 0.08) - cdf(-0.97 / 0.08);
  EXPECT_NEAR(before, good * (stakes.good + stakes.scrap), 0.005);  // 0.1 mg is not quite perfect
}

TEST(WorthOfWeighing, NothingToLearnIsWorthNothing) {
  EXPECT_EQ(worth_of_weighing(belief_with(20.6, 0.0, 0.1), 0.02, net_only(), {}, {}, stakes).gain,
            0.0);
  // Surely good, surely bad: no reading changes the decision.
  const auto good =
      worth_of_weighing(belief_with(20.0, 0.02, 0.1), 0.02, net_only(), {}, {}, stakes);
  EXPECT_NEAR(good.gain, 0.0, 1e-6);  // the quadrature
  EXPECT_NEAR(good.odds_release, 1.0, 1e-6);
  const auto bad =
      worth_of_weighing(belief_with(22.0, 0.02, 0.1), 0.02, net_only(), {}, {}, stakes);
  EXPECT_EQ(bad.gain, 0.0);
  EXPECT_EQ(bad.odds_release, 0.0);
}

TEST(WorthOfWeighing, NeverNegative) {
  support::Random random(12);
  for (int trial = 0; trial < 60; ++trial) {
    const Stakes any{random.uniform(0.0, 5.0), random.uniform(0.0, 8.0), random.uniform(0.0, 1.0)};
    plant::Risks risks;
    risks.consumer = random.uniform(0.001, 0.3);
    const ReadingWorth found = worth_of_weighing(
        belief_with(20.0 + random.uniform(-0.7, 0.7), random.uniform(0.0, 0.3), 0.0),
        random.uniform(0.0, 0.1), net_only(), {}, risks, any);
    EXPECT_GE(found.gain, 0.0);
    EXPECT_GE(found.odds_release, 0.0);
    EXPECT_LE(found.odds_release, 1.0 + 1e-12);
  }
}

}  // namespace
}  // namespace vialwright::conformity
