/// A small line that makes one tint: base and a strong teal stock, a meter each, one scale.
/// Invented.
#pragma once

#include "making/making.hpp"

namespace vialwright::making::testing {

struct TintLine {
  enum StockIs { base, teal };
  enum InstrumentIs { base_meter, teal_meter, scale };

  recipe::Book book;
  plant::Plant plant;
  Today today;

  TintLine() {
    book.components = {{"teal dye", "", false}};
    add_stock("base", {0.0, 0.0}, 0.015, 0.0);
    add_stock("teal", {2.0, 0.004}, 0.0, 0.006);
    book.may_meet = {{base, teal}};
    plant::Instrument balance;
    balance.id = "scale";
    balance.kind = plant::InstrumentKind::scale;
    balance.repeatability = 0.005;
    balance.resolution = 0.001;
    balance.u_offset = 0.01;
    balance.u_gain = 1e-4;
    plant.instruments.push_back(balance);
    plant::Container vial;
    vial.id = "vial 24";
    vial.tare_g = 14.8;
    vial.u_tare_g = 0.15;
    vial.brimful_ml = 30.0;
    vial.largest_fill_ml = vial.largest_fill_g = 24.0;
    plant.containers.push_back(vial);
    today.tare_scale = today.gross_scale = scale;
  }

  [[nodiscard]] recipe::Recipe tint(double tolerance, double net_low = 19.5, double net_high = 20.5,
                                    double target = 0.003) const {
    using recipe::ToleranceOn;
    recipe::Recipe tint;
    tint.id = "tint";
    tint.container = "vial 24";
    tint.stocks = {base, teal};
    tint.tolerances = {
        {ToleranceOn::content, 0, target * (1.0 - tolerance), target, target * (1.0 + tolerance)},
        {ToleranceOn::net_mass, -1, net_low, 0.5 * (net_low + net_high), net_high}};
    return tint;
  }

 private:
  void add_stock(const char* id, recipe::Strength strength, double spread_g, double spread_rel) {
    const int index = static_cast<int>(book.stocks.size());
    recipe::Stock stock;
    stock.id = id;
    book.stocks.push_back(stock);
    recipe::Lot lot;
    lot.id = std::string(id) + " lot";
    lot.stock = index;
    lot.strengths = {strength};
    book.lots.push_back(lot);
    plant::Instrument meter;
    meter.id = std::string(id) + " meter";
    meter.kind = plant::InstrumentKind::mass_meter;
    meter.u_gain = 0.002;
    meter.u_offset = 1e-4;
    meter.repeatability = 1e-4;
    meter.repeatability_rel = 0.001;
    plant.instruments.push_back(meter);
    plant::Station station;
    station.id = std::string(id) + " station";
    station.stocks = {id};
    station.meters = {meter.id};
    station.least_dose_g = 0.005;
    station.spread_g = spread_g;
    station.spread_rel = spread_rel;
    plant.stations.push_back(station);
    today.loaded.push_back({index, index, index, 0.0});
  }
};

}  // namespace vialwright::making::testing
