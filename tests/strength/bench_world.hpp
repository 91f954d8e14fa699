/// A calibration bench with hidden truths: two dyes, three lots, a spectrometer with its own cell.
/// Invented. Colours come from the plain model of tests/mixing, not from the engine.
#pragma once

#include <cmath>
#include <string>
#include <vector>

#include "mixing/plain.hpp"
#include "mixing/tints.hpp"
#include "strength/strength.hpp"

namespace vialwright::strength::testing {

enum Component { rose, teal };
enum Stock { base, rose_stock, teal_stock };
enum Lot { base_lot, rose_1, teal_1, teal_2 };

struct World {
  recipe::Book book;
  plant::Plant plant;
  // Hidden.
  recipe::Book truth;                         ///< whose spectra are the true ones, at scale 1
  std::vector<double> deviation;              ///< of each absorptivity
  std::vector<std::vector<double>> strength;  ///< [lot][component], mg/g
  double path = 1.0, stray = 0.0;
  std::vector<double> session;

  explicit World(double u_absorptivity = 0.02, double u_strength = 0.01) {
    add_component("rose", mixing::testing::band(54.0, 504.0, 48.0), u_absorptivity);
    add_component("teal", mixing::testing::band(163.0, 630.0, 24.0), u_absorptivity);
    for (const char* name : {"clear base", "rose", "teal"}) {
      recipe::Stock stock;
      stock.id = stock.name = name;
      book.stocks.push_back(stock);
    }
    add_lot("B-1", base, {0.0, 0.0}, 0.0);
    add_lot("R-1", rose_stock, {0.5, 0.0}, u_strength);
    add_lot("T-1", teal_stock, {0.0, 0.2}, u_strength);
    add_lot("T-2", teal_stock, {0.0, 0.2}, u_strength);
    plant::Container vial;
    vial.id = "vial";
    vial.inner_diameter_mm = 20.0;
    plant.containers.push_back(vial);
    plant::Instrument gauge;
    gauge.id = "spectrometer";
    gauge.kind = plant::InstrumentKind::colour_gauge;
    gauge.repeatability = 0.002;
    gauge.repeatability_rel = 0.002;
    gauge.colour.emplace();
    gauge.colour->gives = plant::ColourGauge::Gives::spectrum;
    gauge.colour->bands = {440.0, 680.0, 20.0};
    gauge.colour->path_cm = 1.0;
    gauge.colour->u_path_rel = 0.003;
    gauge.colour->stray_light = 0.001;
    gauge.colour->u_stray_light = 0.0005;
    gauge.colour->u_session = 0.002;
    plant.instruments.push_back(gauge);
    for (const recipe::Lot& lot : book.lots)
      strength.push_back({lot.strengths[rose].mg_per_g, lot.strengths[teal].mg_per_g});
    truth = book;
    deviation.assign(2, 0.0);
    stray = 0.001;
    session.assign(8, 0.0);
  }

  [[nodiscard]] const plant::ColourGauge& gauge() const { return *plant.instruments[0].colour; }

  /// Draws every truth from its prior.
  void draw(support::Random& random) {
    for (int k = 0; k < 2; ++k)
      deviation[index(k)] = book.components[index(k)].u_absorptivity_rel * random.normal();
    for (std::size_t lot = 0; lot < book.lots.size(); ++lot)
      for (int k = 0; k < 2; ++k) {
        const recipe::Strength& said = book.lots[lot].strengths[index(k)];
        strength[lot][index(k)] = said.mg_per_g + said.u_mg_per_g * random.normal();
      }
    path = 1.0 + gauge().u_path_rel * random.normal();
    stray = std::max(0.0, gauge().stray_light + gauge().u_stray_light * random.normal());
    for (double& each : session) each = gauge().u_session * random.normal();
  }

  /// Made by weight, each dose off by u_dose_g; read in that session.
  /// @param grams  (stocks) as weighed. @param teal_lot  teal_1 or teal_2.
  [[nodiscard]] Sample make(support::Random& random, std::vector<double> grams, double u_dose_g,
                            int teal_lot = teal_1, int in_session = 0) const {
    const std::vector<int> lots{base_lot, rose_1, teal_lot};
    Sample sample{by_weight(book, grams, lots, u_dose_g), 0, {}};
    std::vector<double> mg(2, 0.0);
    double ml = 0.0;
    for (std::size_t s = 0; s < 3; ++s) {
      if (grams[s] <= 0.0) continue;
      const double g = grams[s] + u_dose_g * random.normal();
      ml += g;  // every density is 1 g/mL
      for (std::size_t k = 0; k < 2; ++k) mg[k] += g * strength[index(lots[s])][k];
    }
    mixing::testing::Plain<double> liquid{truth, {}, path, stray};
    for (std::size_t k = 0; k < 2; ++k) liquid.amounts.push_back(mg[k] / ml * (1.0 + deviation[k]));
    std::vector<double> values = mixing::testing::shown(liquid, gauge(), 2.0);
    for (double& each : values) {
      const double noise = std::hypot(plant.instruments[0].repeatability,
                                      plant.instruments[0].repeatability_rel * each);
      each += session[index(in_session)] + noise * random.normal();
    }
    sample.seen.push_back({0, in_session, std::move(values)});
    return sample;
  }

  static std::size_t index(int i) { return static_cast<std::size_t>(i); }

 private:
  void add_component(const char* name, colour::Spectrum spectrum, double u) {
    recipe::Component component;
    component.id = component.name = name;
    component.absorptivity = std::move(spectrum);
    component.u_absorptivity_rel = u;
    book.components.push_back(component);
  }
  void add_lot(const char* id, int stock, const std::vector<double>& mg_per_g, double u_rel) {
    recipe::Lot lot;
    lot.id = id;
    lot.stock = stock;
    for (const double each : mg_per_g) lot.strengths.push_back({each, u_rel * each});
    book.lots.push_back(lot);
  }
};

/// The learned number of that kind, component and lot.
inline const Learned& the(const Lesson& lesson, Learned::Kind kind, int component, int lot = -1) {
  for (const Learned& each : lesson.learned)
    if (each.kind == kind && each.component == component && each.lot == lot) return each;
  static const Learned none;
  return none;
}

}  // namespace vialwright::strength::testing
