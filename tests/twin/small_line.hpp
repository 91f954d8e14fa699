/// A small line of the tests' own: two stocks, two scales, three meters, one level gauge.
#pragma once

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "event/event.hpp"
#include "twin/twin.hpp"

namespace vialwright::twin::small {

enum : int { tare_scale, gross_scale, clear_mass, dye_mass, dye_volume, tank_cell, height, room };

inline plant::Instrument instrument(std::string id, plant::InstrumentKind kind,
                                    double repeatability, double resolution, double u_offset,
                                    double u_gain) {
  plant::Instrument made;
  made.id = std::move(id);
  made.kind = kind;
  made.repeatability = repeatability;
  made.resolution = resolution;
  made.u_offset = u_offset;
  made.u_gain = u_gain;
  return made;
}

inline plant::Station station(std::string id, std::string stock, std::vector<std::string> meters,
                              std::string tank, double largest_g) {
  plant::Station made;
  made.id = std::move(id);
  made.stocks = {std::move(stock)};
  made.meters = std::move(meters);
  made.tank = std::move(tank);
  made.least_dose_g = 0.03;
  made.largest_dose_g = largest_g;
  made.spread_g = 0.008;
  made.spread_rel = 0.002;
  return made;
}

inline plant::Plant plant() {
  using enum plant::InstrumentKind;
  plant::Plant made;
  made.instruments = {instrument("empties", scale, 0.001, 0.001, 0.002, 1e-5),
                      instrument("fulls", scale, 0.004, 0.005, 0.004, 2e-5),
                      instrument("clear_mass", mass_meter, 0.004, 0.001, 0.0, 0.002),
                      instrument("dye_mass", mass_meter, 0.002, 0.0005, 0.0, 0.003),
                      instrument("dye_volume", volume_meter, 0.004, 0.001, 0.0, 0.004),
                      instrument("cell", tank_scale, 1.0, 1.0, 0.0, 0.0),
                      instrument("height", level_gauge, 0.3, 0.1, 0.2, 0.0),
                      instrument("room", climate, 0.0, 0.0, 0.0, 0.0)};
  made.instruments[clear_mass].u_zero_rate = 5.0 / 3600.0;
  made.instruments[dye_mass].u_zero_rate = 2.0 / 3600.0;
  made.instruments[dye_mass].repeatability_rel = 0.001;
  made.stations = {station("clear", "clear", {"clear_mass"}, "clear", 24.0),
                   station("dye", "dye", {"dye_mass", "dye_volume"}, "", 10.0)};
  made.tanks = {{"clear", "clear", "cell"}};
  plant::Container vial;
  vial.id = "vial";
  vial.tare_g = 14.8;
  vial.u_tare_g = 0.18;
  vial.cap_g = 2.0;
  vial.u_cap_g = 0.02;
  vial.brimful_ml = 27.0;
  vial.largest_fill_ml = 24.0;
  vial.inner_diameter_mm = 20.0;
  vial.u_inner_diameter_mm = 0.1;
  vial.floor_volume_ml = 0.4;
  vial.u_floor_volume_ml = 0.05;
  vial.open_loss_g_per_h = 0.009;
  vial.u_open_loss_g_per_h = 0.003;
  vial.capped_loss_g_per_h = 2e-5;
  made.containers = {vial};
  return made;
}

inline recipe::Book book() {
  recipe::Book made;
  made.components = {{"tint", "tint", false}, {"water", "water", true}};
  made.stocks = {{"clear", "clear base", false, 1.0, 0.001, 0.0, ""},
                 {"dye", "dye stock", false, 1.01, 0.002, 0.0, ""}};
  made.lots = {{"C-1", 0, {{0.0, 0.0}, {998.0, 0.5}}, {}},
               {"D-1", 1, {{0.5, 0.005}, {994.0, 1.0}}, {}}};
  made.may_meet = {{0, 1}};
  return made;
}

/// 20 g with 0.05 and 0.15 mg/g of tint: 2 and 6 g of dye stock on the label.
inline std::vector<recipe::Recipe> recipes() {
  using enum recipe::ToleranceOn;
  std::vector<recipe::Recipe> made(2);
  made[0].id = "pale";
  made[1].id = "deep";
  for (recipe::Recipe& recipe : made) {
    const double content_mg_per_g = recipe.id == "pale" ? 0.05 : 0.15;
    recipe.container = "vial";
    recipe.stocks = {0, 1};
    recipe.tolerances = {
        {content, 0, 0.97 * content_mg_per_g, content_mg_per_g, 1.03 * content_mg_per_g},
        {net_mass, -1, 19.7, 20.0, 20.3}};
  }
  return made;
}

inline std::vector<OrderWanted> orders(int count) {
  std::vector<OrderWanted> made;
  for (int i = 0; i < count; ++i) {
    made.push_back({"O-" + std::to_string(i + 1), i % 3 == 0 ? "deep" : "pale",
                    Instant{1795600000000000}, 4.0, 0});
  }
  return made;
}

inline ShiftPlan plan(std::uint64_t seed, int vials, double hardness = 1.0) {
  ShiftPlan made;
  made.seed = seed;
  made.vials = vials;
  made.start = Instant{1795500000000000};
  made.hardness = hardness;
  return made;
}

inline Shift record(const ShiftPlan& plan) {
  return record_shift(small::plant(), book(), recipes(), orders(plan.vials), plan);
}

/// An event as it arrived.
struct Heard {
  event::Event event;
  Instant received;
  std::string line;
};

/// Every line read back; a line that cannot be read gives none, so compare the counts.
inline std::vector<Heard> heard(const Shift& shift) {
  std::vector<Heard> all;
  for (std::size_t i = 0; i < shift.lines.size(); ++i) {
    const auto read = event::parse(shift.lines[i], "shift");
    if (read) all.push_back({*read, shift.received[i], shift.lines[i]});
  }
  return all;
}

/// The data of a type about one vial, in the order of its source.
template <class Data>
std::vector<Data> about(const std::vector<Heard>& all, const std::string& serial) {
  std::map<std::uint64_t, Data> found;
  for (const Heard& one : all) {
    const auto* data = std::get_if<Data>(&one.event.data);
    if (data != nullptr && one.event.subject == serial) {
      found.emplace(static_cast<std::uint64_t>(one.event.time.us), *data);
    }
  }
  std::vector<Data> list;
  for (auto& [time, data] : found) list.push_back(data);
  return list;
}

}  // namespace vialwright::twin::small
