#include "twin/body.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

namespace vialwright::twin {
namespace {

constexpr double water_g_per_ml = 0.9982;  // Tanaka et al., Metrologia 38 (2001) 301, at 20 Cel

/// Loss of this vial now against the same in a room at 20 Cel and 50 %, half full.
double departure(const Body& body, const plant::Container& container, const Climate& air) {
  const double driving = vapour_pressure_pa(air.celsius) * (1.0 - air.humidity_percent / 100.0);
  const double usual = vapour_pressure_pa(20.0) * 0.5;
  const double full = container.brimful_ml > 0.0 ? volume_ml(body) / container.brimful_ml : 0.5;
  // Quasi-steady diffusion: the resistance is the neck's plus the air gap's, half each when the
  // vial is half full.
  const double gap = 0.5 + (1.0 - std::clamp(full, 0.0, 1.0));
  return driving / usual / gap;
}

double loss_g_per_h(const Body& body, const plant::Container& container, const World& world,
                    double t_s) {
  if (dosed_g(body) <= 0.0) return 0.0;
  if (body.capped) return container.capped_loss_g_per_h;
  const double factor = departure(body, container, world.air.at(t_s));
  return body.open_loss_g_per_h * std::max(1.0 + world.hardness * (factor - 1.0), 0.0);
}

void pale(Body& body, std::size_t component, double left) {
  body.component_mg[component] *= left;
  for (auto& lot : body.from_lot_mg) {
    if (!lot.empty()) lot[component] *= left;
  }
}

void lose(Body& body, const recipe::Book& book, double mass_g) {
  const double lost = std::min(mass_g, net_g(body));
  body.evaporated_g += lost;
  for (std::size_t k = 0; k < book.components.size(); ++k) {
    if (!book.components[k].evaporates) continue;
    body.component_mg[k] = std::max(body.component_mg[k] - 1000.0 * lost, 0.0);
  }
}

/// At hardness 0 the book's law, exp(-rate t). With it the first two days are faster and the rest
/// slower; over five days the mean is the same to one part in a hundred.
void fade(Body& body, const World& world, double t_s, double step_s) {
  if (world.fade_per_day.empty() || dosed_g(body) <= 0.0) return;
  const double age_d = (t_s - body.made_s) / 86400.0;
  const double early = 1.0 + world.hardness * (0.35 * std::exp(-age_d / 2.0) - 0.13);
  const double warm = std::exp2(world.hardness * (world.air.at(t_s).celsius - 20.0) / 10.0);
  for (std::size_t k = 0; k < body.component_mg.size(); ++k) {
    pale(body, k, std::exp(-world.fade_per_day[k] * early * warm * step_s / 86400.0));
  }
}

}  // namespace

Body draw_body(const plant::Plant& plant, const recipe::Book& book, const World& world,
               int container, std::string serial, Random& random) {
  const plant::Container& kind = plant.containers[at(container)];
  Body body;
  body.serial = std::move(serial);
  body.container = container;
  body.tare_g = kind.tare_g + world.tare_shift_g[at(container)] +
                own_part * kind.u_tare_g * random.error(world.hardness);
  body.cap_g = std::max(kind.cap_g + kind.u_cap_g * random.error(world.hardness), 0.0);
  body.inner_diameter_mm =
      kind.inner_diameter_mm + kind.u_inner_diameter_mm * random.error(world.hardness);
  body.floor_ml = kind.floor_volume_ml + kind.u_floor_volume_ml * random.error(world.hardness);
  body.open_loss_g_per_h =
      std::max(world.open_loss_g_per_h[at(container)] +
                   own_part * kind.u_open_loss_g_per_h * random.error(world.hardness),
               0.1 * kind.open_loss_g_per_h);  // no open neck is tight
  body.component_mg.assign(book.components.size(), 0.0);
  body.stock_g.assign(book.stocks.size(), 0.0);
  Random glass(world.seed, "glass of " + body.serial);
  body.glass_score = glass.error(world.hardness);
  return body;
}

double dosed_g(const Body& body) {
  return std::accumulate(body.stock_g.begin(), body.stock_g.end(), 0.0);
}

double net_g(const Body& body) { return dosed_g(body) - body.evaporated_g; }

double volume_ml(const Body& body) { return body.poured_ml - body.evaporated_g / water_g_per_ml; }

void stand(Body& body, const plant::Plant& plant, const recipe::Book& book, const World& world,
           double until_s) {
  constexpr double step_s = 900.0;  // the air changes little in a quarter of an hour
  while (body.aged_to_s < until_s) {
    const double step = std::min(until_s - body.aged_to_s, step_s);
    const double rate =
        loss_g_per_h(body, plant.containers[at(body.container)], world, body.aged_to_s);
    lose(body, book, rate * step / 3600.0);
    fade(body, world, body.aged_to_s, step);
    body.aged_to_s += step;
  }
}

void pour(Body& body, const World& world, int lot, double used, double mass_g) {
  const LotTruth& real = world.lots[at(lot)];
  if (dosed_g(body) <= 0.0) body.made_s = body.aged_to_s;
  body.stock_g[at(real.stock)] += mass_g;
  body.poured_ml += mass_g / world.density_g_per_ml[at(real.stock)];
  if (body.from_lot_mg.size() <= at(lot)) body.from_lot_mg.resize(at(lot) + 1);
  std::vector<double>& from_lot = body.from_lot_mg[at(lot)];
  from_lot.resize(body.component_mg.size(), 0.0);
  for (std::size_t k = 0; k < body.component_mg.size(); ++k) {
    const double more_mg = mass_g * strength(real, k, used);
    body.component_mg[k] += more_mg;
    from_lot[k] += more_mg;
  }
}

Curve absorbance_per_cm(const Body& body, const World& world, const std::vector<double>& share_of) {
  Curve sum;
  const double volume = volume_ml(body);
  if (!(volume > 0.0)) return sum;
  for (std::size_t l = 0; l < body.from_lot_mg.size(); ++l) {
    const double share = share_of.empty() ? 1.0 : share_of[l];
    for (std::size_t k = 0; k < body.from_lot_mg[l].size(); ++k) {
      add(sum, world.lots[l].dyes[k].absorptivity, share * body.from_lot_mg[l][k] / volume);
    }
  }
  add(sum, body.foreign_ml_per_cm, 1.0 / volume);
  return sum;
}

void bleach(Body& body, const recipe::Book& book, double share, double hardness, Random& random) {
  for (std::size_t k = 0; k < book.components.size(); ++k) {
    const double own = 1.0 + 0.15 * std::min(hardness, 1.0) * random.between(-1.0, 1.0);
    if (!book.components[k].absorptivity.nm.empty()) pale(body, k, std::pow(1.0 - share, own));
  }
}

}  // namespace vialwright::twin
