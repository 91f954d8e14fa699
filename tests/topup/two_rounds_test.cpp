#include <gtest/gtest.h>

#include <cstdio>

#include "support/long_form.hpp"
#include "topup/d0.hpp"
#include "topup/drawn.hpp"

namespace vialwright::topup::testing {
namespace {

constexpr double u_weighing = 0.0005;

/// Teal 10 % under, dosed by a station that spreads in proportion: a small second dose is dosed
/// much more exactly than one large one.
D0 proportional() {
  D0 d0;
  d0.plant.stations[D0::teal].spread_g = 0.0002;
  d0.plant.stations[D0::teal].spread_rel = 0.2;
  d0.plant.stations[D0::teal].least_dose_g = 0.001;
  return d0;
}

std::optional<TwoRounds> rounds(const D0& d0, const contents::Belief& vial,
                                const recipe::Recipe& recipe, const Options& options = {}) {
  return two_rounds(vial, recipe, d0.means, d0.plant, d0.book, u_weighing, options);
}

// 30 mg of teal stock with 20 % spread: 6 mg x 0.2 mg/g = 1.2 ug, against 3 % of 0.06 mg = 1.8 ug.
// What is left after a look is 3 mg with 0.6 mg of spread.
TEST(TwoRounds, PayWhereASmallDoseIsMoreExact) {
  const D0 d0 = proportional();
  const contents::Belief vial = d0.vial(0.160, 0.054, 0.004);
  const recipe::Recipe recipe = d0.green(19.5, 20.5);
  const Answer single = best(vial, recipe, d0.means, d0.plant, d0.book);
  const auto two = rounds(d0, vial, recipe);
  ASSERT_TRUE(two);
  EXPECT_TRUE(two->pays);
  EXPECT_GT(two->odds, single.surest.odds.value + 0.05);
  EXPECT_LT(two->u_odds, 0.02);
  EXPECT_LT(two->first.additions.front().amount_g, single.surest.additions.front().amount_g);
}

// One round succeeds 99 times of 100: what is left to gain, 0.01 x 4, is less than the weighing.
TEST(TwoRounds, DoNotPayWhereOneRoundIsSure) {
  D0 d0;
  d0.plant.prices.reading = 0.05;
  Options options;
  options.success = 4.0;
  const auto two = rounds(d0, d0.vial(0.160, 0.054), d0.green(19.5, 20.5), options);
  ASSERT_TRUE(two);
  EXPECT_FALSE(two->pays) << two->in_words;
}

// Half of what is missing, then a look: another half only where the first fell short. It helps
// although the second dose is as unsure as the first.
TEST(TwoRounds, AreOddsBoughtForMoney) {
  D0 d0;
  d0.plant.stations[D0::teal].spread_g = 0.006;
  d0.plant.stations[D0::teal].least_dose_g = 0.015;
  Options options;
  options.success = 4.0;
  const contents::Belief vial = d0.vial(0.160, 0.058, 0.004);
  const auto cheap = rounds(d0, vial, d0.green(19.5, 20.5), options);
  ASSERT_TRUE(cheap);
  EXPECT_TRUE(cheap->pays) << cheap->in_words;
  d0.plant.prices.reading = 1.0;
  const auto dear = rounds(d0, vial, d0.green(19.5, 20.5), options);
  ASSERT_TRUE(dear);
  EXPECT_FALSE(dear->pays) << dear->in_words;
  EXPECT_NEAR(dear->cost, cheap->cost + 1.0, 0.05);
}

TEST(TwoRounds, NothingWhereNothingIsToBeAdded) {
  const D0 d0;
  EXPECT_FALSE(rounds(d0, d0.vial(0.160, 0.060, 0.004), d0.green(19.5, 20.5)));
  EXPECT_FALSE(rounds(d0, d0.vial(0.160, 0.0648), d0.green(19.5, 20.5)));  // impossible
}

TEST(TwoRounds, SaysWhatToDoWithItsOddsAndCost) {
  const D0 d0 = proportional();
  const auto two = rounds(d0, d0.vial(0.160, 0.054, 0.004), d0.green(19.5, 20.5));
  ASSERT_TRUE(two);
  EXPECT_NE(two->in_words.find("g of teal, weigh, and dose again"), std::string::npos)
      << two->in_words;
}

/// One whole future: contents and dose errors are drawn, the vial weighed, a second round computed
/// from the belief that this weighing gives, and its errors drawn too.
class Futures {
 public:
  Futures(const Pair& pair, const TwoRounds& plan, std::uint64_t seed)
      : pair_(pair), plan_(plan), random_(seed) {}

  bool good() {
    // All that is hidden hangs together in the belief after the first round, so that is drawn.
    Pair then = pair_;
    then.belief = after(pair_.belief, plan_.first.additions, pair_.plant, pair_.book);
    const Eigen::VectorXd truth = draw(then.belief);
    const double read = truth[then.belief.net()] + u_weighing * random_.normal();
    pairs::weigh(then.belief, read, u_weighing);
    for (const Addition& each : plan_.first.additions)
      then.means.fill_now_ml +=
          each.amount_g / pair_.book.stocks[pairs::at(each.stock)].density_g_per_ml;
    const Answer second = best(then.belief, then.recipe, then.means, then.plant, then.book);
    // From the truth on: no doubt is left but that of the doses to come.
    then.belief.mean = truth;
    then.belief.covariance.setZero();
    return Drawn(then, 1, random_.bits()).met(second.surest.additions).front() != 0;
  }

 private:
  Eigen::VectorXd draw(const contents::Belief& belief) {
    const Eigen::LDLT<Eigen::MatrixXd> ldlt(belief.covariance);
    const Eigen::VectorXd d = ldlt.vectorD().cwiseMax(0.0).cwiseSqrt();
    Eigen::VectorXd z(belief.mean.size());
    for (double& each : z) each = random_.normal();
    const Eigen::VectorXd turned = Eigen::MatrixXd(ldlt.matrixL()) * d.cwiseProduct(z);
    return belief.mean + ldlt.transpositionsP().transpose() * turned;
  }

  const Pair& pair_;
  const TwoRounds& plan_;
  support::Random random_;
};

// The odds of the whole plan against futures drawn one by one.
TEST(TwoRounds, OddsAreThoseOfSimulatedFutures) {
  support::Random random(20291);
  const int futures = support::trials(500, 2000);
  int looked_at = 0;
  double worst = 0.0;
  for (int i = 0; looked_at < support::trials(6, 30); ++i) {
    SCOPED_TRACE("pair " + std::to_string(i));
    const Pair pair = any_pair(random, 2 + random.below(2), 3);
    const auto plan =
        two_rounds(pair.belief, pair.recipe, pair.means, pair.plant, pair.book, u_weighing);
    if (!plan || plan->odds < 0.3 || plan->odds > 0.98) continue;
    ++looked_at;
    Futures drawn(pair, *plan, 900 + static_cast<std::uint64_t>(i));
    int good = 0;
    for (int f = 0; f < futures; ++f) good += drawn.good() ? 1 : 0;
    const double simulated = static_cast<double>(good) / futures;
    const double u = std::sqrt(plan->odds * (1.0 - plan->odds) / futures);
    // Four standard errors of the simulation, over some tens of plans, beside the stated doubt.
    EXPECT_NEAR(simulated, plan->odds, 4.0 * u + 2.0 * plan->u_odds) << plan->in_words;
    worst = std::max(worst, std::abs(simulated - plan->odds) / u);
  }
  std::printf("%d plans, at worst %.1f standard errors from simulated futures\n", looked_at, worst);
}

}  // namespace
}  // namespace vialwright::topup::testing
