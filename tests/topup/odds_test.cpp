#include <gtest/gtest.h>

#include <Eigen/Eigenvalues>
#include <boost/math/distributions/chi_squared.hpp>
#include <cstdio>
#include <functional>

#include "support/long_form.hpp"
#include "support/random.hpp"
#include "topup/topup.hpp"

namespace vialwright::topup::testing {
namespace {

using contents::Effect;
using Kind = Effect::Kind;
using Eigen::VectorXd;

/// How one dose comes about: what is told, less what its meter reads too much, and some spread.
struct Told {
  int lot = 0, station = 0;
  double grams = 0.0;
};

/// A line with every hidden error of its lots and meters drawn anew for each vial, and the history
/// of one vial on it. Written from the stated model alone, in true values: no Gaussian algebra.
struct World {
  recipe::Book book;
  plant::Plant plant;
  std::vector<Told> made;       ///< the doses now in the vial
  std::vector<Told> to_come;    ///< the top-up
  std::vector<Effect> effects;  ///< hidden errors: strengths, then gain and offset of each meter
  std::vector<double> u;        ///< of each of them

  [[nodiscard]] int stocks() const { return static_cast<int>(book.stocks.size()); }
  [[nodiscard]] int components() const { return static_cast<int>(book.components.size()); }

  /// The vial as the axes of a belief, from the hidden errors and one standard normal a dose.
  [[nodiscard]] VectorXd vial(const VectorXd& hidden, const std::vector<Told>& doses,
                              const VectorXd& spread) const;
  [[nodiscard]] double hidden_of(const VectorXd& hidden, const Effect& effect) const {
    for (std::size_t e = 0; e < effects.size(); ++e)
      if (effects[e] == effect) return hidden[static_cast<Eigen::Index>(e)];
    return 0.0;
  }
};

VectorXd World::vial(const VectorXd& hidden, const std::vector<Told>& doses,
                     const VectorXd& spread) const {
  const int K = components(), S = stocks();
  VectorXd axes = VectorXd::Zero(K + S + 2);
  for (std::size_t i = 0; i < doses.size(); ++i) {
    const Told& dose = doses[i];
    const plant::Station& station = plant.stations[static_cast<std::size_t>(dose.station)];
    const recipe::Lot& lot = book.lots[static_cast<std::size_t>(dose.lot)];
    const recipe::Stock& stock = book.stocks[static_cast<std::size_t>(lot.stock)];
    const auto meter = static_cast<int>(*plant::find_instrument(plant, station.meters.front()));
    const double gain = hidden_of(hidden, {Kind::gain, meter, -1});
    const double offset = hidden_of(hidden, {Kind::offset, meter, -1});
    const bool by_volume = plant.instruments[static_cast<std::size_t>(meter)].kind ==
                           plant::InstrumentKind::volume_meter;
    const double per_unit = by_volume ? stock.density_g_per_ml : 1.0;
    const double asked = (dose.grams / per_unit - offset) / (1.0 + gain) * per_unit;
    const double sd = std::sqrt(station.spread_g * station.spread_g +
                                station.spread_rel * station.spread_rel * asked * asked);
    const double grams = asked + sd * spread[static_cast<Eigen::Index>(i)];
    for (int k = 0; k < K; ++k) {
      const double stated = lot.strengths[static_cast<std::size_t>(k)].mg_per_g;
      axes[k] += grams * (stated + hidden_of(hidden, {Kind::strength, dose.lot, k}));
    }
    axes[K + lot.stock] += grams;
    axes[K + S] += grams;
    axes[K + S + 1] += grams / stock.density_g_per_ml;
  }
  return axes;
}

void add_errors(World& world, support::Random& random) {
  for (std::size_t l = 0; l < world.book.lots.size(); ++l)
    for (int k = 0; k < world.components(); ++k) {
      auto& strength = world.book.lots[l].strengths[static_cast<std::size_t>(k)];
      if (strength.mg_per_g == 0.0) continue;
      strength.u_mg_per_g = strength.mg_per_g * random.uniform(0.0005, 0.004);
      world.effects.push_back({Kind::strength, static_cast<int>(l), k});
      world.u.push_back(strength.u_mg_per_g);
    }
  for (std::size_t i = 0; i < world.plant.instruments.size(); ++i) {
    plant::Instrument& meter = world.plant.instruments[i];
    meter.u_gain = random.uniform(0.0005, 0.003);
    meter.u_offset = random.uniform(0.0001, 0.002);
    world.effects.push_back({Kind::gain, static_cast<int>(i), -1});
    world.u.push_back(meter.u_gain);
    world.effects.push_back({Kind::offset, static_cast<int>(i), -1});
    world.u.push_back(meter.u_offset);
  }
}

void add_station(World& world, support::Random& random, int index, bool by_volume) {
  plant::Instrument meter;
  meter.id = "meter " + std::to_string(index);
  meter.kind = by_volume ? plant::InstrumentKind::volume_meter : plant::InstrumentKind::mass_meter;
  world.plant.instruments.push_back(meter);
  plant::Station station;
  station.id = "station " + std::to_string(index);
  station.meters = {meter.id};
  station.least_dose_g = 1e-3;
  station.spread_g = random.uniform(0.0005, 0.004);
  station.spread_rel = random.uniform(0.0, 0.004);
  world.plant.stations.push_back(station);
}

/// A solvent and a few stocks, each a dye with a little of the next one; two lots a stock; the dyes
/// share stations. The vial has one dose of each, the top-up some more, partly from the same lots.
World any_world(support::Random& random) {
  World world;
  const int dyes = 1 + random.below(4);
  for (int k = 0; k < dyes; ++k)
    world.book.components.push_back({"dye " + std::to_string(k), "", false});
  for (int s = 0; s <= dyes; ++s) {
    recipe::Stock stock;
    stock.id = "stock " + std::to_string(s);
    stock.density_g_per_ml = random.uniform(0.9, 1.2);
    world.book.stocks.push_back(stock);
    for (int l = 0; l < 2; ++l) {
      recipe::Lot lot;
      lot.id = stock.id + " lot " + std::to_string(l);
      lot.stock = s;
      lot.strengths.resize(static_cast<std::size_t>(dyes));
      if (s > 0) {
        lot.strengths[static_cast<std::size_t>(s - 1)].mg_per_g = random.uniform(0.2, 2.0);
        if (random.below(2) == 0)
          lot.strengths[static_cast<std::size_t>(s % dyes)].mg_per_g += random.uniform(0.005, 0.02);
      }
      world.book.lots.push_back(lot);
    }
  }
  for (int i = 0; i < 3; ++i) add_station(world, random, i, i == 2);
  add_errors(world, random);
  for (int s = 0; s <= dyes; ++s) {
    const int station = s == 0 ? 0 : 1 + random.below(2);
    world.made.push_back(
        {2 * s, station, s == 0 ? random.uniform(15.0, 19.0) : random.uniform(0.3, 1.2)});
    if (random.below(3) == 0) continue;
    world.to_come.push_back({2 * s + random.below(2), station,
                             s == 0 ? random.uniform(0.3, 2.0) : random.uniform(0.03, 0.3)});
  }
  return world;
}

/// The Gaussian belief that a world stands for, by central differences of the world itself.
struct Linearised {
  VectorXd mean;
  Eigen::MatrixXd covariance;
};
Linearised linearised(const World& world, const std::vector<Told>& doses) {
  const auto hidden = static_cast<Eigen::Index>(world.effects.size());
  const auto count = static_cast<Eigen::Index>(doses.size());
  const VectorXd none = VectorXd::Zero(hidden), still = VectorXd::Zero(count);
  const VectorXd middle = world.vial(none, doses, still);
  Linearised made;
  made.mean.setZero(middle.size() + hidden);
  made.mean.head(middle.size()) = middle;
  Eigen::MatrixXd jacobian = Eigen::MatrixXd::Zero(made.mean.size(), hidden + count);
  for (Eigen::Index e = 0; e < hidden; ++e) {
    const double step = world.u[static_cast<std::size_t>(e)];
    const VectorXd by = VectorXd::Unit(hidden, e) * step * 1e-3;
    jacobian.col(e).head(middle.size()) =
        (world.vial(by, doses, still) - world.vial(-by, doses, still)) / 2e-3;
    jacobian(middle.size() + e, e) = step;
  }
  for (Eigen::Index i = 0; i < count; ++i)
    jacobian.col(hidden + i).head(middle.size()) =
        world.vial(none, doses, VectorXd::Unit(count, i)) - middle;
  made.covariance = jacobian * jacobian.transpose();
  return made;
}

/// What is believed about the vial. Errors of lots and meters that have not touched it are left
/// out, so that after() must bring them in.
contents::Belief belief_of(const World& world) {
  const Linearised all = linearised(world, world.made);
  contents::Belief belief;
  belief.components = world.components();
  belief.stocks = world.stocks();
  const Eigen::Index axes = belief.components + belief.stocks + 2;
  std::vector<Eigen::Index> kept;
  for (Eigen::Index a = 0; a < axes; ++a) kept.push_back(a);
  for (std::size_t e = 0; e < world.effects.size(); ++e) {
    const Eigen::Index axis = axes + static_cast<Eigen::Index>(e);
    if (all.covariance.row(axis).head(axes).cwiseAbs().maxCoeff() == 0.0) continue;
    kept.push_back(axis);
    belief.effects.push_back(world.effects[e]);
  }
  const auto size = static_cast<Eigen::Index>(kept.size());
  belief.mean.resize(size);
  belief.covariance.resize(size, size);
  for (Eigen::Index i = 0; i < size; ++i) {
    belief.mean[i] = all.mean[kept[static_cast<std::size_t>(i)]];
    for (Eigen::Index j = 0; j < size; ++j)
      belief.covariance(i, j) =
          all.covariance(kept[static_cast<std::size_t>(i)], kept[static_cast<std::size_t>(j)]);
  }
  return belief;
}

std::vector<Addition> additions_of(const World& world) {
  std::vector<Addition> additions;
  for (const Told& each : world.to_come)
    additions.push_back({world.book.lots[static_cast<std::size_t>(each.lot)].stock, each.lot,
                         each.station, each.grams});
  return additions;
}

std::vector<Told> all_doses(const World& world) {
  std::vector<Told> all = world.made;
  all.insert(all.end(), world.to_come.begin(), world.to_come.end());
  return all;
}

TEST(After, IsTheLinearisedWorldThatMadeAllDosesAtOnce) {
  support::Random random(20271);
  for (int i = 0; i < 200; ++i) {
    SCOPED_TRACE("world " + std::to_string(i));
    const World world = any_world(random);
    const contents::Belief then =
        after(belief_of(world), additions_of(world), world.plant, world.book);
    const Linearised expected = linearised(world, all_doses(world));
    const Eigen::Index axes = then.components + then.stocks + 2;
    // Central differences at a thousandth of u leave about 1e-6 of u squared.
    const VectorXd u = expected.covariance.diagonal().head(axes).cwiseSqrt();
    for (Eigen::Index a = 0; a < axes; ++a) {
      EXPECT_NEAR(then.mean[a], expected.mean[a], 1e-12 * (1.0 + std::abs(expected.mean[a])));
      for (Eigen::Index b = 0; b < axes; ++b) {
        EXPECT_NEAR(then.covariance(a, b), expected.covariance(a, b), 1e-5 * u[a] * u[b] + 1e-18);
      }
    }
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(then.covariance);
    EXPECT_GE(eigen.eigenvalues().minCoeff(), -1e-15);
  }
}

TEST(After, AskingNothingChangesNothing) {
  support::Random random(20272);
  const World world = any_world(random);
  const contents::Belief before = belief_of(world);
  const contents::Belief then = after(before, {}, world.plant, world.book);
  EXPECT_EQ(then.mean, before.mean);
  EXPECT_EQ(then.covariance, before.covariance);
}

// Two top-ups from one new lot share its error: one after the other is as both at once.
TEST(After, InTwoStepsIsAsInOne) {
  support::Random random(20273);
  for (int i = 0; i < 50; ++i) {
    const World world = any_world(random);
    const std::vector<Addition> additions = additions_of(world);
    if (additions.size() < 2) continue;
    const contents::Belief once = after(belief_of(world), additions, world.plant, world.book);
    contents::Belief stepped = belief_of(world);
    for (const Addition& each : additions)
      stepped = after(stepped, {each}, world.plant, world.book);
    const Eigen::Index axes = once.components + once.stocks + 2;
    // Products of masses near 20 g: rounding.
    EXPECT_LT((once.mean - stepped.mean).head(axes).lpNorm<Eigen::Infinity>(), 1e-12);
    EXPECT_LT(
        (once.covariance - stepped.covariance).topLeftCorner(axes, axes).lpNorm<Eigen::Infinity>(),
        1e-14);
  }
}

/// Lines about where the vial will be, so that the odds are neither 0 nor 1.
recipe::Recipe recipe_near(const World& world, support::Random& random) {
  const Linearised then = linearised(world, all_doses(world));
  const int K = world.components(), S = world.stocks();
  recipe::Recipe made;
  const auto about = [&](recipe::ToleranceOn on, int of, double value, double u) {
    const double low = value - u * random.uniform(0.8, 3.0),
                 high = value + u * random.uniform(0.8, 3.0);
    made.tolerances.push_back({on, of, low, value, high});
  };
  const double net = then.mean[K + S];
  for (int k = 0; k < K; ++k) {
    const double content = then.mean[k] / net;
    VectorXd weights = VectorXd::Zero(then.mean.size());
    weights[k] = 1.0 / net;
    weights[K + S] = -content / net;
    about(recipe::ToleranceOn::content, k, content,
          std::sqrt(weights.dot(then.covariance * weights)));
  }
  if (random.below(2) == 0)
    about(recipe::ToleranceOn::net_mass, -1, net, std::sqrt(then.covariance(K + S, K + S)));
  if (random.below(3) == 0)
    about(recipe::ToleranceOn::volume, -1, then.mean[K + S + 1],
          std::sqrt(then.covariance(K + S + 1, K + S + 1)));
  return made;
}

bool meets(const recipe::Recipe& recipe, const VectorXd& axes, int components, int stocks) {
  for (const recipe::Tolerance& line : recipe.tolerances) {
    const double net = axes[components + stocks];
    const double value = line.on == recipe::ToleranceOn::content    ? axes[line.of] / net
                         : line.on == recipe::ToleranceOn::net_mass ? net
                                                                    : axes[components + stocks + 1];
    if (value < line.low || value > line.high) return false;
  }
  return true;
}

double simulated(const World& world, const recipe::Recipe& recipe, int draws,
                 support::Random& random) {
  const std::vector<Told> doses = all_doses(world);
  VectorXd hidden(static_cast<Eigen::Index>(world.u.size()));
  VectorXd spread(static_cast<Eigen::Index>(doses.size()));
  int met = 0;
  for (int i = 0; i < draws; ++i) {
    for (Eigen::Index e = 0; e < hidden.size(); ++e)
      hidden[e] = world.u[static_cast<std::size_t>(e)] * random.normal();
    for (double& each : spread) each = random.normal();
    met += meets(recipe, world.vial(hidden, doses, spread), world.components(), world.stocks());
  }
  return static_cast<double>(met) / draws;
}

// Brute force: every lot, meter and dose drawn, the vial mixed, the lines looked at. Of 300 z about
// 0.8 are beyond 3 by chance; more than 4 has a chance below 1 in 1000, one beyond 4.5 of 1 in 500.
TEST(Odds, OfThreeHundredTopUpsAgreeWithBruteForce) {
  support::Random random(20274);
  constexpr int cases = 300;
  const int draws = support::trials(8'000, 20'000);
  Options options;
  options.conformity.points = 8192;  // its error must vanish beside that of the draws
  int beyond_three = 0, beyond_most = 0;
  double squares = 0.0, worst = 0.0;
  for (int done = 0; done < cases;) {
    const World world = any_world(random);
    const recipe::Recipe recipe = recipe_near(world, random);
    const double odds =
        odds_of(belief_of(world), recipe, additions_of(world), world.plant, world.book, options)
            .value;
    if (odds < 0.02 || odds > 0.98) continue;  // the normal limit of the count would be poor
    ++done;
    const double seen = simulated(world, recipe, draws, random);
    const double z = (seen - odds) / std::sqrt(odds * (1.0 - odds) / draws);
    squares += z * z;
    worst = std::max(worst, std::abs(z));
    beyond_three += std::abs(z) > 3.0;
    beyond_most += std::abs(z) > 4.5;
  }
  const boost::math::chi_squared chi(cases);
  const double low = quantile(chi, 0.005), high = quantile(chi, 0.995);
  std::printf("seed 20274: %d beyond 3, worst %.2f, sum of squares %.1f in [%.1f, %.1f]\n",
              beyond_three, worst, squares, low, high);
  EXPECT_LE(beyond_three, 4);
  EXPECT_EQ(beyond_most, 0);
  EXPECT_GT(squares, low);
  EXPECT_LT(squares, high);
}

}  // namespace
}  // namespace vialwright::topup::testing
