/// A line of one scale and two stocks with one vial in it; for tests of deciding. Invented.
#pragma once

#include <string>

#include "decide/decide.hpp"

namespace vialwright::support {

inline constexpr std::int64_t noon_us = 1'795'608'000'000'000;  // 2026-11-25T12:00:00Z

inline quantity::Instant at(double seconds_after_noon) {
  return quantity::later_by({noon_us}, seconds_after_noon);
}

inline plant::Instrument small_scale() {
  plant::Instrument scale;
  scale.id = "scale";
  scale.kind = plant::InstrumentKind::scale;
  scale.repeatability = 0.002;
  scale.resolution = 0.001;
  scale.u_offset = 0.001;
  return scale;
}

inline plant::Instrument small_meter(const std::string& id) {
  plant::Instrument meter;
  meter.id = id;
  meter.kind = plant::InstrumentKind::mass_meter;
  meter.repeatability = 0.001;
  meter.repeatability_rel = 0.002;
  meter.u_gain = 0.002;
  return meter;
}

inline plant::Station small_station(const std::string& id, const std::string& stock,
                                    const std::string& meter) {
  plant::Station station;
  station.id = id;
  station.stocks = {stock};
  station.meters = {meter};
  station.least_dose_g = 0.01;
  station.spread_g = 0.003;
  station.spread_rel = 0.002;
  return station;
}

inline plant::Plant small_plant() {
  plant::Plant plant;
  plant.instruments = {small_scale(), small_meter("meter base"), small_meter("meter teal")};
  plant.stations = {small_station("base station", "base", "meter base"),
                    small_station("teal station", "teal", "meter teal")};
  plant::Container vial;
  vial.id = "vial 20";
  vial.tare_g = 14.8;
  vial.u_tare_g = 0.15;
  vial.brimful_ml = 26.0;
  vial.largest_fill_ml = 24.0;
  vial.inner_diameter_mm = 20.0;
  plant.containers = {vial};
  plant.prices.good = 4.0;
  plant.prices.vial = 0.15;
  plant.prices.scrap = 0.3;
  plant.prices.reading = 0.02;
  plant.prices.visit = 0.05;
  return plant;
}

/// Base: nothing that a recipe bounds. Teal: 0.2 mg of teal dye a gram.
inline recipe::Book small_book() {
  recipe::Book book;
  book.components = {{"teal dye", "teal dye", false}};
  recipe::Stock base, teal;
  base.id = base.name = "base";
  base.price_per_g = 0.002;
  teal.id = teal.name = "teal";
  teal.price_per_g = 0.05;
  book.stocks = {base, teal};
  book.lots = {{"B1", 0, {{0.0, 0.0}}, {}}, {"T1", 1, {{0.2, 0.0004}}, {}}};
  book.may_meet = {{0, 1}};
  return book;
}

/// 20 g with 0.0030 mg/g of teal dye, within 4 %.
inline recipe::Recipe small_recipe() {
  recipe::Recipe recipe;
  recipe.id = recipe.name = "pond";
  recipe.container = "vial 20";
  recipe.stocks = {0, 1};
  recipe.tolerances = {{recipe::ToleranceOn::content, 0, 0.00288, 0.0030, 0.00312},
                       {recipe::ToleranceOn::net_mass, -1, 19.0, 20.0, 21.0}};
  return recipe;
}

inline line::Origin origin(const std::string& id, double seconds_after_noon) {
  return {"line", id, 0, at(seconds_after_noon)};
}

inline line::VialReading weighed(line::Weighed kind, double grams, int after_doses, double when) {
  line::VialReading reading;
  reading.kind = kind;
  reading.value = grams;
  reading.after_doses = after_doses;
  reading.origin = origin(kind == line::Weighed::tare ? "tare-1" : "gross-1", when);
  return reading;
}

inline line::DoseRecord dosed(int stock, double asked_g, double metered_g, double when) {
  line::DoseRecord dose;
  dose.id = "dose-" + std::to_string(stock);
  dose.stock = dose.lot = dose.station = stock;
  dose.commanded_g = asked_g;
  line::MeterReading reading;
  reading.instrument = 1 + stock;
  reading.value = metered_g;
  reading.counting_s = 2.0;
  reading.origin = origin("metered-" + std::to_string(stock), when);
  dose.metered = {reading};
  dose.origin = origin(dose.id, when);
  return dose;
}

/// A vial whose readings agree: `base_g` of base and `teal_g` of teal, weighed without air to keep
/// the arithmetic plain.
inline line::VialRecord small_vial(double base_g, double teal_g) {
  line::VialRecord vial;
  vial.serial = "S-1";
  vial.order = "O-1";
  vial.recipe = small_recipe();
  vial.doses = {dosed(0, 19.7, base_g, 10.0), dosed(1, 0.3, teal_g, 20.0)};
  // In air of 1.2 kg/m3 a liquid of 1 g/mL reads less by the factor (1 - 1.2/1000)/(1 - 1.2/8000).
  const double apparent = (base_g + teal_g) * (1.0 - 1.2 / 1000.0) / (1.0 - 1.2 / 8000.0);
  const double glass = 14.75 * (1.0 - 1.2 / 2500.0) / (1.0 - 1.2 / 8000.0);
  vial.readings = {weighed(line::Weighed::tare, glass, 0, 0.0),
                   weighed(line::Weighed::gross, glass + apparent, 2, 40.0)};
  vial.mixed_since_last_dose = true;
  vial.last_event = at(40.0);
  return vial;
}

inline line::OrderRecord order(const std::string& id, const std::string& recipe,
                               line::OrderRecord::State state = line::OrderRecord::State::open,
                               const std::string& vial = {}) {
  line::OrderRecord order;
  order.id = id;
  order.recipe = recipe;
  order.state = state;
  order.vial = vial;
  order.placed = at(-3600.0);
  return order;
}

inline line::State small_state(line::VialRecord vial) {
  line::State state;
  state.as_of = at(60.0);
  state.position = 12;
  state.plant = small_plant();
  state.book = small_book();
  state.recipes = {small_recipe()};
  state.vials = {std::move(vial)};
  state.stations.resize(2);
  state.stations[0].loaded = {{0, 0}};
  state.stations[1].loaded = {{1, 1}};
  return state;
}

}  // namespace vialwright::support
