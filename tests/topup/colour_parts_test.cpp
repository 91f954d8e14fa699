// The parts of the colour search, each against what it stands for: what is seen against the mixing
// module and plain loops, slopes against differences, odds against drawing, boxes against colours
// that can be reached.
#include <gtest/gtest.h>

#include <Eigen/Cholesky>

#include "topup/colour_pairs.hpp"
#include "topup/colour_reach.hpp"
#include "topup/search.hpp"
#include "topup/search_step.hpp"
#include "topup/selection.hpp"

namespace vialwright::topup::testing {
namespace {

Amounts any_amounts(Eigen::Index n, double low, double high, support::Random& random) {
  Amounts made(n);
  for (double& each : made) each = random.uniform(low, high);
  return made;
}

TEST(Look, SeesWhatTheMixingModuleSees) {
  support::Random random(40401);
  for (int i = 0; i < 100; ++i) {
    const Pair pair = any_colour_pair(random, 2 + random.below(4), 6);
    const mixing::View view(pair.book, pair.recipe.colours.front());
    Eigen::VectorXd amounts(view.amounts());
    for (double& each : amounts) each = random.uniform(0.0, 0.02);
    const Look look(view, Eigen::MatrixXd::Identity(view.amounts(), view.amounts()));
    Look::Gradient mine;
    mixing::Gradient theirs;
    const colour::Lab here = look.lab(amounts.data(), &mine), there = view.lab(amounts, theirs);
    // Two orders of summation over some hundred bands.
    EXPECT_LT((vector_of(here) - vector_of(there)).norm(), 1e-9);
    EXPECT_LT((mine - theirs).norm(), 1e-9 * (1.0 + theirs.norm()));
  }
}

/// A vial and doses of it at random, as the search sees them.
struct Shaded {
  Pair pair;
  Vial vial;
  std::vector<Candidate> candidates;
  OddsModel model;
  std::vector<int> all;

