/// A small invented line, and records of what happened on it, for tests of the fold.
#pragma once

#include <deque>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "line/line.hpp"
#include "support/random.hpp"

namespace vialwright::support {

using line::Fact;
using quantity::Instant;

inline constexpr std::int64_t eight_us = 1'795'593'600'000'000;  // 2026-11-25T08:00:00Z

/// Seconds after eight in the morning.
inline Instant at(double seconds) { return quantity::later_by({eight_us}, seconds); }

inline plant::Instrument instrument(const std::string& id, plant::InstrumentKind kind) {
  plant::Instrument made;
  made.id = id;
  made.kind = kind;
  made.repeatability = 0.002;
  made.resolution = 0.001;
  return made;
}

inline plant::Station station(const std::string& id, std::vector<std::string> stocks,
                              std::vector<std::string> meters, const std::string& tank) {
  plant::Station made;
  made.id = id;
  made.stocks = std::move(stocks);
  made.meters = std::move(meters);
  made.tank = tank;
  made.least_dose_g = 0.01;
  return made;
}

/// Base comes from a weighed tank through two meters; teal and rose share a station and a meter.
inline line::LineFile fold_line() {
  using enum plant::InstrumentKind;
  line::LineFile line;
  line.name = "Larkmoor, small line";
  line.plant.instruments = {
      instrument("bench", scale),          instrument("floor", scale),
      instrument("base flow", mass_meter), instrument("base pulse", volume_meter),
      instrument("tint flow", mass_meter), instrument("base cell", tank_scale),
      instrument("gauge", level_gauge),    instrument("eye", volume_gauge),
      instrument("roof", climate)};
  line.plant.stations = {
      station("base station", {"base"}, {"base flow", "base pulse"}, "base tank"),
      station("tint station", {"teal", "rose"}, {"tint flow"}, "")};
  line.plant.tanks = {{"base tank", "base", "base cell"}};
  plant::Container vial;
  vial.id = "vial 20";
  line.plant.containers = {vial};
  line.book.components = {{"teal dye", "teal dye", false}, {"rose dye", "rose dye", false}};
  for (const char* id : {"base", "teal", "rose"}) {
    recipe::Stock stock;
    stock.id = stock.name = id;
    line.book.stocks.push_back(stock);
  }
  line.book.lots = {{"B1", 0, {{0.0, 0.0}, {0.0, 0.0}}, {}},
                    {"T1", 1, {{0.2, 0.001}, {0.0, 0.0}}, {}}};
  recipe::Recipe pond;
  pond.id = pond.name = "pond";
  pond.container = "vial 20";
  pond.stocks = {0, 1};
  pond.tolerances = {{recipe::ToleranceOn::net_mass, -1, 19.0, 20.0, 21.0}};
  line.recipes = {pond};
  return line;
}

/// Facts as their sources tell them: each source counts its own.
class Record {
 public:
  /// Adds a fact; it is received a second after it happened. @returns it, to be changed.
  Fact& add(const std::string& source, double seconds, const std::string& subject,
            event::Data data) {
    const std::uint64_t sequence = ++sequence_[source];
    event::Event event{source + "-" + std::to_string(sequence),
                       source,
                       subject,
                       at(seconds),
                       sequence,
                       std::move(data)};
    facts_.push_back({std::move(event), facts_.size() + 1, at(seconds + 1.0)});
    return facts_.back();
  }
  Fact& registered(double seconds, const std::string& serial) {
    return add("gate", seconds, serial, event::VialRegistered{"vial 20"});
  }
  Fact& gross(double seconds, const std::string& serial, double grams, event::Place place = {}) {
    return add("bench", seconds, serial, event::GrossRead{"bench", grams, std::move(place)});
  }
  Fact& commanded(double seconds, const std::string& serial, const std::string& dose,
                  const std::string& stock, double grams) {
    const std::string station = stock == "base" ? "base station" : "tint station";
    return add("doser", seconds, serial, event::DoseCommanded{dose, station, stock, "", grams, {}});
  }
  Fact& metered(double seconds, const std::string& serial, const std::string& dose,
                const std::string& meter, double grams) {
    return add("meters", seconds, serial,
               event::DoseMetered{dose, meter, grams, std::nullopt, 2.0, false});
  }
  Fact& tank(double seconds, const std::string& dose, bool before, double grams) {
    return add("cell", seconds, "", event::TankRead{"base tank", "base cell", grams, dose, before});
  }
  Fact& corrected(double seconds, const Fact& wrong, const std::string& body) {
    return add("office", seconds, "",
               event::FactCorrected{wrong.event.source, wrong.event.id, "Larkmoor office",
                                    "misread", body});
  }

  [[nodiscard]] Fact& last() { return facts_.back(); }
  [[nodiscard]] std::vector<Fact> facts() const { return {facts_.begin(), facts_.end()}; }
  [[nodiscard]] line::State folded() const { return line::fold(fold_line(), facts()); }

 private:
  std::map<std::string, std::uint64_t> sequence_;
  std::deque<Fact> facts_;  ///< references stay valid while more are added
};

/// The same facts in another order of arrival, and so at other positions.
inline std::vector<Fact> shuffled(std::vector<Fact> facts, Random& random) {
  for (std::size_t i = facts.size(); i > 1; --i) {
    std::swap(facts[i - 1], facts[static_cast<std::size_t>(random.below(static_cast<int>(i)))]);
  }
  for (std::size_t i = 0; i < facts.size(); ++i) facts[i].position = i + 1;
  return facts;
}

}  // namespace vialwright::support
