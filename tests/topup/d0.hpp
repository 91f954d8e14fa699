/// The demo system of the worked cases: three one-dye stocks in a clear base, one vial type.
/// Invented.
#pragma once

#include "topup/topup.hpp"

namespace vialwright::topup::testing {

/// Components: yellow, rose, teal. Stocks: base, yellow, rose, teal; strengths 0.50, 0.50, 0.20
/// mg/g; every density 1 g/mL; one station a stock, no meters; container of 24 g and 24 mL.
struct D0 {
  enum Component { yellow_dye, rose_dye, teal_dye };
  enum StockIs { base, yellow, rose, teal };

  recipe::Book book;
  plant::Plant plant;
  Means means;

  D0() {
    for (const char* id : {"yellow", "rose", "teal"}) book.components.push_back({id, "", false});
    add_stock("base", {0.0, 0.0, 0.0}, 0.002, 0.015);
    add_stock("yellow", {0.5, 0.0, 0.0}, 0.10, 0.003);
    add_stock("rose", {0.0, 0.5, 0.0}, 0.12, 0.003);
    add_stock("teal", {0.0, 0.0, 0.2}, 0.20, 0.003);
    for (int a = 0; a < 4; ++a)
      for (int b = a + 1; b < 4; ++b) book.may_meet.push_back({a, b});
    plant::Container vial;
    vial.id = "vial 24";
    vial.brimful_ml = 30.0;
    vial.largest_fill_ml = vial.largest_fill_g = 24.0;
    plant.containers.push_back(vial);
  }

  /// A vial of 20 g known exactly but for its dyes: u is relative, of each dye's mass.
  [[nodiscard]] contents::Belief vial(double yellow_mg, double teal_mg,
                                      double u_rel = 0.0085) const {
    contents::Belief belief;
    belief.components = 3;
    belief.stocks = 4;
    belief.mean.setZero(3 + 4 + 2);
    belief.covariance.setZero(9, 9);
    belief.mean[belief.component(yellow_dye)] = yellow_mg;
    belief.mean[belief.component(teal_dye)] = teal_mg;
    belief.mean[belief.stock(yellow)] = yellow_mg / 0.5;
    belief.mean[belief.stock(teal)] = teal_mg / 0.2;
    belief.mean[belief.stock(base)] = 20.0 - yellow_mg / 0.5 - teal_mg / 0.2;
    belief.mean[belief.net()] = belief.mean[belief.volume()] = 20.0;
    for (const int dye : {yellow_dye, teal_dye}) {
      const double u = u_rel * belief.mean[belief.component(dye)];
      belief.covariance(dye, dye) = u * u;
    }
    return belief;
  }

  /// Yellow and teal within a tolerance of their targets, no rose, a net mass.
  [[nodiscard]] recipe::Recipe green(double net_low, double net_high, double tolerance = 0.03,
                                     double yellow_target = 0.0080,
                                     double teal_target = 0.0030) const {
    using recipe::ToleranceOn;
    recipe::Recipe green;
    green.id = "green";
    green.container = "vial 24";
    green.stocks = {base, yellow, teal};
    const auto about = [&](int dye, double target) {
      green.tolerances.push_back({ToleranceOn::content, dye, target * (1.0 - tolerance), target,
                                  target * (1.0 + tolerance)});
    };
    about(yellow_dye, yellow_target);
    about(teal_dye, teal_target);
    green.tolerances.push_back({ToleranceOn::content, rose_dye, -recipe::no_limit, 0.0, 1e-5});
    green.tolerances.push_back(
        {ToleranceOn::net_mass, -1, net_low, 0.5 * (net_low + net_high), net_high});
    return green;
  }

  [[nodiscard]] Addition dose(StockIs stock, double grams) const {
    return {stock, stock, stock, grams};
  }

 private:
  void add_stock(const char* id, const std::vector<double>& strengths, double price,
                 double spread) {
    const int index = static_cast<int>(book.stocks.size());
    recipe::Stock stock;
    stock.id = id;
    stock.price_per_g = price;
    book.stocks.push_back(stock);
    recipe::Lot lot;
    lot.id = std::string(id) + " lot";
    lot.stock = index;
    for (const double strength : strengths) lot.strengths.push_back({strength, 0.0});
    book.lots.push_back(lot);
    plant::Station station;
    station.id = std::string(id) + " station";
    station.stocks = {id};
    station.least_dose_g = 0.001;
    station.spread_g = spread;
    plant.stations.push_back(station);
    means.loaded.push_back({index, index, index, 0.0});
    means.fill_now_ml = 20.0;
  }
};

}  // namespace vialwright::topup::testing
