/// What happens before the first vial and beside the vials.

#include <algorithm>
#include <cmath>
#include <utility>

#include "twin/shift.hpp"

namespace vialwright::twin {
namespace {

constexpr double hour_s = 3600.0;

std::optional<double> finite(double value) {
  return std::isfinite(value) ? std::optional<double>(value) : std::nullopt;
}

event::ToleranceData told(const recipe::Tolerance& line, const recipe::Book& book) {
  event::ToleranceData data;
  data.on = std::string(recipe::word(line.on));
  const recipe::Subject subject = recipe::subject_of(line.on);
  if (subject == recipe::Subject::component) data.of = book.components[at(line.of)].id;
  if (subject == recipe::Subject::stock) data.of = book.stocks[at(line.of)].id;
  data.low = finite(line.low);
  data.target = line.target;
  data.high = finite(line.high);
  return data;
}

event::ColourTargetData told(const recipe::ColourTarget& wanted, double limit) {
  event::ColourTargetData data;
  data.lab = {wanted.lab.l, wanted.lab.a, wanted.lab.b};
  data.illuminant = std::string(colour::word(wanted.illuminant));
  data.observer = std::string(colour::word(wanted.observer));
  data.path_cm = wanted.path_cm;
  data.limit = limit;
  return data;
}

event::RecipePublished told(const recipe::Recipe& recipe, const recipe::Book& book) {
  event::RecipePublished data;
  data.recipe = recipe.id;
  data.name = recipe.name;
  data.container = recipe.container;
  data.version = recipe.version;
  for (const recipe::Tolerance& line : recipe.tolerances) {
    if (line.on == recipe::ToleranceOn::colour) {
      data.colours.push_back(told(recipe.colours[at(line.of)], line.high));
    } else {
      data.tolerances.push_back(told(line, book));
    }
  }
  for (const int stock : recipe.stocks) data.stocks.push_back(book.stocks[at(stock)].id);
  data.consumer_risk = recipe.consumer_risk;
  if (recipe.value > 0.0) data.value = recipe.value;
  return data;
}

void publish_recipes(const Setting& setting, Making& making) {
  double t = -13.0 * hour_s;
  for (const recipe::Recipe& recipe : setting.recipes) {
    making.happenings.push_back({t, "recipes", "", told(recipe, setting.book), -1, Link::office});
    t += 5.0;
  }
}

/// Some half an hour to twelve hours before their vial is bound.
void place_orders(const Setting& setting, Making& making) {
  Random random(setting.plan.seed, "orders");
  for (std::size_t i = 0; i < setting.orders.size(); ++i) {
    const OrderWanted& wanted = setting.orders[i];
    event::OrderPlaced data;
    data.order = wanted.order;
    data.recipe = wanted.recipe;
    data.due = wanted.due;
    data.value = wanted.value;
    data.priority = wanted.priority;
    const double ahead = random.between(0.5, 12.0) * hour_s;
    const double t = bound_at_s(static_cast<int>(i), setting.plan) - ahead;
    making.happenings.push_back({t, "orders", "", std::move(data), -1, Link::office});
  }
}

/// At every station that has the stock: before the shift, or between two vials.
void load(int stock, int lot, int vial, const Setting& setting, Making& making) {
  const std::string& id = setting.book.stocks[at(stock)].id;
  const recipe::Lot& told = setting.book.lots[at(lot)];
  for (int s = 0; s < static_cast<int>(setting.plant.stations.size()); ++s) {
    const plant::Station& station = setting.plant.stations[at(s)];
    if (std::find(station.stocks.begin(), station.stocks.end(), id) == station.stocks.end()) {
      continue;
    }
    const double t = vial == 0 ? -1800.0 + 10.0 * stock : visit_at_s(vial, s, setting.plan) - 3.0;
    if (vial > 0) {
      making.happenings.push_back(
          {t - 1.0, station.id, "", event::LineFlushed{station.id, id}, -1, Link::polled});
    }
    making.happenings.push_back({t, station.id, "",
                                 event::LotLoaded{told.id, id, station.id, told.expires}, -1,
                                 Link::polled});
  }
}

void assay(const recipe::Lot& lot, double t, const Setting& setting, Making& making) {
  event::LotAssayed data;
  data.lot = lot.id;
  data.stock = setting.book.stocks[at(lot.stock)].id;
  for (std::size_t k = 0; k < lot.strengths.size(); ++k) {
    const recipe::Strength& strength = lot.strengths[k];
    if (strength.mg_per_g == 0.0 && strength.u_mg_per_g == 0.0) continue;
    data.strengths.push_back(
        {setting.book.components[k].id, strength.mg_per_g, strength.u_mg_per_g});
  }
  making.happenings.push_back({t, "laboratory", "", std::move(data), -1, Link::office});
}

/// A lot is loaded when it is the first, when the one before is used up, and round a mistake: the
/// wrong canister goes in under the right name, and the right one after it.
void load_lots(const Setting& setting, Making& making) {
  double t = -12.5 * hour_s;
  for (const recipe::Lot& lot : setting.book.lots) {
    assay(lot, t, setting, making);
    t += 20.0;
  }
  for (int stock = 0; stock < static_cast<int>(setting.book.stocks.size()); ++stock) {
    LotInUse before{-1, -1, 0.0};
    for (int vial = 0; vial < setting.plan.vials; ++vial) {
      const LotInUse now = lot_in_use(stock, vial, setting, making.faults);
      if (now.told < 0) break;
      if (now.real == before.real) continue;
      before = now;
      load(stock, now.told, vial, setting, making);
    }
  }
}

bool is_calibrated(plant::InstrumentKind kind) {
  return kind != plant::InstrumentKind::climate && kind != plant::InstrumentKind::colour_gauge;
}

/// Calibrated yesterday evening with the numbers of the line file, zeroed before the start.
void calibrate(const Setting& setting, Making& making) {
  double t = -12.0 * hour_s;
  for (const plant::Instrument& instrument : setting.plant.instruments) {
    if (!is_calibrated(instrument.kind)) continue;
    event::CalibrationMade data;
    data.instrument = instrument.id;
    data.unit = std::string(plant::unit_of(instrument.kind));
    data.offset = instrument.offset;
    data.u_offset = instrument.u_offset;
    data.gain = instrument.gain;
    data.u_gain = instrument.u_gain;
    making.happenings.push_back({t, "laboratory", "", std::move(data), -1, Link::office});
    making.happenings.push_back(
        {-900.0, instrument.id, "", event::InstrumentZeroed{instrument.id}, -1, Link::bus});
    t += 120.0;
  }
}

void start_stations(const Setting& setting, Making& making) {
  for (const plant::Station& station : setting.plant.stations) {
    making.happenings.push_back(
        {-600.0, station.id, "", event::StationState{station.id, "up"}, -1, Link::polled});
  }
}

event::EnvironmentRead weather(const std::string& instrument, const Climate& air, Random& random) {
  event::EnvironmentRead data;
  data.instrument = instrument;
  data.celsius = rounded(air.celsius + 0.1 * random.normal(), 0.1);
  data.pressure_hpa = rounded(air.pressure_hpa + 0.15 * random.normal(), 0.1);
  data.humidity_percent =
      std::clamp(rounded(air.humidity_percent + random.normal(), 1.0), 0.0, 100.0);
  return data;
}

void watch_weather(const Setting& setting, Making& making) {
  Random random(setting.plan.seed, "weather station");
  for (const plant::Instrument& instrument : setting.plant.instruments) {
    if (instrument.kind != plant::InstrumentKind::climate) continue;
    for (int k = -1; k * 900.0 < making.world.length_s; ++k) {
      const double t = k * 900.0;
      making.happenings.push_back({t, instrument.id, "",
                                   weather(instrument.id, making.world.air.at(t), random), -1,
                                   Link::polled});
    }
  }
}

/// A counter a station, read every half hour: some 0.2 kW with its share of air and heat.
void read_energy(const Setting& setting, Making& making) {
  for (std::size_t s = 0; s < setting.plant.stations.size(); ++s) {
    Random random(setting.plan.seed, "energy", s);
    const std::string& id = setting.plant.stations[s].id;
    for (int k = 1; k * 1800.0 < making.world.length_s; ++k) {
      const double t = k * 1800.0;
      const double kwh = rounded(0.1 * random.between(0.8, 1.2), 0.001);
      making.happenings.push_back({t, "energy", "", event::EnergyRead{id, kwh}, -1, Link::polled});
    }
  }
}

}  // namespace

LotInUse lot_in_use(int stock, int vial, const Setting& setting, const Faults& faults) {
  std::vector<int> lots;
  for (std::size_t l = 0; l < setting.book.lots.size(); ++l) {
    if (setting.book.lots[l].stock == stock) lots.push_back(static_cast<int>(l));
  }
  if (lots.empty()) return {-1, -1, 0.0};
  const int count = static_cast<int>(lots.size());
  const double place = static_cast<double>(vial) * count / std::max(setting.plan.vials, 1);
  const int which = std::min(static_cast<int>(place), count - 1);
  LotInUse in_use{lots[at(which)], lots[at(which)], place - which};
  for (const WrongLot& wrong : faults.wrong_lots) {
    const bool now = vial >= wrong.from_vial && vial < wrong.to_vial;
    if (wrong.stock == stock && now) in_use.real = wrong.lot;
  }
  return in_use;
}

void open_shift(const Setting& setting, Making& making) {
  publish_recipes(setting, making);
  place_orders(setting, making);
  load_lots(setting, making);
  calibrate(setting, making);
  start_stations(setting, making);
  watch_weather(setting, making);
  read_energy(setting, making);
}

}  // namespace vialwright::twin
