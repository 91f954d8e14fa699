#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>

#include "support/long_form.hpp"
#include "topup/glpk_doses.hpp"
#include "topup/screen_doses.hpp"
#include "topup/screen_population.hpp"

namespace vialwright::topup::testing {
namespace {

/// Least doses and doubts as they are, and such that they bite: a least dose a fifth of what some
/// recipes want of a dye, a doubt of the contents that fills half of the tolerances.
std::vector<Population> populations(int count) {
  std::vector<Population> all;
  support::Random random(20251);
  for (const Family family : {Family::palette, Family::wide, Family::tight, Family::crowded}) {
    for (const int stocks : {4, 8, 12}) {
      for (const double times : {1.0, 8.0}) {
        all.push_back(population(random, stocks, count, family));
        ManyVial& vial = all.back().vial;
        if (times == 1.0) continue;
        for (double& least : vial.least) least *= times;
        for (double& u : vial.u_have) u *= 0.35 * times;
      }
    }
  }
  return all;
}

std::vector<Quick> one_by_one(const Population& all) {
  std::vector<Quick> possible;
  for (int r = 0; r < all.recipes.count; ++r) {
    const Quick each = quick(all.recipes, r, all.vial);
    if (each.outcome != Quick::Outcome::impossible) possible.push_back(each);
  }
  return possible;
}

TEST(ScreenDoses, GivesTheAnswersOfOneByOneBitForBit) {
  std::size_t possible = 0;
  for (const Population& all : populations(1003)) {
    const std::vector<Quick> screened = screen_doses(all.recipes, all.vial);
    const std::vector<Quick> single = one_by_one(all);
    ASSERT_EQ(screened.size(), single.size());
    possible += single.size();
    for (std::size_t k = 0; k < single.size(); ++k) {
      SCOPED_TRACE("recipe " + std::to_string(single[k].recipe));
      EXPECT_EQ(screened[k].recipe, single[k].recipe);
      EXPECT_EQ(screened[k].outcome, single[k].outcome);
      EXPECT_EQ(screened[k].any_cost, single[k].any_cost);
      EXPECT_EQ(screened[k].least_cost, single[k].least_cost);
      EXPECT_EQ(screened[k].cost, single[k].cost);
      EXPECT_EQ(screened[k].odds, single[k].odds);
      EXPECT_EQ(screened[k].odds_error, single[k].odds_error);
      EXPECT_EQ(screened[k].odds_at_most, single[k].odds_at_most);
    }
  }
  EXPECT_GT(possible, 1000u);
}

// GLPK's branch and cut shares nothing with ours. Its rows may be off by 1e-7 of their scale, so a
// cost may be off by some 1e-6, and a window as narrow as that may be seen as open.
TEST(ScreenDoses, CheapestWithLeastDosesIsThatOfAnIntegerProgramme) {
  int found = 0, forbidden = 0;
  for (const Population& all : populations(support::long_form() ? 1000 : 100)) {
    for (int r = 0; r < all.recipes.count; ++r) {
      const Quick ours = quick(all.recipes, r, all.vial);
      if (ours.outcome == Quick::Outcome::impossible) continue;
      const GlpkAnswer theirs = GlpkDoses(instance_of(all, r), all.vial.least).solve();
      ASSERT_EQ(ours.outcome == Quick::Outcome::found, theirs.found) << "recipe " << r;
      (theirs.found ? found : forbidden) += 1;
      if (!theirs.found) continue;
      EXPECT_NEAR(ours.least_cost, theirs.cost, 2e-6) << "recipe " << r;
      EXPECT_GE(ours.least_cost, ours.any_cost - 1e-12);
    }
  }
  std::printf("%d found, %d forbidden by least doses alone\n", found, forbidden);
  EXPECT_GT(found, 100);
  EXPECT_GT(forbidden, 20);
}

/// What those amounts lead to, by the full integral over every stock's part and the total. Built
/// from its independent sources, one column each, so as to share no algebra with the estimate.
conformity::Probability by_integral(const Population& all, int recipe,
                                    const std::vector<double>& grams) {
  const auto n = static_cast<Eigen::Index>(grams.size());
  const ManyVial& vial = all.vial;
  Eigen::VectorXd mean(n + 1);
  Eigen::MatrixXd now = Eigen::MatrixXd::Zero(n + 1, n + 1);
  Eigen::MatrixXd sources = Eigen::MatrixXd::Zero(n + 1, 2 * n);
  mean[n] = vial.total;
  now(n, n) = vial.u_total * vial.u_total;
  for (Eigen::Index i = 0; i < n; ++i) {
    const auto k = static_cast<std::size_t>(i);
    mean[i] = vial.have[k] + grams[k];
    mean[n] += grams[k];
    now(i, i) = vial.u_have[k] * vial.u_have[k];
    now(i, n) = now(n, i) = vial.with_total[k];
    if (grams[k] <= 0.0) continue;
    const double spread = std::hypot(vial.spread_g[k], vial.spread_rel[k] * grams[k]);
    sources(i, 2 * i) = sources(n, 2 * i) = spread;
    sources(i, 2 * i + 1) = vial.u_strength_rel[k] * grams[k];
  }
  const Instance one = instance_of(all, recipe);
  std::vector<conformity::Line> lines;
  for (Eigen::Index i = 0; i < n; ++i) {
    const auto k = static_cast<std::size_t>(i);
    lines.push_back({Eigen::VectorXd::Unit(n + 1, i), Eigen::VectorXd::Unit(n + 1, n),
                     one.low[k] > 0.0 ? one.low[k] : -infinity, one.high[k]});
  }
  lines.push_back({Eigen::VectorXd::Unit(n + 1, n), {}, one.total_low, one.total_high});
  const Eigen::MatrixXd covariance = now + sources * sources.transpose();
  conformity::Options options;
  options.error = 2e-4;
  return conformity::probability(mean, covariance, lines, options);
}

/// Some found recipes of each population, with their additions.
template <class Look>
void look_at_found(int most_each, Look look) {
  for (const Population& all : populations(1003)) {
    int looked = 0;
    std::vector<double> grams(all.vial.have.size());
    for (const Quick& each : screen_doses(all.recipes, all.vial)) {
      if (each.outcome != Quick::Outcome::found || looked++ >= most_each) continue;
      EXPECT_EQ(quick(all.recipes, each.recipe, all.vial, grams).odds, each.odds);
      look(all, each, grams);
    }
  }
}

TEST(ScreenDoses, OddsAreThoseOfTheFullIntegral) {
  double worst = 0.0, sum = 0.0;
  int looked = 0, between = 0;
  look_at_found(20,
                [&](const Population& all, const Quick& each, const std::vector<double>& grams) {
                  const auto exact = by_integral(all, each.recipe, grams);
                  const double gap = std::abs(each.odds - exact.value);
                  worst = std::max(worst, gap - each.odds_error - exact.error);
                  sum += gap;
                  ++looked;
                  between += exact.value > 0.02 && exact.value < 0.98;
                  EXPECT_LT(gap, each.odds_error + exact.error + 1e-3)
                      << "recipe " << each.recipe << " of " << grams.size() << ": " << each.odds
                      << " +/- " << each.odds_error << " but " << exact.value;
                });
  std::printf(
      "%d odds, %d of them between 2 and 98 in 100; mean gap %.1e, worst beyond the stated errors "
      "%.1e\n",
      looked, between, sum / looked, worst);
  EXPECT_GT(between, 50);
}

// A vial that was never weighed: what doubt there is in its parts is in its total as well. Amounts
// off the middle, so that the lines pull on each other. Without the terms for what the lines have
// in common the worst of these is off by more than a point.
TEST(ScreenDoses, OddsOfLinesThatShareMuch) {
  support::Random random(31);
  double worst = 0.0;
  int between = 0;
  for (int k = 0; k < 200; ++k) {
    Population all = population(random, 6, 1, Family::wide);
    ManyVial& vial = all.vial;
    double variance = 0.0;
    std::vector<double> grams;
    vial.total = 20.0;
    for (std::size_t i = 0; i < vial.have.size(); ++i) {
      const double wanted = 20.0 * all.recipes.low[i] / 0.95 * (1.0 + 0.02 * random.normal());
      vial.have[i] = wanted * random.uniform(0.8, 0.98);
      vial.u_have[i] = 0.025 * vial.have[i];
      vial.with_total[i] = vial.u_have[i] * vial.u_have[i];
      variance += vial.with_total[i];
      grams.push_back(wanted - vial.have[i]);
      vial.total -= grams.back();
    }
    vial.u_total = std::sqrt(variance + 0.02 * 0.02);
    const DoseCase one = dose_case(all.recipes, 0, vial);
    ASSERT_EQ(one.count, grams.size());
    PerStock told{};
    std::ranges::copy(grams, told.begin());
    const QuickOdds odds = quick_odds(one, told);
    const auto exact = by_integral(all, 0, grams);
    between += exact.value > 0.02 && exact.value < 0.98;
    const double gap = std::abs(odds.value - exact.value);
    worst = std::max(worst, gap - odds.error - exact.error);
    EXPECT_LT(gap, odds.error + exact.error + 1e-3) << odds.value << " but " << exact.value;
  }
  std::printf("%d of 200 between 2 and 98 in 100, worst beyond the stated errors %.1e\n", between,
              worst);
  EXPECT_GT(between, 50);
}

// Where the odds are below one half, missing one line at the mean may serve the others.
TEST(ScreenDoses, LikelyAdditionsMeetTheLinesAndAllKeepToTheStations) {
  int likely = 0;
  look_at_found(
      1000, [&](const Population& all, const Quick& each, const std::vector<double>& grams) {
        const Instance one = instance_of(all, each.recipe);
        double total = one.total, volume = 0.0;
        for (std::size_t i = 0; i < grams.size(); ++i) {
          total += grams[i];
          volume += grams[i] * one.volume[i];
          EXPECT_TRUE(grams[i] == 0.0 ||
                      (grams[i] >= all.vial.least[i] && grams[i] <= all.vial.cap[i]));
        }
        const double rounding = 1e-9;  // g
        EXPECT_LE(volume, one.volume_room + rounding);
        if (each.odds < 0.51) return;
        ++likely;
        EXPECT_GE(total, one.total_low - rounding);
        EXPECT_LE(total, one.total_high + rounding);
        for (std::size_t i = 0; i < grams.size(); ++i) {
          EXPECT_GE(one.have[i] + grams[i], one.low[i] * total - rounding);
          EXPECT_LE(one.have[i] + grams[i], std::min(one.high[i], 1.0) * total + rounding);
        }
      });
  EXPECT_GT(likely, 100);
}

/// A climb by trial on the full integral, from the top-up told: random steps, kept when better.
double climbed(const Population& all, int recipe, std::vector<double> grams,
               support::Random& random) {
  double best = by_integral(all, recipe, grams).value;
  for (int trial = 0; trial < 400; ++trial) {
    const double size = 0.3 * std::pow(0.985, trial);
    std::vector<double> tried = grams;
    for (std::size_t i = 0; i < tried.size(); ++i) {
      if (tried[i] > 0.0)
        tried[i] = std::clamp(tried[i] + size * random.normal() * std::sqrt(tried[i]),
                              all.vial.least[i], all.vial.cap[i]);
      else if (random.below(20) == 0)
        tried[i] = all.vial.least[i] * random.uniform(1.0, 2.0);
    }
    double volume = 0.0;
    for (std::size_t i = 0; i < tried.size(); ++i) volume += tried[i] * all.vial.volume[i];
    if (volume > all.vial.volume_room) continue;
    const double odds = by_integral(all, recipe, tried).value;
    if (odds <= best) continue;
    best = odds;
    grams = tried;
  }
  return best;
}

TEST(ScreenDoses, NoTopUpBeatsTheBoundAndTheMiddleIsNearTheBest) {
  support::Random random(11);
  std::vector<double> behind;
  look_at_found(support::long_form() ? 20 : 5,
                [&](const Population& all, const Quick& each, const std::vector<double>& grams) {
                  const double best = climbed(all, each.recipe, grams, random);
                  EXPECT_LE(best, each.odds_at_most + 1e-3) << "recipe " << each.recipe;
                  behind.push_back(best - each.odds);
                });
  std::ranges::sort(behind);
  const auto rank = [&](double share) {
    return behind[static_cast<std::size_t>(share * static_cast<double>(behind.size() - 1))];
  };
  std::printf(
      "odds behind a long climb, %zu top-ups: median %.4f, 90 in 100 within %.4f, worst %.4f\n",
      behind.size(), rank(0.5), rank(0.9), behind.back());
  EXPECT_LT(rank(0.9), 0.005);
  EXPECT_LT(behind.back(), 0.02);
}

/// The green tint of d0.hpp in grams of stock: base, yellow (0.50 mg/g), teal (0.20 mg/g), a vial
/// of 20 g known but for its dyes; base is the only stock with a price, 1 a gram, so that the least
/// cost is the least base.
struct Green {
  Population all;

