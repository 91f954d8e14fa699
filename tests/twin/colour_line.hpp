/// A coloured line of the tests' own: three dyes in clear base, a camera on the line, a
/// spectrometer on the bench. Dyes, strengths, density and the green are an invented demo system
/// whose colour was worked out apart from this project.
#pragma once

#include <cmath>

#include "twin/small_line.hpp"

namespace vialwright::twin::coloured {

enum : int { eye = 3, bench = 4 };

/// mL/(mg cm); the peaks are those of purity limits of food dyes in Commission Regulation (EU)
/// 231/2012 (530, 540 and 1630 for 1 % and 1 cm; from memory), the band shapes are invented.
inline colour::Spectrum gaussian(double peak, double centre_nm, double width_nm) {
  colour::Spectrum made;
  for (double nm = 350.0; nm <= 800.0; nm += 1.0) {
    made.nm.push_back(nm);
    made.value.push_back(peak * std::exp(-0.5 * std::pow((nm - centre_nm) / width_nm, 2)));
  }
  return made;
}

inline recipe::Component dye(const char* id, colour::Spectrum absorptivity, double u_rel) {
  recipe::Component made;
  made.id = id;
  made.absorptivity = std::move(absorptivity);
  made.u_absorptivity_rel = u_rel;
  return made;
}

/// @param u_rel  of absorptivities and strengths.
inline recipe::Book book(double u_rel = 0.01) {
  recipe::Book made;
  made.components = {dye("yellow", gaussian(53.0, 426.0, 45.0), u_rel),
                     dye("rose", gaussian(54.0, 504.0, 48.0), u_rel),
                     dye("blue", gaussian(163.0, 630.0, 24.0), u_rel)};
  for (const char* id : {"clear", "yellow", "rose", "blue"}) {
    recipe::Stock stock;
    stock.id = id;
    stock.density_g_per_ml = 1.0;
    made.stocks.push_back(stock);
  }
  made.lots = {{"C-1", 0, std::vector<recipe::Strength>(3), {}}};
  const double strength[] = {0.5, 0.5, 0.2};
  for (int k = 0; k < 3; ++k) {
    recipe::Lot lot{std::string("D-") + std::to_string(k + 1), k + 1, {}, {}};
    lot.strengths.resize(3);
    lot.strengths[static_cast<std::size_t>(k)] = {strength[k], u_rel * strength[k]};
    made.lots.push_back(lot);
    made.may_meet.push_back({0, k + 1});
  }
  made.may_meet.insert(made.may_meet.end(), {{1, 2}, {1, 3}, {2, 3}});
  return made;
}

inline plant::Instrument gauge(const char* id, plant::ColourGauge colour, double repeatability) {
  plant::Instrument made;
  made.id = id;
  made.kind = plant::InstrumentKind::colour_gauge;
  made.repeatability = repeatability;
  made.colour = std::move(colour);
  return made;
}

/// Both gauges without any doubt unless it is put in.
inline plant::Plant plant() {
  using enum plant::InstrumentKind;
  plant::Plant made;
  made.instruments = {small::instrument("empties", scale, 0.001, 0.001, 0.002, 1e-5),
                      small::instrument("fulls", scale, 0.004, 0.005, 0.004, 2e-5),
                      small::instrument("room", climate, 0.0, 0.0, 0.0, 0.0)};
  plant::ColourGauge camera, spectrometer;
  camera.u_path_rel = spectrometer.u_path_rel = 0.0;
  spectrometer.gives = plant::ColourGauge::Gives::spectrum;
  spectrometer.path_cm = 1.0;
  made.instruments.push_back(gauge("eye", camera, 0.0));
  made.instruments.push_back(gauge("bench", spectrometer, 0.0));
  for (const char* stock : {"clear", "yellow", "rose", "blue"}) {
    made.stations.push_back(small::station(stock, stock, {}, "", 24.0));
  }
  made.containers = small::plant().containers;
  made.containers[0].u_inner_diameter_mm = 0.0;
  return made;
}

/// 0.0080 mg/g of yellow and 0.0030 mg/g of blue, and its colour in 2 cm by sums at 5 nm.
inline recipe::Recipe green() {
  using enum recipe::ToleranceOn;
  recipe::Recipe made;
  made.id = "green";
  made.container = "vial";
  made.stocks = {0, 1, 2, 3};
  made.tolerances = {{content, 0, 0.00776, 0.0080, 0.00824},
                     {content, 2, 0.00291, 0.0030, 0.00309},
                     {colour, 0, -recipe::no_limit, 0.0, 1.0},
                     {net_mass, -1, 19.7, 20.0, 20.3}};
  recipe::ColourTarget seen;
  seen.lab = {86.8968, -56.6516, 50.7868};
  seen.path_cm = 2.0;
  made.colours = {seen};
  return made;
}

/// 0.32 g of yellow, 0.3 g of blue and clear base to 20 g: exactly the green.
inline std::vector<Told> doses() {
  return {{"clear", "clear", 19.38}, {"yellow", "yellow", 0.32}, {"blue", "blue", 0.30}};
}

/// The small line with a camera, its tint yellow.
inline plant::Plant looked_at() {
  plant::Plant made = small::plant();
  made.instruments.push_back(gauge("eye", {}, 0.3));
  return made;
}
inline recipe::Book tinted() {
  recipe::Book made = small::book();
  made.components[0].absorptivity = gaussian(53.0, 426.0, 45.0);
  made.components[0].u_absorptivity_rel = 0.01;
  return made;
}

}  // namespace vialwright::twin::coloured
