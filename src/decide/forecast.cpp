// Before dosing: what each open order can expect of the line as it is today.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "decide/judged.hpp"
#include "decide/market.hpp"

namespace vialwright::decide {
namespace {

/// The scale that gave the newest clear reading of that kind; else the first scale of the plant
/// that is not off.
int scale_for(line::Weighed kind, const line::State& state, const Options& options) {
  int scale = -1;
  Instant newest{INT64_MIN};
  for (const line::VialRecord& vial : state.vials) {
    for (const line::VialReading& reading : vial.readings) {
      if (reading.kind != kind || reading.quality != line::Quality::clear) continue;
      if (reading.origin.time < newest || is_off(reading.instrument, state.plant, options))
        continue;
      newest = reading.origin.time;
      scale = reading.instrument;
    }
  }
  for (std::size_t i = 0; scale < 0 && i < state.plant.instruments.size(); ++i) {
    const bool weighs = state.plant.instruments[i].kind == plant::InstrumentKind::scale;
    if (weighs && !is_off(static_cast<int>(i), state.plant, options)) scale = static_cast<int>(i);
  }
  return scale;
}

/// Of the newest reading that knew its climate; standard air where none did.
double air_now(const line::State& state) {
  const line::VialReading* newest = nullptr;
  for (const line::VialRecord& vial : state.vials) {
    for (const line::VialReading& reading : vial.readings) {
      if (!reading.climate) continue;
      if (newest == nullptr || newest->origin.time < reading.origin.time) newest = &reading;
    }
  }
  if (newest == nullptr) return 1.2;
  return contents::air_density(newest->climate->pressure_hpa, newest->climate->humidity_percent,
                               newest->climate->celsius);
}

/// The first colour gauge of the plant that is not off: it stands on the line, others on a bench.
int colour_gauge_now(const line::State& state, const Options& options) {
  for (std::size_t i = 0; i < state.plant.instruments.size(); ++i) {
    const bool looks = state.plant.instruments[i].colour.has_value();
    if (looks && !is_off(static_cast<int>(i), state.plant, options)) return static_cast<int>(i);
  }
  return -1;
}

making::Today today_of(const line::State& state, const Options& options) {
  making::Today today;
  today.loaded = loaded_now(state);
  for (std::size_t i = 0; i < state.plant.instruments.size(); ++i) {
    const int index = static_cast<int>(i);
    if (is_off(index, state.plant, options)) today.off.push_back(index);
  }
  today.tare_scale = scale_for(line::Weighed::tare, state, options);
  today.gross_scale = scale_for(line::Weighed::gross, state, options);
  today.colour_gauge = colour_gauge_now(state, options);
  today.air_kg_per_m3 = air_now(state);
  return today;
}

class Forecasts {
 public:
  Forecasts(const line::State& state, const Options& options)
      : state_(state), today_(today_of(state, options)), market_(state, nothing_learned_) {
    how_.conformity = options.conformity;
  }

  const OrderForecast& of(const recipe::Recipe& recipe) {
    const auto known = known_.find(recipe.id);
    if (known != known_.end()) return known->second;
    OrderForecast made;
    made.recipe = recipe.id;
    made.forecast = ask(recipe, today_);
    for (const int station : stations_of(made.forecast)) add_station(recipe, station, made);
    for (const int instrument : instruments_of(made.forecast)) {
      add_instrument(recipe, instrument, made);
    }
    return known_.emplace(recipe.id, std::move(made)).first->second;
  }

 private:
  /// Below a limit a top-up mends it: a visit and a weighing. Above, a fresh vial must be made and
  /// this one disposed of.
  making::Forecast ask(const recipe::Recipe& recipe, const making::Today& today) const {
    const plant::Prices& prices = state_.plant.prices;
    const making::Stakes stakes{prices.visit + prices.reading,
                                market_.fresh(recipe) + prices.scrap};
    const auto container = plant::find_container(state_.plant, recipe.container);
    return making::forecast(recipe, container.value_or(0), today, stakes, state_.plant, state_.book,
                            how_);
  }

  static std::set<int> stations_of(const making::Forecast& forecast) {
    std::set<int> stations;
    for (const making::Dose& dose : forecast.doses) {
      if (dose.addition.station >= 0) stations.insert(dose.addition.station);
    }
    return stations;
  }

  /// Meters of the stations that it needs, the scales, and what looks at its colour.
  std::set<int> instruments_of(const making::Forecast& forecast) const {
    std::set<int> instruments;
    for (const int station : stations_of(forecast)) {
      for (const std::string& id :
           state_.plant.stations[static_cast<std::size_t>(station)].meters) {
        if (const auto found = plant::find_instrument(state_.plant, id)) instruments.insert(*found);
      }
    }
    for (const int each : {today_.tare_scale, today_.gross_scale, today_.colour_gauge}) {
      if (each >= 0) instruments.insert(each);
    }
    for (const int off : today_.off) instruments.erase(off);
    return instruments;
  }

  static void add(std::string what, const making::Forecast& then, OrderForecast& into) {
    const bool can = then.can == making::Can::yes;
    into.without.push_back(
        {std::move(what), can, can ? then.passes.value : 0.0, can ? then.proven : 0.0});
  }

  void add_station(const recipe::Recipe& recipe, int station, OrderForecast& into) const {
    making::Today without = today_;
    std::erase_if(without.loaded, [&](const auto& each) { return each.station == station; });
    add("station " + state_.plant.stations[static_cast<std::size_t>(station)].id,
        ask(recipe, without), into);
  }

  void add_instrument(const recipe::Recipe& recipe, int instrument, OrderForecast& into) const {
    making::Today without = today_;
    without.off.push_back(instrument);
    if (without.colour_gauge == instrument) without.colour_gauge = -1;
    add("instrument " + state_.plant.instruments[static_cast<std::size_t>(instrument)].id,
        ask(recipe, without), into);
  }

  const line::State& state_;
  making::Today today_;
  Learned nothing_learned_;
  Market market_;
  topup::Options how_;
  std::map<std::string, OrderForecast> known_;
};

}  // namespace

std::vector<OrderForecast> forecast_orders(const line::State& state, const Options& options) {
  Forecasts forecasts(state, options);
  std::vector<OrderForecast> found;
  for (const line::OrderRecord& order : state.orders) {
    if (order.state != line::OrderRecord::State::open) continue;
    const recipe::Recipe* recipe = line::find_recipe(state, order.recipe);
    if (recipe == nullptr) continue;  // told in State::unread
    OrderForecast one = forecasts.of(*recipe);
    one.order = order.id;
    found.push_back(std::move(one));
  }
  return found;
}

}  // namespace vialwright::decide
