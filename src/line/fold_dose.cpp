// Doses, and the tanks that they come from.
#include <fmt/format.h>

#include <algorithm>

#include "line/fold_workings.hpp"

namespace vialwright::line {
namespace {

/// What the station doses of this stock now; -1 when nobody said.
int loaded_lot(const Workings& workings, int station, int stock) {
  if (station < 0) return -1;
  const auto& loaded = workings.state.stations[static_cast<std::size_t>(station)].loaded;
  const auto at = loaded.find(stock);
  return at == loaded.end() ? -1 : at->second;
}

void note_dose(Workings& workings, const Turn& turn, std::size_t vial) {
  VialRecord& record = workings.state.vials[vial];
  record.mixed_since_last_dose = false;
  if (record.doses.size() == 1 && !record.capped) workings.open_since[vial] = turn.time;
  if (record.capped) {
    conflict(workings, vial, fmt::format("vial {} was dosed while its cap was on", record.serial),
             {turn.origin()});
  }
  if (record.fate != Fate::open) {
    conflict(workings, vial,
             fmt::format("vial {} was dosed after it had been {}", record.serial,
                         record.fate == Fate::released ? "released" : "scrapped"),
             {turn.origin()});
  }
}

DoseRecord& add_dose(Workings& workings, const Turn& turn, std::size_t vial, DoseRecord dose) {
  VialRecord& record = workings.state.vials[vial];
  dose.origin = turn.origin();
  if (!record.first_dose) record.first_dose = turn.time;
  dose.days = days_at(record, turn.time);
  workings.doses.try_emplace(dose.id, DosePlace{vial, record.doses.size()});
  record.doses.push_back(std::move(dose));
  note_dose(workings, turn, vial);
  return record.doses.back();
}

/// A dose of which nobody says what it was: the vial cannot be known any more.
void unknown_dose(Workings& workings, const Turn& turn, const std::string& dose) {
  const auto at = workings.vials.find(turn.subject());
  if (at == workings.vials.end()) return;
  conflict(workings, at->second, fmt::format("nobody says what stock dose {} was", dose),
           {turn.origin()});
}

bool can_dose(const Workings& workings, int station, const std::string& stock) {
  const auto& stocks = workings.state.plant.stations[static_cast<std::size_t>(station)].stocks;
  return std::find(stocks.begin(), stocks.end(), stock) != stocks.end();
}

/// @returns false when the dose is told a second time for the same vial.
bool check_first_command(Workings& workings, const Turn& turn, std::size_t vial,
                         const std::string& dose) {
  const auto known = workings.doses.find(dose);
  if (known == workings.doses.end()) return true;
  const std::size_t other = known->second.vial;
  const VialRecord& first = workings.state.vials[other];
  const std::vector<Origin> between{first.doses[known->second.dose].origin, turn.origin()};
  if (other == vial) {
    conflict(workings, vial, fmt::format("dose {} was commanded more than once", dose), between);
    return false;
  }
  const std::string what = fmt::format("dose {} was commanded for vial {} and for vial {}", dose,
                                       first.serial, workings.state.vials[vial].serial);
  conflict(workings, vial, what, between);
  conflict(workings, other, what, between);
  return true;
}

std::optional<int> station_of_command(Workings& workings, const Turn& turn, std::size_t vial,
                                      const event::DoseCommanded& data) {
  if (data.station.empty()) return std::nullopt;  // by hand
  const auto station = known_station(workings, turn, data.station);
  if (!station) return std::nullopt;
  if (!can_dose(workings, *station, data.stock)) {
    conflict(workings, vial,
             fmt::format("station {} was told to dose {}, which it does not dose", data.station,
                         data.stock),
             {turn.origin()});
  }
  // A vial may be moved to places that the line file does not name; then nothing is compared.
  const std::string& at = workings.state.vials[vial].station;
  const bool moved_to_a_dosing_station = plant::find_station(workings.state.plant, at).has_value();
  if (data.place.station.empty() && moved_to_a_dosing_station) {
    check_station(workings, turn, vial, data.station);
  }
  return station;
}

/// The one stock that a meter can have read, by the line file: its only station doses only that.
struct MeteredStock {
  int station, stock;
};
std::optional<MeteredStock> only_stock_of(const Workings& workings, const std::string& meter) {
  std::optional<MeteredStock> only;
  const auto& stations = workings.state.plant.stations;
  for (std::size_t s = 0; s < stations.size(); ++s) {
    const auto& meters = stations[s].meters;
    if (std::find(meters.begin(), meters.end(), meter) == meters.end()) continue;
    if (only || stations[s].stocks.size() != 1) return std::nullopt;
    const auto stock = recipe::find_stock(workings.state.book, stations[s].stocks.front());
    if (!stock) return std::nullopt;
    only = MeteredStock{static_cast<int>(s), *stock};
  }
  return only;
}

/// A dose that was metered without a command in the record.
DoseRecord* uncommanded(Workings& workings, const Turn& turn, const event::DoseMetered& data) {
  const auto vial = vial_of(workings, turn);
  if (!vial) return nullptr;
  const auto from = only_stock_of(workings, data.instrument);
  if (!from) {
    unread(workings, turn,
           fmt::format("dose '{}' was metered but never commanded, and '{}' meters more than one "
                       "stock or none",
                       data.dose, data.instrument),
           "record the dose.commanded of this dose");
    unknown_dose(workings, turn, data.dose);
    return nullptr;
  }
  DoseRecord dose;
  dose.id = data.dose;
  dose.stock = from->stock;
  dose.station = from->station;
  dose.lot = loaded_lot(workings, dose.station, dose.stock);
  return &add_dose(workings, turn, *vial, std::move(dose));
}

DoseRecord* dose_of(Workings& workings, const Turn& turn, const event::DoseMetered& data) {
  const auto known = workings.doses.find(data.dose);
  if (known == workings.doses.end()) return uncommanded(workings, turn, data);
  return &workings.state.vials[known->second.vial].doses[known->second.dose];
}

/// Does the reading speak of the vial that the dose was commanded for?
bool same_vial(Workings& workings, const Turn& turn, const std::string& dose) {
  const std::size_t vial = workings.doses.at(dose).vial;
  const std::string& serial = workings.state.vials[vial].serial;
  if (turn.subject().empty() || turn.subject() == serial) return true;
  const std::string what = fmt::format("dose {} was commanded for vial {} and metered for vial {}",
                                       dose, serial, turn.subject());
  conflict(workings, vial, what, {turn.origin()});
  workings.concerning.push_back({turn.subject(), {what, {turn.origin()}}});
  return false;
}

std::optional<int> meter_for(Workings& workings, const Turn& turn, const event::DoseMetered& data) {
  const auto kind =
      data.mass_g ? plant::InstrumentKind::mass_meter : plant::InstrumentKind::volume_meter;
  return instrument_for(workings, turn, data.instrument, kind,
                        data.mass_g ? "mass of a dose" : "volume of a dose");
}

void disturb(Workings& workings, const std::string& tank, const std::string& dose) {
  const auto watch = workings.tanks.find(tank);
  if (watch == workings.tanks.end() || watch->second.dose == dose) return;
  watch->second.disturbed = true;
}

/// The reading after a dose; with the one before it, what left the tank.
void end_watch(Workings& workings, const Turn& turn, const event::TankRead& data, int instrument,
               const TankWatch& watch) {
  const auto known = workings.doses.find(data.dose);
  if (known == workings.doses.end()) return;
  if (watch.dose != data.dose || watch.instrument != instrument || watch.disturbed) return;
  MeterReading loss;
  loss.instrument = instrument;
  loss.value = watch.before_g - data.mass_g;
  loss.quality = quality_of(workings, turn, instrument);
  if (loss.quality == Quality::clear) loss.quality = watch.quality;
  loss.origin = turn.origin();
  workings.state.vials[known->second.vial].doses[known->second.dose].tank_loss = std::move(loss);
}

/// A tank into which another lot was filled holds a mixture, whose strength nobody knows.
void mix_lots(Workings& workings, const std::string& tank, int lot) {
  for (std::size_t s = 0; s < workings.state.stations.size(); ++s) {
    if (workings.state.plant.stations[s].tank != tank) continue;
    for (auto& [stock, loaded] : workings.state.stations[s].loaded) {
      if (loaded != lot) loaded = -1;
    }
  }
}

}  // namespace

void disturb_tank_of(Workings& workings, int station, const std::string& dose) {
  if (station < 0) return;
  disturb(workings, workings.state.plant.stations[static_cast<std::size_t>(station)].tank, dose);
}

void take(Workings& workings, const Turn& turn, const event::DoseCommanded& data) {
  const auto vial = vial_of(workings, turn);
  if (!vial) return;
  place_agrees(workings, turn, *vial, data.place);
  if (!check_first_command(workings, turn, *vial, data.dose)) return;
  const auto stock = known_stock(workings, turn, data.stock);
  if (!stock) return unknown_dose(workings, turn, data.dose);
  DoseRecord dose;
  dose.id = data.dose;
  dose.stock = *stock;
  dose.station = station_of_command(workings, turn, *vial, data).value_or(-1);
  dose.lot = data.lot.empty() ? loaded_lot(workings, dose.station, dose.stock)
                              : known_lot(workings, turn, data.lot, dose.stock).value_or(-1);
  dose.commanded_g = data.amount_g;
  disturb_tank_of(workings, dose.station, data.dose);
  add_dose(workings, turn, *vial, std::move(dose));
}

void take(Workings& workings, const Turn& turn, const event::DoseMetered& data) {
  DoseRecord* dose = dose_of(workings, turn, data);
  if (dose == nullptr) return;
  disturb_tank_of(workings, dose->station, data.dose);
  dose->aborted = dose->aborted || data.aborted;
  const auto meter = meter_for(workings, turn, data);
  if (!meter) return;
  MeterReading reading;
  reading.instrument = *meter;
  reading.value = data.mass_g ? *data.mass_g : data.volume_ml.value_or(0.0);
  reading.counting_s = data.counting_s;
  reading.quality = quality_of(workings, turn, *meter);
  if (!same_vial(workings, turn, data.dose)) reading.quality = Quality::wrong_vial;
  reading.origin = turn.origin();
  dose->metered.push_back(std::move(reading));
  VialRecord& vial = workings.state.vials[workings.doses.at(data.dose).vial];
  vial.last_event = std::max(vial.last_event.value_or(turn.time), turn.time);
}

void take(Workings& workings, const Turn& turn, const event::TankRead& data) {
  const auto scale = instrument_for(workings, turn, data.instrument,
                                    plant::InstrumentKind::tank_scale, "mass of a tank");
  if (!scale) return;
  if (!plant::find_tank(workings.state.plant, data.tank)) {
    return unread(workings, turn, fmt::format("tank '{}' is not in the line file", data.tank),
                  mend_for(data.tank, workings.state.plant.tanks, "add it to the line file"));
  }
  if (data.dose.empty()) return;
  if (data.before) {
    workings.tanks[data.tank] = {data.dose, *scale, data.mass_g, quality_of(workings, turn, *scale),
                                 false};
    return;
  }
  const auto watch = workings.tanks.find(data.tank);
  if (watch == workings.tanks.end()) return;
  end_watch(workings, turn, data, *scale, watch->second);
  workings.tanks.erase(watch);
}

void take(Workings& workings, const Turn& turn, const event::TankRefilled& data) {
  const auto tank = plant::find_tank(workings.state.plant, data.tank);
  if (!tank) {
    return unread(workings, turn, fmt::format("tank '{}' is not in the line file", data.tank),
                  mend_for(data.tank, workings.state.plant.tanks, "add it to the line file"));
  }
  disturb(workings, data.tank, "");
  const std::string& stock_id = workings.state.plant.tanks[static_cast<std::size_t>(*tank)].stock;
  const auto stock = recipe::find_stock(workings.state.book, stock_id);
  if (data.lot.empty() || !stock) return;
  mix_lots(workings, data.tank, known_lot(workings, turn, data.lot, *stock).value_or(-1));
}

void take(Workings& workings, const Turn& turn, const event::LineFlushed& data) {
  const auto station = known_station(workings, turn, data.station);
  if (station) disturb_tank_of(workings, *station, "");
}

}  // namespace vialwright::line
