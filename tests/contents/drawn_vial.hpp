/// Vials drawn from the estimator's own assumptions, and what a reading of one shows: written apart
/// from src/contents, from the definitions in plant.hpp, so that the two check each other. Each
/// vial is a world of its own: every hidden error and every lot is drawn afresh.
#pragma once

#include <cmath>
#include <numbers>
#include <vector>

#include "contents/contents.hpp"
#include "support/random.hpp"

namespace vialwright::support {

using contents::Evidence;
using contents::ReadingKind;

/// One hidden number with its prior.
struct Hidden {
  double mean = 0.0, u = 0.0;
  bool positive = false;  ///< cut off at zero
};

/// Where each hidden number stands in a vector of all of them; -1 = there is none.
struct Places {
  std::vector<int> dose, density, gain, offset, zero, strength;  ///< strength: lot * K + component
  int tare = -1, cap = -1, rate = -1, diameter = -1, floor = -1;
};

struct DrawnVial {
  plant::Plant plant;
  recipe::Book book;
  Evidence evidence;
  std::vector<Hidden> hidden;
  Places places;
  std::vector<double> truth;  ///< beside `hidden`
};

inline std::size_t z(int i) { return static_cast<std::size_t>(i); }

// ---- the line: invented, sizes as in small-batch dosing (common practice) --------------------

inline plant::Instrument instrument(const char* id, plant::InstrumentKind kind, double noise,
                                    double resolution) {
  plant::Instrument it;
  it.id = id;
  it.kind = kind;
  it.repeatability = noise;
  it.resolution = resolution;
  return it;
}

/// 0 bench scale, 1 line scale, 2-5 meters (3 by volume), 6 the pulse output of meter 2,
/// 7 tank scale, 8 volume gauge, 9 level gauge.
inline std::vector<plant::Instrument> drawn_instruments() {
  using enum plant::InstrumentKind;
  std::vector<plant::Instrument> all = {
      instrument("bench", scale, 0.0008, 0.001),    instrument("line", scale, 0.005, 0.01),
      instrument("meter 1", mass_meter, 0.002, 0),  instrument("meter 2", volume_meter, 0.003, 0),
      instrument("meter 3", mass_meter, 0.001, 0),  instrument("meter 4", mass_meter, 0.002, 0.001),
      instrument("pulse 1", mass_meter, 0.0015, 0), instrument("tank", tank_scale, 0.3, 0.1),
      instrument("gauge", volume_gauge, 0.08, 0),   instrument("level", level_gauge, 0.3, 0.05)};
  for (plant::Instrument& it : all) {
    it.u_gain = plant::is_meter(it.kind) ? 0.003 : 0.0002;
    it.u_offset = it.kind == scale ? 0.003 : it.kind == level_gauge ? 0.2 : 0.0005;
    if (plant::is_meter(it.kind)) it.u_zero_rate = 0.0014;  // 5 g/h
    if (plant::is_meter(it.kind)) it.repeatability_rel = 0.003;
  }
  all[0].offset = 0.004;
  all[3].gain = -0.01;
  all[2].same_source = all[6].same_source = "flow tube 1";
  return all;
}

inline plant::Plant drawn_plant() {
  plant::Plant plant;
  plant.instruments = drawn_instruments();
  plant::Station station;
  station.id = "doser";
  station.least_dose_g = 0.02;
  station.spread_g = 0.006;
  station.spread_rel = 0.005;
  plant.stations = {station};
  plant::Container vial;
  vial.id = "vial";
  vial.tare_g = 14.8;
  vial.u_tare_g = 0.15;
  vial.cap_g = 1.1;
  vial.u_cap_g = 0.02;
  vial.brimful_ml = 26.0;
  vial.largest_fill_ml = 24.0;
  vial.inner_diameter_mm = 20.0;
  vial.u_inner_diameter_mm = 0.1;
  vial.floor_volume_ml = 0.3;
  vial.u_floor_volume_ml = 0.05;
  vial.open_loss_g_per_h = 0.009;
  vial.u_open_loss_g_per_h = 0.005;
  plant.containers = {vial};
  return plant;
}

inline recipe::Book drawn_book() {
  recipe::Book book;
  book.components = {
      {"water", "water", true}, {"dye a", "dye a", false}, {"dye b", "dye b", false}};
  for (int s = 0; s < 4; ++s) {
    recipe::Stock stock;
    stock.id = "stock " + std::to_string(s);
    stock.density_g_per_ml = 1.0 + 0.05 * s;
    stock.u_density_g_per_ml = s % 2 == 0 ? 0.002 : 0.0;
    book.stocks.push_back(stock);
  }
  book.lots = {{"L0", 0, {{999.0, 0.0}, {0.0, 0.0}, {0.0, 0.0}}, {}},
               {"L1", 1, {{990.0, 1.0}, {0.5, 0.005}, {0.0, 0.0}}, {}},
               {"L2", 2, {{985.0, 1.0}, {0.1, 0.002}, {0.2, 0.002}}, {}},
               {"L3", 3, {{900.0, 2.0}, {0.0, 0.0}, {1.0, 0.01}}, {}}};
  return book;
}

// ---- one vial ------------------------------------------------------------------------------

inline int hide(DrawnVial& vial, double mean, double u, bool positive = false) {
  vial.hidden.push_back({mean, u, positive});
  return static_cast<int>(vial.hidden.size()) - 1;
}

inline void draw_truth(DrawnVial& vial, Random& random) {
  for (const Hidden& it : vial.hidden) {
    double value = it.mean + it.u * random.normal();
    while (it.positive && value < 0.0) value = it.mean + it.u * random.normal();
    vial.truth.push_back(value);
  }
}

/// Doses of 1 to 4 stocks; now and then one so small that it may come to nothing.
inline void plan_doses(DrawnVial& vial, Random& random) {
  const double asked[] = {19.0, 0.4, 0.3, 0.5};
  const int count = 2 + random.below(3);
  for (int d = 0; d < count; ++d) {
    double grams = asked[d] * random.uniform(0.6, 1.1);
    if (d > 0 && random.below(4) == 0) grams = random.uniform(0.0, 0.02);
    vial.evidence.doses.push_back({d, d, 0, grams, false});
  }
}

inline void read_dose(DrawnVial& vial, int dose, int instrument, ReadingKind kind, double seconds) {
  contents::Reading reading;
  reading.kind = kind;
  reading.instrument = instrument;
  reading.dose = dose;
  reading.counting_s = seconds;
  vial.evidence.readings.push_back(reading);
}

inline void read_vial(DrawnVial& vial, ReadingKind kind, int instrument, int after, double open_s,
                      double air) {
  contents::Reading reading;
  reading.kind = kind;
  reading.instrument = instrument;
  reading.after_doses = after;
  reading.open_s = open_s;
  reading.air_kg_per_m3 = air;
  vial.evidence.readings.push_back(reading);
}

inline void plan_readings(DrawnVial& vial, Random& random) {
  const int doses = static_cast<int>(vial.evidence.doses.size());
  const int meters[] = {2, 3, 4, 5};
  const double air = random.uniform(1.15, 1.22);
  const int scale = random.below(2);
  if (random.below(8) > 0) read_vial(vial, ReadingKind::tare, scale, 0, 0.0, air);
  for (int d = 0; d < doses; ++d) {
    if (random.below(6) > 0) read_dose(vial, d, meters[d], ReadingKind::dose, 2.0 + d);
    if (d == 0 && random.below(2) == 0) read_dose(vial, d, 6, ReadingKind::dose, 2.0);
    if (random.below(5) == 0) read_dose(vial, d, 7, ReadingKind::tank_loss, 0.0);
  }
  const double open = random.uniform(0.0, 36000.0);
  const int other = random.below(3) == 0 ? 1 - scale : scale;
  if (random.below(8) > 0) read_vial(vial, ReadingKind::gross, other, doses, open, air + 0.01);
  if (random.below(4) == 0) {
    read_vial(vial, ReadingKind::gross, 0, doses, 1.5 * open, air);
    vial.evidence.readings.back().capped = true;
  }
  if (random.below(4) == 0) read_vial(vial, ReadingKind::volume, 8, doses, open, air);
  if (random.below(4) == 0) read_vial(vial, ReadingKind::level, 9, doses, open, air);
  vial.evidence.open_s = 2.0 * open;
}

inline int place_of_source(const DrawnVial& vial, int instrument) {
  const auto& all = vial.plant.instruments;
  for (int i = 0; i < instrument; ++i)
    if (!all[z(i)].same_source.empty() && all[z(i)].same_source == all[z(instrument)].same_source)
      return i;
  return instrument;
}

inline void name_hidden(DrawnVial& vial) {
  Places& at = vial.places;
  const plant::Container& glass = vial.plant.containers[0];
  const plant::Station& station = vial.plant.stations[0];
  for (const auto& dose : vial.evidence.doses)
    at.dose.push_back(hide(vial, *dose.commanded_g,
                           std::hypot(station.spread_g, station.spread_rel * *dose.commanded_g),
                           true));
  at.tare = hide(vial, glass.tare_g, glass.u_tare_g);
  at.cap = hide(vial, glass.cap_g, glass.u_cap_g);
  at.rate = hide(vial, glass.open_loss_g_per_h, glass.u_open_loss_g_per_h, true);
  at.diameter = hide(vial, glass.inner_diameter_mm, glass.u_inner_diameter_mm);
  at.floor = hide(vial, glass.floor_volume_ml, glass.u_floor_volume_ml);
  for (const auto& stock : vial.book.stocks)
    at.density.push_back(hide(vial, stock.density_g_per_ml, stock.u_density_g_per_ml));
  for (int i = 0; i < static_cast<int>(vial.plant.instruments.size()); ++i) {
    const plant::Instrument& it = vial.plant.instruments[z(i)];
    const int source = place_of_source(vial, i);
    const bool first = source == i;
    at.gain.push_back(first ? hide(vial, it.gain, it.u_gain) : at.gain[z(source)]);
    at.offset.push_back(first ? hide(vial, it.offset, it.u_offset) : at.offset[z(source)]);
    at.zero.push_back(first ? hide(vial, 0.0, it.u_zero_rate) : at.zero[z(source)]);
  }
  for (const auto& lot : vial.book.lots)
    for (const auto& it : lot.strengths)
      at.strength.push_back(hide(vial, it.mg_per_g, it.u_mg_per_g));
}

// ---- what a reading shows, and what the vial holds -------------------------------------------

/// Weights of 8000 kg/m3 balance the pull on the body less the air that it pushes away.
inline double on_balance(double grams, double air, double g_per_ml) {
  return (grams - air * grams / (1000.0 * g_per_ml)) / (1.0 - air / 8000.0);
}

inline double true_value(const DrawnVial& vial, const contents::Reading& reading,
                         const std::vector<double>& x) {
  const Places& at = vial.places;
  const double air = reading.air_kg_per_m3;
  if (reading.kind == ReadingKind::dose || reading.kind == ReadingKind::tank_loss) {
    const int stock = vial.evidence.doses[z(reading.dose)].stock;
    const double grams = x[z(at.dose[z(reading.dose)])], density = x[z(at.density[z(stock)])];
    if (reading.kind == ReadingKind::tank_loss) return on_balance(grams, air, density);
    return vial.plant.instruments[z(reading.instrument)].kind == plant::InstrumentKind::volume_meter
               ? grams / density
               : grams;
  }
  // What evaporates is water: all of these vials have stock 0 in them, which is nearly all water.
  const double lost = x[z(at.rate)] * reading.open_s / 3600.0;
  const double water = vial.book.stocks[0].density_g_per_ml;
  double ml = -lost / water, grams = -on_balance(lost, air, water);
  for (int d = 0; d < reading.after_doses; ++d) {
    const double density = x[z(at.density[z(vial.evidence.doses[z(d)].stock)])];
    ml += x[z(at.dose[z(d)])] / density;
    grams += on_balance(x[z(at.dose[z(d)])], air, density);
  }
  if (reading.kind == ReadingKind::volume) return ml;
  if (reading.kind == ReadingKind::level) {
    const double radius_cm = x[z(at.diameter)] / 20.0;
    return 10.0 * (ml - x[z(at.floor)]) / (std::numbers::pi * radius_cm * radius_cm);
  }
  const double glass = x[z(at.tare)] + (reading.capped ? x[z(at.cap)] : 0.0);
  return grams + on_balance(glass, air, vial.plant.containers[0].density_g_per_ml);
}

/// What the instrument shows but for noise.
inline double shows(const DrawnVial& vial, const contents::Reading& reading,
                    const std::vector<double>& x) {
  const Places& at = vial.places;
  const bool differenced = reading.kind == ReadingKind::tank_loss;
  return true_value(vial, reading, x) * (1.0 + x[z(at.gain[z(reading.instrument)])]) +
         (differenced ? 0.0 : x[z(at.offset[z(reading.instrument)])]) +
         x[z(at.zero[z(reading.instrument)])] * reading.counting_s;
}

/// Variance of the noise, rounding apart, of a reading whose true value is that.
inline double noise_variance(const DrawnVial& vial, const contents::Reading& reading,
                             double truth) {
  const plant::Instrument& it = vial.plant.instruments[z(reading.instrument)];
  const double times = reading.kind == ReadingKind::tank_loss ? 2.0 : 1.0;
  return times * it.repeatability * it.repeatability + std::pow(it.repeatability_rel * truth, 2);
}
inline double rounding_variance(const DrawnVial& vial, const contents::Reading& reading) {
  const double step = vial.plant.instruments[z(reading.instrument)].resolution;
  return (reading.kind == ReadingKind::tank_loss ? 2.0 : 1.0) * step * step / 12.0;
}

inline double rounded(double value, double step) {
  return step > 0.0 ? step * std::round(value / step) : value;
}

inline void read_all(DrawnVial& vial, Random& random) {
  for (contents::Reading& reading : vial.evidence.readings) {
    const double truth = true_value(vial, reading, vial.truth);
    const double step = vial.plant.instruments[z(reading.instrument)].resolution;
    const double sd = std::sqrt(noise_variance(vial, reading, truth));
    double value = shows(vial, reading, vial.truth) + sd * random.normal();
    // A tank loss is the difference of two rounded readings; the first stands somewhere in a step.
    const double start = reading.kind == ReadingKind::tank_loss ? random.uniform(0.0, step) : 0.0;
    value = rounded(start + value, step) - rounded(start, step);
    reading.value = value;
  }
}

inline DrawnVial drawn_vial(Random& random) {
  DrawnVial vial;
  vial.plant = drawn_plant();
  vial.book = drawn_book();
  plan_doses(vial, random);
  plan_readings(vial, random);
  name_hidden(vial);
  draw_truth(vial, random);
  read_all(vial, random);
  return vial;
}

/// Component masses (mg), stock masses (g), net mass (g), volume (mL): the axes of a belief.
inline std::vector<double> holds(const DrawnVial& vial, const std::vector<double>& x) {
  const Places& at = vial.places;
  const int components = static_cast<int>(vial.book.components.size());
  const int stocks = static_cast<int>(vial.book.stocks.size());
  std::vector<double> all(z(components + stocks + 2), 0.0);
  const double lost = x[z(at.rate)] * vial.evidence.open_s / 3600.0;
  all[0] -= 1000.0 * lost;
  all[z(components + stocks)] -= lost;
  all[z(components + stocks + 1)] -= lost / vial.book.stocks[0].density_g_per_ml;
  for (std::size_t d = 0; d < vial.evidence.doses.size(); ++d) {
    const auto& dose = vial.evidence.doses[d];
    const double grams = x[z(at.dose[d])];
    for (int k = 0; k < components; ++k)
      all[z(k)] += grams * x[z(at.strength[z(dose.lot * components + k)])];
    all[z(components + dose.stock)] += grams;
    all[z(components + stocks)] += grams;
    all[z(components + stocks + 1)] += grams / x[z(at.density[z(dose.stock)])];
  }
  return all;
}

}  // namespace vialwright::support