  Green(double yellow_mg, double teal_mg, double u_rel, double least_dye_g) {
    ManyVial& vial = all.vial;
    vial.have = {0.0, yellow_mg / 0.5, teal_mg / 0.2};
    vial.u_have = {0.0, u_rel * vial.have[1], u_rel * vial.have[2]};
    vial.with_total = vial.spread_rel = vial.u_strength_rel = {0.0, 0.0, 0.0};
    vial.least = {0.001, least_dye_g, least_dye_g};
    vial.cap = {24.0, 24.0, 24.0};
    vial.price = {1.0, 0.0, 0.0};
    vial.volume = {1.0, 1.0, 1.0};
    vial.spread_g = {0.015, 0.003, 0.003};
    vial.total = 20.0;
    vial.volume_room = 4.0;
  }
  Quick into(double net_low, double net_high, double tolerance, double yellow = 0.0080,
             double teal = 0.0030) {
    RecipeTable& recipes = all.recipes;
    recipes.stocks = 3;
    recipes.count = 1;
    recipes.low = {0.0, yellow / 0.5 * (1.0 - tolerance), teal / 0.2 * (1.0 - tolerance)};
    recipes.high = {infinity, yellow / 0.5 * (1.0 + tolerance), teal / 0.2 * (1.0 + tolerance)};
    recipes.total_low = {net_low};
    recipes.total_high = {net_high};
    return quick(recipes, 0, all.vial);
  }
};

// Worked by hand and by quadrature, outside this code: teal 8 % over in 20 g, tolerance 3 % on each
// dye. Amounts to their printed digits.
TEST(ScreenDoses, GreenVialTooStrongInTeal) {
  EXPECT_EQ(Green(0.160, 0.0648, 0.0085, 0.025).into(19.5, 20.5, 0.03).outcome,
            Quick::Outcome::impossible);
  Green over(0.160, 0.0648, 0.0085, 0.025);
  over.all.vial.price[1] = 2.0;  // else more yellow would stand in for base
  const Quick larger = over.into(20.5, 21.5, 0.03);
  ASSERT_EQ(larger.outcome, Quick::Outcome::found);
  EXPECT_NEAR(larger.least_cost - 2.0 * 0.025, 0.94587, 5e-6);
  const Quick narrow = Green(0.160, 0.0648, 0.0085, 0.030).into(20.5, 21.5, 0.02);
  ASSERT_EQ(narrow.outcome, Quick::Outcome::found);
  EXPECT_NEAR(narrow.least_cost, 1.416, 5e-4);
  EXPECT_LT(narrow.any_cost, 1.40);  // without the least dose 6.16/5.1 % over: 1.176 g
}

// The same vial's best plan: 85.4, 97.7 and 99.5 in 100 where the dyes are known to 1.5, 0.85 and
// 0.4 %. Half of the last printed digit; the top of the odds is flat, so the middle is as good.
TEST(ScreenDoses, GreenVialsOddsAreThoseOfTheBestPlan) {
  EXPECT_NEAR(Green(0.160, 0.0648, 0.015, 0.025).into(20.5, 21.5, 0.03).odds, 0.854, 5.5e-4);
  EXPECT_NEAR(Green(0.160, 0.0648, 0.0085, 0.025).into(20.5, 21.5, 0.03).odds, 0.977, 5.5e-4);
  EXPECT_NEAR(Green(0.160, 0.0648, 0.004, 0.025).into(20.5, 21.5, 0.03).odds, 0.995, 5.5e-4);
}

// Teal 40 % over: no legal fill dilutes it, but it makes a dark green; 30 mg of teal mend 10 %
// under.
TEST(ScreenDoses, GreenVialForAnotherOrder) {
  Green strong(0.160, 0.084, 0.0085, 0.025);
  EXPECT_EQ(strong.into(19.5, 24.0, 0.03).outcome, Quick::Outcome::impossible);
  const Quick dark = strong.into(20.5, 21.5, 0.03, 0.0100, 0.0042);
  EXPECT_EQ(dark.outcome, Quick::Outcome::found);
  EXPECT_GT(dark.odds, 0.9945);  // a plan worked by hand: 99.5 in 100
  const Quick weak = Green(0.160, 0.054, 0.0085, 0.025).into(19.5, 20.5, 0.03);
  EXPECT_GT(weak.odds, 0.9825);  // 30 mg of teal alone: 98.3 in 100
}

}  // namespace
}  // namespace vialwright::topup::testing
