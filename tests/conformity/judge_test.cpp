#include <gtest/gtest.h>

#include <cmath>

#include "conformity/conformity.hpp"
#include "support/random.hpp"

namespace vialwright::conformity {
namespace {

/// One component, one stock, net 20 g, volume 20 mL; nothing in doubt yet.
contents::Belief plain_belief() {
  contents::Belief belief;
  belief.components = 1;
  belief.stocks = 1;
  belief.mean = Eigen::VectorXd(4);
  belief.mean << 10.0, 20.0, 20.0, 20.0;
  belief.covariance = Eigen::MatrixXd::Zero(4, 4);
  return belief;
}

recipe::Recipe with(std::vector<recipe::Tolerance> tolerances) {
  recipe::Recipe made;
  made.tolerances = std::move(tolerances);
  return made;
}

recipe::Tolerance net_window() { return {recipe::ToleranceOn::net_mass, -1, 19.5, 20.0, 20.5}; }

/// A belief whose net mass makes the window hold with probability about p (one side decides).
contents::Belief net_at(double z) {
  contents::Belief belief = plain_belief();
  belief.covariance(belief.net(), belief.net()) = 0.01 * 0.01;
  belief.mean(belief.net()) = 20.5 - 0.01 * z;
  return belief;
}

TEST(LinesOf, EveryKindOfToleranceFindsItsAxes) {
  using enum recipe::ToleranceOn;
  const contents::Belief belief = plain_belief();
  const auto lines = lines_of(with({{content, 0, 0.4, 0.5, 0.6},
                                    {component_mass, 0, 9.0, 10.0, 11.0},
                                    {stock_mass, 0, 19.0, 20.0, 21.0},
                                    {net_mass, -1, 19.5, 20.0, 20.5},
                                    {volume, -1, 19.5, 20.0, 20.5},
                                    {concentration, 0, 0.4, 0.5, 0.6}}),
                              belief);
  const std::vector<int> on = {0, 0, 1, 2, 3, 0}, divisor = {2, -1, -1, -1, -1, 3};
  ASSERT_EQ(lines.size(), on.size());
  for (std::size_t k = 0; k < on.size(); ++k) {
    EXPECT_EQ(lines[k].weights, Eigen::VectorXd::Unit(4, on[k]));
    if (divisor[k] < 0) {
      EXPECT_EQ(lines[k].divisor.size(), 0);
    } else {
      EXPECT_EQ(lines[k].divisor, Eigen::VectorXd::Unit(4, divisor[k]));
    }
  }
}

TEST(Judge, ARecipeWithoutLinesIsReleased) {
  const Conformity found = judge(plain_belief(), with({}), {}, {});
  EXPECT_EQ(found.joint.value, 1.0);
  EXPECT_EQ(found.binding, -1);
  EXPECT_EQ(found.ruling, Ruling::release);
}

TEST(Judge, RulingFollowsTheRisks) {
  plant::Risks risks;
  risks.consumer = 0.05;
  risks.producer = 0.10;
  const auto recipe = with({net_window()});
  // P = cdf(z): 95.05 %, 94.9 %, 10.2 %, 9.9 %.
  EXPECT_EQ(judge(net_at(1.650), recipe, {}, risks).ruling, Ruling::release);
  EXPECT_EQ(judge(net_at(1.635), recipe, {}, risks).ruling, Ruling::unclear);
  EXPECT_EQ(judge(net_at(-1.27), recipe, {}, risks).ruling, Ruling::unclear);
  EXPECT_EQ(judge(net_at(-1.29), recipe, {}, risks).ruling, Ruling::reject);
}

TEST(Judge, TheRecipesOwnRiskOverridesTheLines) {
  auto recipe = with({net_window()});
  recipe.consumer_risk = 0.001;
  EXPECT_EQ(judge(net_at(2.0), recipe, {}, {}).ruling, Ruling::unclear);
  recipe.consumer_risk = 0.2;
  EXPECT_EQ(judge(net_at(1.0), recipe, {}, {}).ruling, Ruling::release);
}

TEST(Judge, OnTheEdgeOnlyWithinTheStatedErrorOfAThreshold) {
  using enum recipe::ToleranceOn;
  // Two quantities, so that the error is not zero; the threshold is put at the value found.
  contents::Belief belief = net_at(1.0);
  belief.covariance(0, 0) = 0.1 * 0.1;
  auto recipe = with({net_window(), {component_mass, 0, 9.9, 10.0, 10.1}});
  const Probability joint = judge(belief, recipe, {}, {}).joint;
  ASSERT_GT(joint.error, 0.0);
  recipe.consumer_risk = 1.0 - joint.value - 0.5 * joint.error;
  EXPECT_TRUE(judge(belief, recipe, {}, {}).on_the_edge);
  recipe.consumer_risk = 1.0 - joint.value - 2.0 * joint.error;
  EXPECT_FALSE(judge(belief, recipe, {}, {}).on_the_edge);
}

TEST(Judge, ALineReportsValueUncertaintyAndMarginal) {
  contents::Belief belief = plain_belief();
  belief.covariance(0, 0) = 0.1 * 0.1;                        // mg
  belief.covariance(belief.net(), belief.net()) = 0.1 * 0.1;  // g
  const auto recipe = with({{recipe::ToleranceOn::content, 0, 0.49, 0.5, 0.51}});
  const Conformity found = judge(belief, recipe, {}, {});
  ASSERT_EQ(found.lines.size(), 1U);
  EXPECT_NEAR(found.lines[0].value, 0.5, 1e-15);
  // GUM 5.1.2 for a quotient: (u/c)^2 = 0.01^2 + 0.005^2.
  EXPECT_NEAR(found.lines[0].u, 0.5 * std::sqrt(0.01 * 0.01 + 0.005 * 0.005), 1e-15);
  // The exact marginal by draws of the quotient itself.
  support::Random random(9);
  const int draws = 400000;
  int good = 0;
  for (int k = 0; k < draws; ++k) {
    const double content = (10.0 + 0.1 * random.normal()) / (20.0 + 0.1 * random.normal());
    good += content >= 0.49 && content <= 0.51 ? 1 : 0;
  }
  const double sampled = static_cast<double>(good) / draws;
  EXPECT_NEAR(found.lines[0].holds.value, sampled, 4.0 * std::sqrt(0.25 / draws));  // 4 sigma
  EXPECT_LE(found.lines[0].holds.error, 1e-12);  // the net mass is surely positive
  EXPECT_NEAR(found.lines[0].holds.value, found.joint.value, found.joint.error);
}

TEST(Judge, AnEmptyVialHasNoContentToSpeakOf) {
  contents::Belief belief = plain_belief();
  belief.mean.setZero();
  belief.covariance = Eigen::MatrixXd::Identity(4, 4) * 1e-4;
  const auto recipe = with({{recipe::ToleranceOn::content, 0, 0.49, 0.5, 0.51}, net_window()});
  const Conformity found = judge(belief, recipe, {}, {});
  EXPECT_LE(found.joint.value, 1e-9);
  EXPECT_EQ(found.ruling, Ruling::reject);
  EXPECT_TRUE(std::isfinite(found.joint.value));
}

// A green vial with 8 % too much of one dye, made good by adding water and a little of the other
// stock: 20 g, dye contents known to 0.85 %, doses to 3 mg (stock of 0.5 or 0.2 mg/g) and 15 mg
// (water), tolerance 3 % on each dye. Model and exact values (quadrature): the project's own
// worked examples, computed outside this code.
struct Added {
  double yellow_mg, blue_mg;          // in the vial before
  double yellow_g, blue_g, water_g;   // added
  double yellow_target, blue_target;  // mg/g
};

double success(const Added& a) {
  Eigen::VectorXd mean(3);
  mean << a.yellow_mg + 0.5 * a.yellow_g, a.blue_mg + 0.2 * a.blue_g,
      20.0 + a.yellow_g + a.blue_g + a.water_g;
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(3, 3);
  covariance(0, 0) = std::pow(0.0085 * a.yellow_mg, 2);
  covariance(1, 1) = std::pow(0.0085 * a.blue_mg, 2);
  const auto dose = [&](const Eigen::Vector3d& effect, double grams, double u) {
    if (grams > 0.0) covariance += u * u * effect * effect.transpose();
  };
  dose({0.5, 0.0, 1.0}, a.yellow_g, 0.003);
  dose({0.0, 0.2, 1.0}, a.blue_g, 0.003);
  dose({0.0, 0.0, 1.0}, a.water_g, 0.015);
  const Eigen::VectorXd net = Eigen::VectorXd::Unit(3, 2);
  const std::vector<Line> lines = {
      {Eigen::VectorXd::Unit(3, 0), net, 0.97 * a.yellow_target, 1.03 * a.yellow_target},
      {Eigen::VectorXd::Unit(3, 1), net, 0.97 * a.blue_target, 1.03 * a.blue_target}};
  const Probability found = probability(mean, covariance, lines);
  EXPECT_LE(found.error, 1e-3);
  return found.value;
}

TEST(GreenVial, TheLeastAdditionMostlyFailsAndTheMiddleMostlyHolds) {
  const double half_digit_and_error = 0.5e-3 + 1e-3;
  EXPECT_NEAR(success({0.160, 0.0648, 0.025, 0.0, 0.946, 0.0080, 0.0030}), 0.279,
              half_digit_and_error);
  EXPECT_NEAR(success({0.160, 0.0648, 0.025, 0.0, 1.400, 0.0080, 0.0030}), 0.971,
              half_digit_and_error);
  EXPECT_NEAR(success({0.160, 0.0840, 0.108, 0.030, 1.262, 0.0100, 0.0042}), 0.995,
              half_digit_and_error);
  EXPECT_NEAR(success({0.160, 0.0540, 0.0, 0.030, 0.0, 0.0080, 0.0030}), 0.983,
              half_digit_and_error);
}

}  // namespace
}  // namespace vialwright::conformity
