#include "twin/weighing.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "twin/dosing.hpp"

namespace vialwright::twin {
namespace {

constexpr double weights_kg_per_m3 = 8000.0;  // OIML R 111, conventional
constexpr double plastic_kg_per_m3 = 950.0;   // of a cap

double lifted(double mass_g, double air, double density) { return mass_g * (1.0 - air / density); }

double apparent_g(const Body& body, const plant::Container& container, double air,
                  double hardness) {
  const double glass = container.density_g_per_ml * 1000.0;
  double sum = lifted(body.tare_g, air, glass);
  if (body.capped) sum += lifted(body.cap_g, air, hardness > 0.0 ? plastic_kg_per_m3 : glass);
  const double net = net_g(body);
  if (net > 0.0) sum += lifted(net, air, 1000.0 * net / volume_ml(body));
  return sum / (1.0 - air / weights_kg_per_m3);
}

/// y = x (1 + gain) + offset + noise, rounded. A part of the repeatability is where on the pan the
/// vial stands: that has edges, not tails.
double seen(double value, const plant::Instrument& kind, const InstrumentTruth& truth,
            double hardness, double drift, Random& random) {
  constexpr double place_share = 0.4;
  const double sd = std::hypot(kind.repeatability, kind.repeatability_rel * value);
  const double placed = hardness * place_share * std::numbers::sqrt3 * random.between(-1.0, 1.0);
  const double rest =
      std::sqrt(std::max(1.0 - hardness * hardness * place_share * place_share, 0.0));
  const double noise = placed + rest * random.error(hardness);
  return rounded(value * (1.0 + truth.gain) + truth.offset + drift + sd * noise, kind.resolution);
}

}  // namespace

double weighed(int instrument, const plant::Plant& plant, const Body& body, const World& world,
               double t_s, Random& random) {
  const InstrumentTruth& truth = world.instruments[at(instrument)];
  const double air = density_of(world.air.at(t_s));
  const double apparent =
      apparent_g(body, plant.containers[at(body.container)], air, world.hardness);
  return seen(apparent, plant.instruments[at(instrument)], truth, world.hardness,
              truth.drift.at(t_s), random);
}

double tank_weighed(int instrument, const plant::Plant& plant, double mass_g, const World& world,
                    double t_s, Random& random) {
  const InstrumentTruth& truth = world.instruments[at(instrument)];
  return seen(mass_g, plant.instruments[at(instrument)], truth, world.hardness, truth.drift.at(t_s),
              random);
}

double level(int instrument, const plant::Plant& plant, const Body& body, const World& world,
             Random& random) {
  const double area_mm2 = std::numbers::pi / 4.0 * body.inner_diameter_mm * body.inner_diameter_mm;
  const plant::Instrument& kind = plant.instruments[at(instrument)];
  const double meniscus = 0.3 * world.hardness * kind.repeatability;
  const double height = (volume_ml(body) - body.floor_ml) * 1000.0 / area_mm2 + meniscus;
  return seen(std::max(height, 0.0), kind, world.instruments[at(instrument)], world.hardness, 0.0,
              random);
}

double volume(int instrument, const plant::Plant& plant, const Body& body, const World& world,
              Random& random) {
  return seen(volume_ml(body), plant.instruments[at(instrument)], world.instruments[at(instrument)],
              world.hardness, 0.0, random);
}

}  // namespace vialwright::twin
