/// Tinted vials drawn from the estimator's own assumptions, and what colour gauges show of them:
/// written apart from src/contents and src/mixing. Everything invented.
#pragma once

#include <map>
#include <memory>

#include "contents/drawn_vial.hpp"
#include "contents/own_optics.hpp"

namespace vialwright::support {

inline colour::Spectrum bump(double peak, double centre, double width, double floor = 0.0) {
  colour::Spectrum spectrum;
  for (double nm = 380.0; nm <= 780.0; nm += 5.0) {
    spectrum.nm.push_back(nm);
    spectrum.value.push_back(peak * std::exp(-0.5 * std::pow((nm - centre) / width, 2)) + floor);
  }
  return spectrum;
}

inline recipe::Book tinted_book() {
  recipe::Book book;
  const auto component = [&](const char* id, colour::Spectrum spectrum, double u_rel, double rate) {
    recipe::Component it;
    it.id = it.name = id;
    it.absorptivity = std::move(spectrum);
    it.u_absorptivity_rel = u_rel;
    it.fade_per_day = rate;
    it.u_fade_per_day = 0.3 * rate;
    book.components.push_back(it);
  };
  component("water", {}, 0.0, 0.0);
  book.components[0].evaporates = true;
  component("yellow", bump(36.0, 430.0, 40.0, 0.4), 0.005, 0.002);
  component("rose", bump(40.0, 515.0, 38.0, 0.3), 0.008, 0.01);
  component("teal", bump(70.0, 630.0, 35.0, 0.5), 0.005, 0.0);
  component("salt", {}, 0.0, 0.0);
  const char* const ids[] = {"base", "yellow", "rose", "teal", "salt"};
  for (int s = 0; s < 5; ++s) {
    recipe::Stock stock;
    stock.id = stock.name = ids[s];
    stock.density_g_per_ml = s == 4 ? 1.1 : 1.0 + 0.004 * s;
    stock.u_density_g_per_ml = s == 0 ? 0.0005 : 0.0;
    book.stocks.push_back(stock);
    recipe::Lot lot;
    lot.id = "L" + std::to_string(s);
    lot.stock = s;
    lot.strengths.assign(5, {0.0, 0.0});
    lot.strengths[0] = {s == 4 ? 700.0 : 995.0, 0.0};
    if (s > 0) lot.strengths[z(s)] = {s == 4 ? 300.0 : 0.5, s == 4 ? 1.0 : 0.005};
    book.lots.push_back(lot);
  }
  return book;
}

/// Instruments: 0 bench scale; 1 to 5 a meter for each stock; then these.
enum Looking { through_vial = 6, in_cell = 7, as_lab = 8, as_camera = 9 };

inline plant::Instrument looking(const char* id, plant::ColourGauge::Gives gives, double noise,
                                 double u_session) {
  plant::Instrument it = instrument(id, plant::InstrumentKind::colour_gauge, noise, 0.0);
  plant::ColourGauge gauge;
  gauge.gives = gives;
  gauge.u_session = u_session;
  it.colour = gauge;
  return it;
}

inline std::vector<plant::Instrument> tinted_gauges() {
  using Gives = plant::ColourGauge::Gives;
  plant::Instrument vial = looking("spectrum through the vial", Gives::spectrum, 0.002, 0.002);
  vial.colour->stray_light = 0.001;
  vial.colour->u_stray_light = 0.0005;
  vial.resolution = 0.001;
  plant::Instrument cell = looking("spectrum in a cell", Gives::spectrum, 0.002, 0.001);
  cell.colour->absorbance = false;
  cell.colour->path_cm = 1.0;
  cell.colour->u_path_rel = 0.005;
  cell.colour->bands = {380.0, 730.0, 10.0};
  plant::Instrument lab = looking("hand-held", Gives::lab, 0.3, 0.3);
  lab.colour->axis_correlation = 0.5;
  plant::Instrument camera = looking("camera", Gives::channels, 0.004, 0.004);
  camera.colour->axis_correlation = 0.3;
  camera.colour->channels = {bump(1.0, 450.0, 30.0), bump(1.0, 540.0, 35.0),
                             bump(1.0, 610.0, 30.0)};
  return {vial, cell, lab, camera};
}

inline plant::Plant tinted_plant() {
  plant::Plant plant = drawn_plant();
  plant.containers[0].open_loss_g_per_h = 0.009;
  plant.containers[0].u_open_loss_g_per_h = 0.002;
  plant.instruments = {instrument("bench", plant::InstrumentKind::scale, 0.0008, 0.001)};
  plant.instruments[0].u_offset = 0.003;
  for (int s = 0; s < 5; ++s) {
    plant::Instrument meter = instrument("meter", plant::InstrumentKind::mass_meter, 0.002, 0.0);
    meter.repeatability_rel = 0.003;
    meter.u_gain = 0.003;
    plant.instruments.push_back(meter);
  }
  for (const plant::Instrument& it : tinted_gauges()) plant.instruments.push_back(it);
  return plant;
}

/// A drawn vial with the places of what its colours hang on.
struct TintedVial : DrawnVial {
  std::vector<int> deviation, fade;         ///< per component
  int path = -1;                            ///< of the vial, in standard deviations
  std::map<int, int> own_path, stray;       ///< per gauge
  std::map<std::pair<int, int>, int> bias;  ///< (gauge, session): the first of its values
  std::map<int, std::shared_ptr<const Optics>> optics;
};

inline int biases_of(const plant::ColourGauge& gauge) {
  if (gauge.gives == plant::ColourGauge::Gives::spectrum) return 1;
  return gauge.gives == plant::ColourGauge::Gives::lab ? 3
                                                       : static_cast<int>(gauge.channels.size());
}

inline const plant::ColourGauge& gauge_of(const DrawnVial& vial, int instrument) {
  return *vial.plant.instruments[z(instrument)].colour;
}

inline double share_left(const TintedVial& vial, int component, double days,
                         const std::vector<double>& x) {
  return std::exp(-x[z(vial.fade[z(component)])] * std::max(0.0, days));
}

/// mg of each component, then mL, of the first doses after some time.
inline Eigen::VectorXd liquid(const TintedVial& vial, int after, double open_s, double days,
                              const std::vector<double>& x) {
  const int components = static_cast<int>(vial.book.components.size());
  Eigen::VectorXd all = Eigen::VectorXd::Zero(components + 1);
  for (int d = 0; d < after; ++d) {
    const contents::Dose& dose = vial.evidence.doses[z(d)];
    const double grams = x[z(vial.places.dose[z(d)])];
    for (int k = 0; k < components; ++k)
      all[k] += grams * x[z(vial.places.strength[z(dose.lot * components + k)])] *
                share_left(vial, k, days - dose.days, x);
    all[components] += grams / x[z(vial.places.density[z(dose.stock)])];
  }
  const double lost = x[z(vial.places.rate)] * open_s / 3600.0;
  all[0] -= 1000.0 * lost;
  all[components] -= lost / vial.book.stocks[0].density_g_per_ml;
  return all;
}

/// What a colour gauge shows, noise apart.
inline Eigen::VectorXd colour_shown(const TintedVial& vial, const contents::Reading& reading,
                                    const std::vector<double>& x,
                                    const Eigen::VectorXd& extra = {}) {
  const int gauge = reading.instrument;
  const int components = static_cast<int>(vial.book.components.size());
  const Eigen::VectorXd held = liquid(vial, reading.after_doses, reading.open_s, reading.days, x);
  Eigen::VectorXd mg_per_ml = held.head(components) / held[components];
  for (int k = 0; k < components; ++k) mg_per_ml[k] *= 1.0 + x[z(vial.deviation[z(k)])];
  const bool own = gauge_of(vial, gauge).path_cm > 0.0;
  const double factor =
      1.0 + gauge_of(vial, gauge).u_path_rel * x[z(own ? vial.own_path.at(gauge) : vial.path)];
  Eigen::VectorXd shown =
      vial.optics.at(gauge)->show(mg_per_ml, factor, x[z(vial.stray.at(gauge))], extra);
  const int first = vial.bias.at({gauge, reading.session});
  const int biases = biases_of(gauge_of(vial, gauge));
  for (Eigen::Index v = 0; v < shown.size(); ++v)
    shown[v] += x[z(first + (biases == 1 ? 0 : static_cast<int>(v)))];
  return shown;
}

/// Symmetric square root of the inverse covariance of a gauge's noise, applied.
inline Eigen::VectorXd whitened(const DrawnVial& vial, int instrument, Eigen::VectorXd off) {
  const plant::Instrument& it = vial.plant.instruments[z(instrument)];
  const double own = it.resolution * it.resolution / 12.0;
  const double shared = it.repeatability * it.repeatability;
  const double rho = it.colour->axis_correlation, count = static_cast<double>(off.size());
  const double mean = off.mean();
  const double along = own + shared * (1.0 + (count - 1.0) * rho),
               across = own + shared * (1.0 - rho);
  return ((off.array() - mean) / std::sqrt(across) + mean / std::sqrt(along)).matrix();
}

inline void plan_tints(TintedVial& vial, Random& random) {
  const double asked[] = {19.0, 0.4, 0.3, 0.25, 0.3};
  for (int s = 0; s < 5; ++s) {
    if (s > 0 && random.uniform() < 0.25) continue;
    double grams = asked[s] * random.uniform(0.6, 1.2);
    if (s > 0 && random.below(10) == 0) grams = random.uniform(0.0, 0.02);
    vial.evidence.doses.push_back({s, s, 0, grams, false, s == 0 ? 0.0 : random.uniform(0.0, 0.1)});
  }
}

inline void look_at(TintedVial& vial, int gauge, int session, double open_s, double days) {
  contents::Reading reading;
  reading.kind = ReadingKind::colour;
  reading.instrument = gauge;
  reading.after_doses = static_cast<int>(vial.evidence.doses.size());
  reading.session = session;
  reading.open_s = open_s;
  reading.days = days;
  vial.evidence.readings.push_back(reading);
}

/// Tare, gross, most meters; one or two gauges, now and then twice.
inline void plan_looks(TintedVial& vial, Random& random, int only_gauge) {
  const int doses = static_cast<int>(vial.evidence.doses.size());
  if (random.below(8) > 0) read_vial(vial, ReadingKind::tare, 0, 0, 0.0, 1.2);
  for (int d = 0; d < doses; ++d)
    if (random.below(5) > 0)
      read_dose(vial, d, 1 + vial.evidence.doses[z(d)].stock, ReadingKind::dose, 0.0);
  const double open = random.uniform(0.0, 20000.0), days = random.uniform(0.2, 5.0);
  if (random.below(8) > 0) read_vial(vial, ReadingKind::gross, 0, doses, open, 1.2);
  const int first = only_gauge > 0 ? only_gauge : 6 + random.below(4);
  look_at(vial, first, 0, open, days);
  if (only_gauge == 0 && random.below(3) == 0)
    look_at(vial, first, random.below(2), open, days + 1.0);
  if (only_gauge == 0 && random.below(3) == 0) look_at(vial, 6 + (first - 5) % 4, 0, open, days);
  vial.evidence.open_s = 1.5 * open;
  vial.evidence.days = days + 2.0;
}

/// @pre  name_hidden has been called.
inline void name_tints(TintedVial& vial) {
  for (const recipe::Component& it : vial.book.components) {
    vial.deviation.push_back(hide(vial, 0.0, it.u_absorptivity_rel));
    vial.fade.push_back(hide(vial, it.fade_per_day, it.u_fade_per_day, true));
  }
  vial.path = hide(vial, 0.0, 1.0);
  for (const contents::Reading& reading : vial.evidence.readings) {
    if (reading.kind != ReadingKind::colour) continue;
    const plant::ColourGauge& gauge = gauge_of(vial, reading.instrument);
    if (!vial.stray.contains(reading.instrument)) {
      vial.stray[reading.instrument] = hide(vial, gauge.stray_light, gauge.u_stray_light, true);
      if (gauge.path_cm > 0.0) vial.own_path[reading.instrument] = hide(vial, 0.0, 1.0);
    }
    const std::pair session(reading.instrument, reading.session);
    if (vial.bias.contains(session)) continue;
    vial.bias[session] = hide(vial, 0.0, gauge.u_session);
    for (int v = 1; v < biases_of(gauge); ++v) hide(vial, 0.0, gauge.u_session);
  }
}

inline void read_colour(TintedVial& vial, contents::Reading& reading, Random& random,
                        const Eigen::VectorXd& extra = {}) {
  const plant::Instrument& it = vial.plant.instruments[z(reading.instrument)];
  const Eigen::VectorXd shown = colour_shown(vial, reading, vial.truth, extra);
  const double rho = it.colour->axis_correlation, shared = random.normal();
  reading.values.clear();
  for (Eigen::Index v = 0; v < shown.size(); ++v) {
    const double noise = std::sqrt(rho) * shared + std::sqrt(1.0 - rho) * random.normal();
    reading.values.push_back(rounded(shown[v] + it.repeatability * noise, it.resolution));
  }
}

inline void read_tints(TintedVial& vial, Random& random, const Eigen::VectorXd& extra = {}) {
  for (contents::Reading& reading : vial.evidence.readings) {
    if (reading.kind == ReadingKind::colour) {
      read_colour(vial, reading, random, extra);
      continue;
    }
    const double truth = true_value(vial, reading, vial.truth);
    const double step = vial.plant.instruments[z(reading.instrument)].resolution;
    const double sd = std::sqrt(noise_variance(vial, reading, truth));
    reading.value = rounded(shows(vial, reading, vial.truth) + sd * random.normal(), step);
  }
}

/// Line, book and optics, made once.
struct TintedLine {
  plant::Plant plant = tinted_plant();
  recipe::Book book = tinted_book();
  std::map<int, std::shared_ptr<const Optics>> optics;
  TintedLine() {
    for (int i = through_vial; i <= as_camera; ++i)
      optics[i] = std::make_shared<Optics>(
          own_optics(book, *plant.instruments[z(i)].colour, plant.containers[0].inner_diameter_mm));
  }
};
inline const TintedLine& tinted_line() {
  static const TintedLine line;
  return line;
}

/// @param only_gauge  0 = any.
inline TintedVial tinted_vial(Random& random, int only_gauge = 0) {
  TintedVial vial;
  vial.plant = tinted_line().plant;
  vial.book = tinted_line().book;
  vial.optics = tinted_line().optics;
  plan_tints(vial, random);
  plan_looks(vial, random, only_gauge);
  name_hidden(vial);
  name_tints(vial);
  draw_truth(vial, random);
  read_tints(vial, random);
  return vial;
}

/// Component masses (mg), stock masses (g), net (g), volume (mL), at the moment of the belief.
inline std::vector<double> holds_then(const TintedVial& vial, const std::vector<double>& x) {
  const int components = static_cast<int>(vial.book.components.size());
  std::vector<double> all = holds(vial, x);
  const Eigen::VectorXd held = liquid(vial, static_cast<int>(vial.evidence.doses.size()),
                                      vial.evidence.open_s, vial.evidence.days, x);
  for (int k = 0; k < components; ++k) all[z(k)] = held[k];
  return all;
}

}  // namespace vialwright::support
