// Readings of vials, and what the instruments say about themselves and the air.
#include <fmt/format.h>

#include "line/fold_workings.hpp"

namespace vialwright::line {
namespace {

using plant::InstrumentKind;

/// Every reading in the record, to be pointed at another instrument.
void for_each_instrument_index(State& state, const std::function<void(int&)>& each) {
  for (VialRecord& vial : state.vials) {
    for (VialReading& reading : vial.readings) each(reading.instrument);
    for (DoseRecord& dose : vial.doses) {
      for (MeterReading& reading : dose.metered) each(reading.instrument);
      if (dose.tank_loss) each(dose.tank_loss->instrument);
    }
  }
}

/// The readings of one instrument so far move to a copy of it at the end of the list, if any.
void keep_copy(Workings& workings, int instrument, const std::string& source) {
  auto& instruments = workings.state.plant.instruments;
  const auto copy = static_cast<int>(instruments.size());
  bool used = false;
  for_each_instrument_index(workings.state, [&](int& index) {
    if (index != instrument) return;
    index = copy;
    used = true;
  });
  if (!used) return;
  plant::Instrument earlier = instruments[static_cast<std::size_t>(instrument)];
  earlier.same_source = source;
  instruments.push_back(std::move(earlier));
}

/// Readings made before a calibration keep the errors that the instrument had then, under the same
/// id. Readings before and after share no unknown error any more; those of one source still do.
void keep_for_earlier_readings(Workings& workings, int instrument) {
  const auto& instruments = workings.state.plant.instruments;
  const std::string source = instruments[static_cast<std::size_t>(instrument)].same_source;
  if (source.empty()) return keep_copy(workings, instrument, source);
  const std::string earlier = fmt::format("{} before {}", source, instruments.size());
  for (std::size_t i = 0; i < workings.calibrated.size(); ++i) {
    if (instruments[i].same_source == source) keep_copy(workings, static_cast<int>(i), earlier);
  }
}

bool unit_fits(Workings& workings, const Turn& turn, const event::CalibrationMade& data,
               int instrument) {
  const auto& calibrated = workings.state.plant.instruments[static_cast<std::size_t>(instrument)];
  const std::string_view unit = plant::unit_of(calibrated.kind);
  if ((!data.offset && !data.u_offset) || data.unit == unit) return true;
  unread(workings, turn,
         fmt::format("the offset of '{}' is given in {}, not in {}", data.instrument, data.unit,
                     unit.empty() ? "no unit at all" : unit),
         "give the offset in the instrument's own unit");
  return false;
}

}  // namespace

void add_reading(Workings& workings, const Turn& turn, VialReading reading,
                 const event::Place& place) {
  const auto vial = vial_of(workings, turn);
  if (!vial) return;
  VialRecord& record = workings.state.vials[*vial];
  reading.quality = quality_of(workings, turn, reading.instrument);
  if (!place_agrees(workings, turn, *vial, place)) reading.quality = Quality::wrong_vial;
  reading.after_doses = static_cast<int>(record.doses.size());
  reading.open_s = open_s_at(workings, *vial, turn.time);
  reading.capped = record.capped;
  reading.climate = workings.climate;
  reading.days = days_at(record, turn.time);
  reading.mixed = record.mixed_since_last_dose;
  reading.origin = turn.origin();
  record.readings.push_back(std::move(reading));
}

void take(Workings& workings, const Turn& turn, const event::TareRead& data) {
  const auto scale =
      instrument_for(workings, turn, data.instrument, InstrumentKind::scale, "tare weighing");
  if (!scale) return;
  VialReading reading;
  reading.kind = Weighed::tare;
  reading.instrument = *scale;
  reading.value = data.mass_g;
  add_reading(workings, turn, std::move(reading), data.place);
}

void take(Workings& workings, const Turn& turn, const event::GrossRead& data) {
  const auto scale =
      instrument_for(workings, turn, data.instrument, InstrumentKind::scale, "gross weighing");
  if (!scale) return;
  VialReading reading;
  reading.kind = Weighed::gross;
  reading.instrument = *scale;
  reading.value = data.mass_g;
  add_reading(workings, turn, std::move(reading), data.place);
}

void take(Workings& workings, const Turn& turn, const event::VolumeRead& data) {
  const auto gauge =
      instrument_for(workings, turn, data.instrument, InstrumentKind::volume_gauge, "volume");
  if (!gauge) return;
  VialReading reading;
  reading.kind = Weighed::volume;
  reading.instrument = *gauge;
  reading.value = data.volume_ml;
  add_reading(workings, turn, std::move(reading), data.place);
}

void take(Workings& workings, const Turn& turn, const event::LevelRead& data) {
  const auto gauge =
      instrument_for(workings, turn, data.instrument, InstrumentKind::level_gauge, "level");
  if (!gauge) return;
  VialReading reading;
  reading.kind = Weighed::level;
  reading.instrument = *gauge;
  reading.value = data.height_mm;
  add_reading(workings, turn, std::move(reading), data.place);
}

void take(Workings& workings, const Turn& turn, const event::InstrumentZeroed& data) {
  (void)known_instrument(workings, turn, data.instrument);
}

void take(Workings& workings, const Turn& turn, const event::CalibrationMade& data) {
  const auto found = known_instrument(workings, turn, data.instrument);
  if (!found || !unit_fits(workings, turn, data, *found)) return;
  const bool says_numbers = data.offset || data.u_offset || data.gain || data.u_gain;
  if (says_numbers) keep_for_earlier_readings(workings, *found);
  plant::Instrument& instrument =
      workings.state.plant.instruments[static_cast<std::size_t>(*found)];
  instrument.offset = data.offset.value_or(instrument.offset);
  instrument.u_offset = data.u_offset.value_or(instrument.u_offset);
  instrument.gain = data.gain.value_or(instrument.gain);
  instrument.u_gain = data.u_gain.value_or(instrument.u_gain);
  workings.calibrated[static_cast<std::size_t>(*found)] = turn.time;
  for (auto& [tank, watch] : workings.tanks) {
    if (watch.instrument == *found) watch.disturbed = true;
  }
}

void take(Workings& workings, const Turn& turn, const event::EnvironmentRead& data) {
  if (!instrument_for(workings, turn, data.instrument, InstrumentKind::climate, "climate")) return;
  Climate now = workings.climate.value_or(Climate{});
  now.celsius = data.celsius.value_or(now.celsius);
  now.pressure_hpa = data.pressure_hpa.value_or(now.pressure_hpa);
  now.humidity_percent = data.humidity_percent.value_or(now.humidity_percent);
  workings.climate = now;
}

void take(Workings&, const Turn&, const event::EnergyRead&) {}

}  // namespace vialwright::line
