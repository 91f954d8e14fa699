// Worked cases of the demonstration tint: a green vial that came out wrong, and what can be added.
// Source of the printed figures: the project's domain notes, section 8 (invented system; computed
// there by quadrature). The probabilities are computed again here, by a quadrature of our own over
// the dyes' masses and the doses, so neither the engine's beliefs nor its integrals check
// themselves.
#include <gtest/gtest.h>

#include <array>
#include <cmath>

#include "topup/d0.hpp"

namespace vialwright::topup::testing {
namespace {

double normal_cdf(double z) { return 0.5 * std::erfc(-z / std::sqrt(2.0)); }

/// The model of the cases: mass 20 g and strengths exact; the dyes' masses and each dose made are
/// independent and Gaussian, dose sd 3 mg, of base 15 mg.
struct Plan {
  double yellow_mg = 0.160, teal_mg = 0.0648, u_rel = 0.0085;  // now
  double base_g = 0.0, yellow_g = 0.0, teal_g = 0.0;           // to add
  double yellow_target = 0.0080, teal_target = 0.0030, tolerance = 0.03;
  double net_low = 0.0, net_high = 1e9;
};

double in_band(double have_mg, double added_mg, double u, double target, double tolerance,
               double net) {
  const double low = target * (1.0 - tolerance) * net, high = target * (1.0 + tolerance) * net;
  const double mean = have_mg + added_mg;
  return normal_cdf((high - mean) / u) - normal_cdf((low - mean) / u);
}

/// Trapezoid rule over the doses made, +-6 standard deviations in steps of 0.15 (for a Gaussian
/// times a smooth function exact to more digits than are printed); the dyes in closed form.
double success(const Plan& plan) {
  constexpr double step = 0.15;
  constexpr int reach = 40;
  const auto each = [&](double grams, double sd, const auto& visit) {
    if (grams <= 0.0) return visit(0.0, 1.0);
    double sum = 0.0;
    for (int i = -reach; i <= reach; ++i) {
      const double z = i * step;
      sum += visit(grams + sd * z, step * 0.3989422804014327 * std::exp(-0.5 * z * z));
    }
    return sum;
  };
  return each(plan.base_g, 0.015, [&](double base, double weight_base) {
    return weight_base * each(plan.yellow_g, 0.003, [&](double yellow, double weight_yellow) {
             return weight_yellow * each(plan.teal_g, 0.003, [&](double teal, double weight_teal) {
                      const double net = 20.0 + base + yellow + teal;
                      if (net < plan.net_low || net > plan.net_high) return 0.0;
                      return weight_teal *
                             in_band(plan.yellow_mg, 0.5 * yellow, plan.u_rel * plan.yellow_mg,
                                     plan.yellow_target, plan.tolerance, net) *
                             in_band(plan.teal_mg, 0.2 * teal, plan.u_rel * plan.teal_mg,
                                     plan.teal_target, plan.tolerance, net);
                    });
           });
  });
}

/// Least doses of the dyes as in the case; base as little as 1 mg.
D0 line(double least_dye_g) {
  D0 d0;
  for (const int stock : {D0::yellow, D0::rose, D0::teal})
    d0.plant.stations[static_cast<std::size_t>(stock)].least_dose_g = least_dye_g;
  return d0;
}

Answer answer_of(const D0& d0, const contents::Belief& vial, const recipe::Recipe& recipe) {
  return best(vial, recipe, d0.means, d0.plant, d0.book);
}

double amount(const Topup& topup, int stock) {
  for (const Addition& each : topup.additions)
    if (each.stock == stock) return each.amount_g;
  return 0.0;
}

Plan plan_of(const Topup& topup) {
  Plan plan;
  plan.base_g = amount(topup, D0::base);
  plan.yellow_g = amount(topup, D0::yellow);
  plan.teal_g = amount(topup, D0::teal);
  return plan;
}

// 8.1: teal 8 % over needs M' >= 0.0648 / 0.00309 = 20.971 g: not for 20.0 +- 0.5 g.
TEST(WorkedTopups, EightPercentOverIsImpossibleAtTwentyGramsAndPossibleAtTwentyOne) {
  const D0 d0 = line(0.025);
  const contents::Belief vial = d0.vial(0.160, 0.0648);
  const Answer own = answer_of(d0, vial, d0.green(19.5, 20.5));
  EXPECT_EQ(own.impossible, Impossible::by_any_amounts);
  ASSERT_TRUE(own.proved);
  EXPECT_NE(own.proved->in_words.find("20.97"), std::string::npos) << own.proved->in_words;
  const Answer larger = answer_of(d0, vial, d0.green(20.5, 21.5));
  EXPECT_EQ(larger.impossible, Impossible::no);
  EXPECT_TRUE(larger.meets_risk);
}

// 8.2: with at least 25 mg of yellow, 0.94587 g of base are the least that hold on paper.
TEST(WorkedTopups, TheLeastDoseOfYellowTakesPointNineFourSixGramsOfBase) {
  const D0 d0 = line(0.025);
  const contents::Belief vial = d0.vial(0.160, 0.0648);
  // Total 20 + 0.94587 + 0.025 = 20.97087 g, teal exactly at its limit there.
  for (const double short_of : {1e-5, -1e-5}) {
    const recipe::Recipe recipe = d0.green(20.0, 20.97087 - short_of);
    const auto proof = prove_impossible(vial, recipe, d0.means, d0.plant, d0.book, true);
    EXPECT_EQ(proof.has_value(), short_of > 0.0);
  }
}

// 8.3: the least-mass plan succeeds 27.9 times of 100, the one in the middle 97.1.
TEST(WorkedTopups, TheMiddleSucceedsWhereTheEdgeFails) {
  const D0 d0 = line(0.025);
  const contents::Belief vial = d0.vial(0.160, 0.0648);
  recipe::Recipe open = d0.green(0.0, recipe::no_limit);  // the printed figures ask no net mass
  open.tolerances.pop_back();
  for (const auto& [base, printed] : {std::pair(0.946, 0.279), std::pair(1.40, 0.971)}) {
    Plan plan;
    plan.base_g = base;
    plan.yellow_g = 0.025;
    EXPECT_NEAR(success(plan), printed, 0.0005);  // half of the last printed digit
    const std::vector<Addition> additions = {d0.dose(D0::base, base), d0.dose(D0::yellow, 0.025)};
    const auto odds = odds_of(vial, open, additions, d0.plant, d0.book);
    EXPECT_NEAR(odds.value, success(plan), odds.error);
  }
}

// 8.4: at +-2 % and 30 mg the forced yellow needs volume to hide in: 1.416 g of base, M' 21.446 g.
// (0.160 + 0.5 x 0.030) / (0.0080 x 1.02) = 21.446.
TEST(WorkedTopups, AForcedDoseNeedsVolumeToHideIn) {
  const D0 d0 = line(0.030);
  const contents::Belief vial = d0.vial(0.160, 0.0648);
  for (const double net : {21.445, 21.447}) {
    const recipe::Recipe recipe = d0.green(20.0, net, 0.02);
    const auto proof = prove_impossible(vial, recipe, d0.means, d0.plant, d0.book, true);
    EXPECT_EQ(proof.has_value(), net < 21.446);
    const Answer answer = answer_of(d0, vial, recipe);
    EXPECT_EQ(answer.impossible == Impossible::by_least_doses, net < 21.446);
  }
}

// 8.5: 40 % over does not fit the vial (27.2 g > 24 g), but is stock for the dark green, 99.5 of
// 100.
TEST(WorkedTopups, RejectionForOneIsStockForAnother) {
  const D0 d0 = line(0.025);
  const contents::Belief vial = d0.vial(0.160, 0.084);
  EXPECT_EQ(answer_of(d0, vial, d0.green(19.5, 30.0)).impossible, Impossible::by_any_amounts);
  const recipe::Recipe dark = d0.green(20.5, 21.5, 0.03, 0.0100, 0.0042);
  Plan plan;
  plan.teal_mg = 0.084;
  plan.yellow_target = 0.0100;
  plan.teal_target = 0.0042;
  plan.net_low = 20.5;
  plan.net_high = 21.5;
  plan.base_g = 1.262;
  plan.yellow_g = 0.108;
  plan.teal_g = 0.030;
  EXPECT_NEAR(success(plan), 0.995, 0.0005);
  const Answer answer = answer_of(d0, vial, dark);
  EXPECT_TRUE(answer.meets_risk);
  EXPECT_GE(answer.surest.odds.value, success(plan) - answer.surest.odds.error);
}

// 8.7: teal 10 % under, 30 mg of its stock: 98.3 of 100.
TEST(WorkedTopups, UnderIsEasy) {
  const D0 d0 = line(0.025);
  Plan plan;
  plan.teal_mg = 0.054;
  plan.teal_g = 0.030;
  EXPECT_NEAR(success(plan), 0.983, 0.0005);
  const Answer answer = answer_of(d0, d0.vial(0.160, 0.054), d0.green(19.5, 20.5));
  EXPECT_TRUE(answer.meets_risk);
  EXPECT_GE(answer.surest.odds.value, success(plan) - answer.surest.odds.error);
}

// The best plan for the vial of 8.3, least dose 25 mg, 20.5 <= M' <= 21.5 g: 85.4, 97.7 and 99.5 of
// 100 where both dyes are known to 1.5, 0.85 and 0.4 %. And the quadrature agrees with the plan's
// own odds.
TEST(WorkedTopups, TheBestPlanByHowWellTheVialIsKnown) {
  const D0 d0 = line(0.025);
  for (const auto& [u_rel, printed] :
       {std::pair(0.015, 0.854), std::pair(0.0085, 0.977), std::pair(0.004, 0.995)}) {
    SCOPED_TRACE(u_rel);
    const Answer answer = answer_of(d0, d0.vial(0.160, 0.0648, u_rel), d0.green(20.5, 21.5));
    Plan plan = plan_of(answer.surest);
    plan.u_rel = u_rel;
    plan.net_low = 20.5;
    plan.net_high = 21.5;
    EXPECT_NEAR(success(plan), printed, 0.0005);  // half of the last printed digit
    // The net mass cuts the base's spread off: the trapezoid rule is good to a step's weight, 1e-3,
    // where that matters.
    EXPECT_NEAR(answer.surest.odds.value, success(plan), 1e-3 + answer.surest.odds.error);
  }
}

}  // namespace
}  // namespace vialwright::topup::testing