  explicit Shaded(Pair made)
      : pair(std::move(made)),
        vial(vial_of(pair.belief, pair.means.fill_now_ml, &pair.plant.containers.front())),
        candidates(
            select(pair.belief, vial, pair.recipe, pair.means, pair.plant, pair.book).usable),
        model(pair.belief, pair.recipe, candidates, pair.plant, pair.book) {
    for (int j = 0; j < model.candidates(); ++j) all.push_back(j);
  }
};

TEST(Shade, IsThatOfAPlainLoopAndItsSlopesAreThoseOfDifferences) {
  support::Random random(40402);
  for (int i = 0; i < 200; ++i) {
    SCOPED_TRACE("pair " + std::to_string(i));
    const int stocks = 2 + random.below(4);
    const Shaded it(any_colour_pair(random, stocks, stocks));
    const std::vector<Aim> aims = it.model.aims(it.all);
    ASSERT_EQ(aims.size(), 1u);
    const Shade& shade = aims.front().shade;
    const Amounts grams = any_amounts(shade.doses(), 0.0, 1.0, random);
    Shade::Gradient slopes;
    const colour::Lab lab = shade.lab(grams, slopes);
    std::vector<double> mg(it.vial.components_mg);
    double volume = it.vial.volume_ml;
    for (std::size_t j = 0; j < it.candidates.size(); ++j) {
      const double dose = grams[static_cast<Eigen::Index>(j)];
      for (std::size_t k = 0; k < mg.size(); ++k) mg[k] += it.candidates[j].mg_per_g[k] * dose;
      volume += it.candidates[j].ml_per_g * dose;
    }
    for (double& each : mg) each /= volume;
    const std::vector<double> none(mg.size(), 0.0);
    const colour::Lab plain = seen(it.pair.book, it.pair.recipe.colours.front(), mg, none);
    EXPECT_LT((vector_of(lab) - vector_of(plain)).norm(), 1e-9);  // rounding of sums
    for (Eigen::Index j = 0; j < grams.size(); ++j) {
      Amounts up = grams, down = grams;
      up[j] += 1e-5;
      down[j] -= 1e-5;
      const Eigen::Vector3d slope = (vector_of(shade.lab(up)) - vector_of(shade.lab(down))) / 2e-5;
      // Rounding of L*, a*, b* (1e-13) over the step, and third derivatives times its square.
      EXPECT_LT((slopes.col(j) - slope).norm(), 1e-6 * (1.0 + slope.norm()));
    }
  }
}

TEST(BoundedStep, IsTheBestWithinItsLimits) {
  support::Random random(40403);
  for (int i = 0; i < 2000; ++i) {
    SCOPED_TRACE("problem " + std::to_string(i));
    const Eigen::Index n = 1 + random.below(6), m = random.below(4);
    const auto any = [&] { return random.normal(); };
    const Eigen::MatrixXd root = Eigen::MatrixXd::NullaryExpr(n, n, any);
    const Eigen::MatrixXd curvature =
        root * root.transpose() + 0.05 * Eigen::MatrixXd::Identity(n, n);
    const Eigen::VectorXd gradient = 3.0 * Eigen::VectorXd::NullaryExpr(n, any);
    StepLimits limits{Amounts(n), Amounts(n), Eigen::MatrixXd::NullaryExpr(m, n, any),
                      Eigen::VectorXd(m)};
    for (double& each : limits.low) each = random.below(3) == 0 ? 0.0 : -random.uniform();
    for (double& each : limits.high) each = random.below(3) == 0 ? 0.0 : random.uniform();
    for (double& each : limits.room) each = random.below(3) == 0 ? 0.0 : random.uniform();
    const Amounts mine = bounded_step(gradient, curvature, limits);
    Eigen::MatrixXd rows(m + 2 * n, n);
    rows << Eigen::MatrixXd(limits.rows), Eigen::MatrixXd::Identity(n, n),
        -Eigen::MatrixXd::Identity(n, n);
    Eigen::VectorXd room(m + 2 * n);
    room << limits.room, limits.high, -limits.low;
    EXPECT_LE((rows * mine - room).maxCoeff(), 1e-9);
    const auto value = [&](const Eigen::VectorXd& d) {
      return gradient.dot(d) - 0.5 * d.dot(curvature * d);
    };
    // The general step stops early now and then where many limits meet; it is never ahead.
    const Eigen::VectorXd general = quadratic_step(gradient, curvature, rows, room);
    EXPECT_GE(value(mine), value(general) - 1e-8 * (1.0 + std::abs(value(general))));
    // Concave: if a small move towards some other point within the limits helped, that would show.
    for (int k = 0; k < 50; ++k) {
      Eigen::VectorXd other = Eigen::VectorXd::NullaryExpr(n, any);
      for (Eigen::Index r = 0; r < rows.rows(); ++r) {
        const double used = rows.row(r).dot(other);
        if (used > room[r]) other *= std::max(0.0, room[r] / used);
      }
      const Eigen::VectorXd nearer = mine + 1e-4 * (other - mine);
      EXPECT_LE(value(nearer), value(mine) + 1e-9 * (1.0 + std::abs(value(mine))));
    }
  }
}

colour::Lab any_lab(support::Random& random) {
  return {random.uniform(20.0, 98.0), random.uniform(-90.0, 90.0), random.uniform(-90.0, 90.0)};
}

TEST(Wanted, ItsFormIsNearCiede2000WithinTheLimit) {
  support::Random random(40404);
  for (int i = 0; i < 1000; ++i) {
    const double high = random.uniform(0.3, 2.5);
    colour::Lab target = any_lab(random);
    if (std::hypot(target.a, target.b) < 8.0) continue;  // near grey, hue turns within the limit
    const Wanted made = wanted(target, high);
    Eigen::Vector3d way(random.normal(), random.normal(), random.normal());
    way *= high / std::sqrt(way.dot(made.metric * way));
    const colour::Lab there{target.l + way[0], target.a + way[1], target.b + way[2]};
    // The formula's weights change with the mean colour; by a tenth within these limits.
    EXPECT_NEAR(colour::difference_00(there, target), high, 0.1 * high);
  }
}

TEST(ColourOdds, AreThoseOfDrawingAndTheirSlopesThoseOfDifferences) {
  support::Random random(40405);
  for (int i = 0; i < 60; ++i) {
    SCOPED_TRACE("colour " + std::to_string(i));
    const Wanted aim = wanted(any_lab(random), random.uniform(0.5, 2.0));
    const auto any = [&] { return random.normal(); };
    const Eigen::Matrix3d root = random.uniform(0.05, 1.5) * Eigen::Matrix3d::NullaryExpr(any);
    const Eigen::Matrix3d doubt = root * root.transpose();
    const Eigen::Vector3d off = random.uniform(0.0, 2.0) * Eigen::Vector3d::NullaryExpr(any);
    const Eigen::Vector3d mean = vector_of(aim.lab) + off;
    const ColourOdds odds = colour_odds(mean, doubt, aim);
    const int draws = 40000;
    int inside = 0;
    for (int k = 0; k < draws; ++k) {
      const Eigen::Vector3d x = off + root * Eigen::Vector3d::NullaryExpr(any);
      inside += x.dot(aim.metric * x) <= aim.high * aim.high ? 1 : 0;
    }
    const double drawn = static_cast<double>(inside) / draws, p = std::exp(odds.log_odds);
    // Four standard deviations of the draws, and the stated error.
    EXPECT_NEAR(p, drawn, 4.0 * std::sqrt(std::max(p * (1.0 - p), 1e-4) / draws) + 1e-3);
    const auto log_odds = [&](const Eigen::Vector3d& at, const Eigen::Matrix3d& covariance) {
      return colour_odds(at, covariance, aim).log_odds;
    };
    if (p < 1e-6) continue;
    const double step = 1e-4;
    for (int c = 0; c < 3; ++c) {
      const Eigen::Vector3d by = step * Eigen::Vector3d::Unit(c);
      const double slope = (log_odds(mean + by, doubt) - log_odds(mean - by, doubt)) / (2.0 * step);
      // As stated: 15 %; mostly 2 % where the odds are above 1 in 20.
      EXPECT_NEAR(odds.by_mean[c], slope, (p > 0.05 ? 0.02 : 0.15) * odds.by_mean.norm() + 0.02);
    }
  }
}

TEST(SetOdds, SlopesOfTheMarginalsWithColoursAreThoseOfDifferences) {
  support::Random random(40406);
  int looked = 0, missed = 0;
  for (int i = 0; i < 400; ++i) {
    SCOPED_TRACE("pair " + std::to_string(i));
    const int stocks = 2 + random.below(3);
    const Shaded it(any_colour_pair(random, stocks, stocks));
    const SetOdds odds(it.model, it.all);
    const Amounts grams = any_amounts(odds.doses(), 0.02, 0.2, random);
    const SetOdds::Marginals here = odds.marginals(grams);
    if (here.value < -12.0) continue;
    ++looked;
    Amounts slope(grams.size());
    for (Eigen::Index j = 0; j < grams.size(); ++j) {
      const double step = 1e-4 * grams[j];
      Amounts up = grams, down = grams;
      up[j] += step;
      down[j] -= step;
      slope[j] = (odds.marginals(up).value - odds.marginals(down).value) / (2.0 * step);
    }
    // For a tenth of each dose: as stated, 15 % where there are odds to speak of (1 in 20); in the
    // tails the way up is the way up.
    const Amounts mine = 0.1 * grams.cwiseProduct(here.gradient);
    const Amounts differences = 0.1 * grams.cwiseProduct(slope);
    const bool near = (mine - differences).norm() < 0.15 * differences.norm() + 0.03;
    const bool uphill = mine.dot(differences) > 0.5 * mine.norm() * differences.norm();
    missed += here.value > std::log(0.05) ? !near : !uphill;
  }
  // Where the doubt is a needle beside the ellipsoid, eight points miss it: 2 of 100 pairs. The
  // climb then stops early, as no step helps; the true odds are climbed after it.
  EXPECT_LE(missed, looked / 33);
  EXPECT_GT(looked, 20);
}

TEST(Around, HoldsEveryColourWithinTheLimit) {
  support::Random random(40407);
  for (int i = 0; i < 200000; ++i) {
    const colour::Lab target = any_lab(random);
    const double high = random.uniform(0.3, 4.0);
    const Around box = around(target, high);
    const colour::Lab other{target.l + random.normal() * high,
                            target.a + 3.0 * random.normal() * high,
                            target.b + 3.0 * random.normal() * high};
    if (other.l < 0.0 || other.l > 100.0) continue;
    if (colour::difference_00(other, target) > high) continue;
    ASSERT_LE(std::abs(other.l - target.l), box.l);
    ASSERT_LE(std::abs(other.a - target.a), box.ab);
    ASSERT_LE(std::abs(other.b - target.b), box.ab);
  }
}

}  // namespace
}  // namespace vialwright::topup::testing
