#include "decide/evidence_of.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "decide/judged.hpp"

namespace vialwright::decide {
namespace {

using contents::ReadingKind;

struct Kind {
  ReadingKind kind;
  const char* word;
  const char* unit;
};

Kind kind_of(line::Weighed weighed) {
  switch (weighed) {
    case line::Weighed::tare:
      return {ReadingKind::tare, "tare", "g"};
    case line::Weighed::gross:
      return {ReadingKind::gross, "gross", "g"};
    case line::Weighed::volume:
      return {ReadingKind::volume, "volume", "mL"};
    case line::Weighed::colour:
      return {ReadingKind::colour, "colour", ""};
    case line::Weighed::level:
      break;
  }
  return {ReadingKind::level, "level", "mm"};
}

const std::string& name_of(int instrument, const line::State& state) {
  return state.plant.instruments[static_cast<std::size_t>(instrument)].id;
}

double air_at(const line::VialReading& reading) {
  if (!reading.climate) return 1.2;  // standard air, JCGM 106 and OIML R 111 convention
  return contents::air_density(reading.climate->pressure_hpa, reading.climate->humidity_percent,
                               reading.climate->celsius);
}

std::string left_out(const std::string& label, const std::string& instrument, std::string_view why,
                     const line::Origin& origin) {
  return left_out(ReadingName{label, instrument, "", origin}, why);
}

/// Colours fade, and only what sees colour can tell; on a line without, no clock runs.
bool has_colour(const recipe::Book& book) {
  return std::any_of(book.components.begin(), book.components.end(),
                     [](const auto& component) { return !component.absorptivity.nm.empty(); });
}

std::string why_not(const line::VialReading& reading) {
  if (reading.quality != line::Quality::clear) return std::string(line::word(reading.quality));
  return reading.unusable;
}

void add_readings(const line::VialRecord& vial, const line::State& state, NamedEvidence& into) {
  for (const line::VialReading& reading : vial.readings) {
    const Kind kind = kind_of(reading.kind);
    const std::string& instrument = name_of(reading.instrument, state);
    if (const std::string why = why_not(reading); !why.empty()) {
      into.unused.push_back(left_out(kind.word, instrument, why, reading.origin));
      continue;
    }
    contents::Reading evidence;
    evidence.kind = kind.kind;
    evidence.instrument = reading.instrument;
    evidence.value = reading.value;
    evidence.after_doses = reading.after_doses;
    evidence.open_s = reading.open_s;
    evidence.capped = reading.capped;
    evidence.air_kg_per_m3 = air_at(reading);
    if (reading.kind == line::Weighed::colour) {
      evidence.values = reading.values;
      evidence.session = reading.session_number;
      evidence.mixed = reading.mixed;
      evidence.cloudy = reading.cloudy;
      evidence.days = reading.days;
    }
    into.evidence.readings.push_back(evidence);
    into.readings.push_back({kind.word, instrument, kind.unit, reading.origin});
  }
}

void add_dose_reading(ReadingKind kind, const std::string& label, const line::MeterReading& reading,
                      int dose, const line::State& state, NamedEvidence& into) {
  const std::string& instrument = name_of(reading.instrument, state);
  if (reading.quality != line::Quality::clear) {
    into.unused.push_back(left_out(label, instrument, line::word(reading.quality), reading.origin));
    return;
  }
  const bool by_volume =
      state.plant.instruments[static_cast<std::size_t>(reading.instrument)].kind ==
      plant::InstrumentKind::volume_meter;
  contents::Reading evidence;
  evidence.kind = kind;
  evidence.instrument = reading.instrument;
  evidence.value = reading.value;
  evidence.dose = dose;
  evidence.counting_s = reading.counting_s;
  into.evidence.readings.push_back(evidence);
  into.readings.push_back({label, instrument, by_volume ? "mL" : "g", reading.origin});
}

void add_dose(const line::DoseRecord& dose, const line::State& state, NamedEvidence& into) {
  const int index = static_cast<int>(into.evidence.doses.size());
  const std::string& stock = state.book.stocks[static_cast<std::size_t>(dose.stock)].id;
  into.evidence.doses.push_back(
      {dose.stock, dose.lot, dose.station, dose.commanded_g, dose.aborted, dose.days});
  into.doses.push_back(dose.commanded_g
                           ? fmt::format("{}, {:.3f} g asked", stock, *dose.commanded_g)
                           : fmt::format("{}, amount not told", stock));
  for (const line::MeterReading& reading : dose.metered) {
    add_dose_reading(ReadingKind::dose, "dose of " + stock, reading, index, state, into);
  }
  if (dose.tank_loss) {
    add_dose_reading(ReadingKind::tank_loss, "tank loss, " + stock, *dose.tank_loss, index, state,
                     into);
  }
}

}  // namespace

std::string left_out(const ReadingName& reading, std::string_view why) {
  return fmt::format("{} by {} at {} (event {}): {}", reading.label, reading.instrument,
                     quantity::to_text(reading.origin.time), reading.origin.id, why);
}

NamedEvidence evidence_of(const line::VialRecord& vial, const line::State& state) {
  NamedEvidence named;
  named.evidence.container = vial.container;
  named.evidence.open_s = vial.open_s;
  add_readings(vial, state, named);
  for (const line::DoseRecord& dose : vial.doses) add_dose(dose, state, named);
  if (has_colour(state.book)) {
    // To the last that is known of it: what fades from then on is grown_older's.
    const double age = line::days_at(vial, state.as_of);
    named.evidence.days = std::max(0.0, age - days_since_known(vial, state));
  } else {
    for (contents::Dose& dose : named.evidence.doses) dose.days = 0.0;
  }
  return named;
}

}  // namespace vialwright::decide
