/// Random pairs of a vial and a recipe, such as a line sees: a tint that came out somewhat wrong,
/// or one that is looked at for a neighbouring recipe. Invented.
#pragma once

#include <Eigen/Cholesky>
#include <string>
#include <vector>

#include "support/random.hpp"
#include "topup/topup.hpp"

namespace vialwright::topup::testing {

struct Pair {
  recipe::Book book;
  plant::Plant plant;
  contents::Belief belief;
  recipe::Recipe recipe;
  Means means;
};

namespace pairs {

inline std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// A base and some dye stocks, one lot and one station each; some stations have a meter, which
/// may be shared, and one dye may have a second station.
inline void add_line(Pair& pair, support::Random& random, int stocks) {
  for (int k = 0; k + 1 < stocks; ++k)
    pair.book.components.push_back({"dye " + std::to_string(k), "", false});
  for (int i = 0; i < 2; ++i) {
    plant::Instrument meter;
    meter.id = "meter " + std::to_string(i);
    meter.kind = i == 0 ? plant::InstrumentKind::mass_meter : plant::InstrumentKind::volume_meter;
    meter.u_gain = random.uniform(0.001, 0.005);
    meter.u_offset = random.uniform(0.0002, 0.003);
    pair.plant.instruments.push_back(meter);
  }
  for (int s = 0; s < stocks; ++s) {
    recipe::Stock stock;
    stock.id = "stock " + std::to_string(s);
    stock.density_g_per_ml = random.uniform(0.97, 1.04);
    stock.u_density_g_per_ml = random.below(2) == 0 ? 0.0 : 0.001;
    stock.price_per_g = s == 0 ? 0.002 : random.uniform(0.02, 0.3);
    pair.book.stocks.push_back(stock);
    for (int other = 0; other < s; ++other) pair.book.may_meet.push_back({other, s});
    recipe::Lot lot;
    lot.id = stock.id + " lot";
    lot.stock = s;
    lot.strengths.resize(pair.book.components.size());
    if (s > 0) {
      const double strength = random.uniform(0.2, 0.6);
      lot.strengths[at(s - 1)] = {strength, strength * random.uniform(0.001, 0.01)};
      // One dye in three is impure with the next one.
      if (random.below(3) == 0 && stocks > 2)
        lot.strengths[at(s % (stocks - 1))].mg_per_g += 0.02 * strength;
    }
    pair.book.lots.push_back(lot);
  }
}

inline void add_station(Pair& pair, support::Random& random, int stock) {
  plant::Station station;
  station.id = "station " + std::to_string(pair.plant.stations.size());
  station.stocks = {pair.book.stocks[at(stock)].id};
  if (const int meter = random.below(3); meter < 2)
    station.meters = {pair.plant.instruments[at(meter)].id};
  station.least_dose_g = random.uniform(0.015, stock == 0 ? 0.3 : 0.06);
  station.largest_dose_g = stock == 0 ? 8.0 : random.uniform(0.5, 4.0);
  station.spread_g = random.uniform(0.001, stock == 0 ? 0.02 : 0.005);
  station.spread_rel = random.uniform(0.0, 0.01);
  pair.means.loaded.push_back({stock, stock, static_cast<int>(pair.plant.stations.size()), 0.0});
  pair.plant.stations.push_back(station);
}

/// One weighing of the net mass: the usual linear Gaussian update.
inline void weigh(contents::Belief& belief, double net_g, double u_g) {
  const Eigen::VectorXd seen = belief.covariance.col(belief.net());
  const double variance = seen[belief.net()] + u_g * u_g;
  belief.mean += seen * ((net_g - belief.mean[belief.net()]) / variance);
  belief.covariance -= seen * seen.transpose() / variance;
}

}  // namespace pairs

/// @param stocks  of the line, the base first. @param stations  one for each stock and the rest
/// for stocks drawn at random.
inline Pair any_pair(support::Random& random, int stocks, int stations) {
  using recipe::ToleranceOn;
  Pair pair;
  pairs::add_line(pair, random, stocks);
  for (int s = 0; s < stocks; ++s) pairs::add_station(pair, random, s);
  for (int s = stocks; s < stations; ++s) pairs::add_station(pair, random, random.below(stocks));

  const double net = random.uniform(15.0, 22.0);
  plant::Container vial;
  vial.id = "vial";
  vial.largest_fill_g = net * random.uniform(1.03, 1.25);
  vial.largest_fill_ml = net * random.uniform(1.03, 1.25);
  vial.brimful_ml = 1.3 * net;
  pair.plant.containers.push_back(vial);

  // The recipe as shares of stock, and the vial as doses that went wrong by some per cent each.
  std::vector<double> grams;
  double dyes = 0.0;
  for (int s = 1; s < stocks; ++s) {
    grams.push_back(net * random.uniform(0.01, 0.06));
    dyes += grams.back();
  }
  grams.insert(grams.begin(), net - dyes);
  const double fill = random.below(2) == 0 ? 1.0 : random.uniform(0.85, 1.0);
  const double wrong = random.uniform(0.01, 0.12);
  contents::Belief& belief = pair.belief;
  belief.components = stocks - 1;
  belief.stocks = stocks;
  belief.mean.setZero(2 * stocks + 1);
  belief.covariance.setZero(2 * stocks + 1, 2 * stocks + 1);
  std::vector<Addition> made;
  for (int s = 0; s < stocks; ++s) {
    const double share = fill * (1.0 + (s == 0 ? 0.1 : 1.0) * wrong * random.normal());
    made.push_back({s, s, s, grams[pairs::at(s)] * share});
  }
  belief = after(belief, made, pair.plant, pair.book);
  pairs::weigh(belief, belief.mean[belief.net()], 0.005);
  pair.means.fill_now_ml = belief.mean[belief.volume()];
  pair.means.container = 0;

  recipe::Recipe& recipe = pair.recipe;
  recipe.id = "tint";
  recipe.container = "vial";
  for (int s = 0; s < stocks; ++s) recipe.stocks.push_back(s);
  const double tolerance = random.uniform(0.015, 0.06), net_tolerance = random.uniform(0.01, 0.05);
  for (int k = 0; k + 1 < stocks; ++k) {
    double target = 0.0;
    for (int s = 0; s < stocks; ++s)
      target += grams[pairs::at(s)] * pair.book.lots[pairs::at(s)].strengths[pairs::at(k)].mg_per_g;
    target /= net;
    recipe.tolerances.push_back(
        {ToleranceOn::content, k, target * (1.0 - tolerance), target, target * (1.0 + tolerance)});
  }
  recipe.tolerances.push_back(
      {ToleranceOn::net_mass, -1, net * (1.0 - net_tolerance), net, net * (1.0 + net_tolerance)});
  recipe.consumer_risk = random.uniform(0.01, 0.2);
  pair.plant.prices.visit = random.below(2) == 0 ? 0.0 : random.uniform(0.005, 0.1);
  return pair;
}

}  // namespace vialwright::topup::testing
