/// The demo line for tests over many worlds, and the evidence in a vial's record.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "contents/contents.hpp"
#include "line/line.hpp"
#include "twin/twin.hpp"

namespace vialwright::worlds {

inline const line::LineFile& larkmoor() {
  static const line::LineFile file = [] {
    const std::string folder = std::string(VIALWRIGHT_SOURCE_DIR) + "/examples/larkmoor/";
    auto line = line::read_line_file(folder + "line.toml");
    if (!line) ADD_FAILURE() << line.error().front().what << " " << line.error().front().where;
    auto recipes = line::read_recipes_csv(folder + "recipes.csv", *line);
    if (!recipes) ADD_FAILURE() << recipes.error().front().what;
    line->recipes = *recipes;
    return *std::move(line);
  }();
  return file;
}

/// The evidence in a vial's record, every clear reading of it; written apart from src/decide.
inline contents::Evidence evidence_of(const line::VialRecord& vial) {
  contents::Evidence evidence;
  std::map<std::string, int> sessions;
  evidence.container = vial.container;
  evidence.open_s = vial.open_s;
  for (const line::VialReading& it : vial.readings) {
    if (it.quality != line::Quality::clear) continue;
    contents::Reading reading;
    reading.kind = it.kind == line::Weighed::tare     ? contents::ReadingKind::tare
                   : it.kind == line::Weighed::gross  ? contents::ReadingKind::gross
                   : it.kind == line::Weighed::colour ? contents::ReadingKind::colour
                                                      : contents::ReadingKind::level;
    reading.instrument = it.instrument;
    reading.value = it.value;
    reading.after_doses = it.after_doses;
    reading.open_s = it.open_s;
    reading.capped = it.capped;
    if (it.kind == line::Weighed::colour) {
      reading.values = it.values;
      reading.session = sessions.try_emplace(it.session, sessions.size()).first->second;
      reading.mixed = it.mixed;
      reading.days = it.days;
      evidence.days = std::max(evidence.days, it.days);
    }
    if (it.climate) {
      reading.air_kg_per_m3 = contents::air_density(
          it.climate->pressure_hpa, it.climate->humidity_percent, it.climate->celsius);
    }
    evidence.readings.push_back(reading);
  }
  for (const line::DoseRecord& it : vial.doses) {
    const int index = static_cast<int>(evidence.doses.size());
    evidence.doses.push_back({it.stock, it.lot, it.station, it.commanded_g, it.aborted, it.days});
    evidence.days = std::max(evidence.days, it.days);
    const auto add = [&](contents::ReadingKind kind, const line::MeterReading& metered) {
      contents::Reading reading;
      reading.kind = kind;
      reading.instrument = metered.instrument;
      reading.value = metered.value;
      reading.dose = index;
      reading.counting_s = metered.counting_s;
      evidence.readings.push_back(reading);
    };
    for (const line::MeterReading& metered : it.metered) add(contents::ReadingKind::dose, metered);
    if (it.tank_loss) add(contents::ReadingKind::tank_loss, *it.tank_loss);
  }
  return evidence;
}

/// What the line heard of one world, folded vial by vial.
class Record {
 public:
  /// @returns the state with nothing but the line's own events and those about that vial.
  line::State about(const std::string& serial, twin::Trial& trial) {
    const twin::Trial::Heard heard = trial.heard();
    for (std::size_t i = 0; i < heard.lines.size(); ++i) {
      auto event = event::parse(heard.lines[i], "trial");
      if (!event) ADD_FAILURE() << event.error().what;
      auto& into = event->subject.empty() ? common_ : vials_[event->subject];
      into.push_back({*std::move(event), ++position_, heard.received[i]});
    }
    std::vector<line::Fact> all = common_;
    const auto& own = vials_[serial];
    all.insert(all.end(), own.begin(), own.end());
    return line::fold(larkmoor(), std::move(all), trial.now());
  }

 private:
  std::vector<line::Fact> common_;
  std::map<std::string, std::vector<line::Fact>> vials_;
  std::uint64_t position_ = 0;
};

}  // namespace vialwright::worlds
