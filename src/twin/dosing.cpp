#include "twin/dosing.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace vialwright::twin {
namespace {

constexpr double closing_s = 0.4;    // valve and after-flow
constexpr double listening_s = 1.6;  // the meters count on for this long
constexpr double drop_odds = 0.05;
constexpr double drop_g = 0.012;  // an outer diameter near 0.8 mm, Harkins and Brown

/// Spread of the after-flow with the pressure behind the nozzle, in units of the dose spread: a
/// wave of unit variance.
double pressure_wave(const Nozzle& nozzle, double t_s) {
  return std::numbers::sqrt2 *
         std::sin(2.0 * std::numbers::pi * t_s / nozzle.wave_period_s + nozzle.wave_phase);
}

/// The error of the amount that passes the valve. The parts have one variance, the station's own:
/// bias 0.3^2, pressure 0.2^2 and drops p (drop / spread)^2; chance gets the rest.
double error_g(double spread_g, double drop, const Nozzle& nozzle, const World& world, double t_s,
               Random& random) {
  if (spread_g <= 0.0) return 0.0;
  const double h = world.hardness;
  const double drops = 2.0 * drop_odds * h * drop * drop / (spread_g * spread_g);
  const double chance = std::sqrt(std::max(1.0 - h * h * (0.09 + 0.04) - drops, 0.25));
  return spread_g * (nozzle.bias + 0.2 * h * pressure_wave(nozzle, t_s) + chance * random.error(h));
}

}  // namespace

double rounded(double value, double step) {
  return step > 0.0 ? std::round(value / step) * step : value;
}

Dosed dose(const PlannedDose& planned, const plant::Station& station, const World& world,
           double t_s, double factor, double& hanging, Random& random) {
  const Nozzle& nozzle = world.nozzles[at(planned.station)][at(planned.nozzle)];
  const double spread = world.dose_spread_factor *
                        std::hypot(station.spread_g, station.spread_rel * planned.amount_g);
  // Fine nozzles let go of smaller drops.
  const double drop = std::min(drop_g, station.spread_g);
  Dosed dosed;
  dosed.passed_g =
      std::max(planned.amount_g * factor + error_g(spread, drop, nozzle, world, t_s, random), 0.0);
  const bool hangs = random.happens(drop_odds * world.hardness) && dosed.passed_g > drop;
  const double kept = hangs ? drop : 0.0;
  dosed.delivered_g = dosed.passed_g - kept + hanging;
  hanging = kept;
  dosed.flow_g_per_s =
      nozzle.flow_g_per_s * (1.0 + 0.05 * world.hardness * pressure_wave(nozzle, t_s));
  dosed.counting_s = rounded(dosed.passed_g / dosed.flow_g_per_s + closing_s + listening_s, 0.01);
  return dosed;
}

double metered(int instrument, const plant::Plant& plant, const Dosed& dosed, int stock,
               const World& world, double t_s, Random& random) {
  const plant::Instrument& kind = plant.instruments[at(instrument)];
  const InstrumentTruth& truth = world.instruments[at(instrument)];
  double mass_g = dosed.passed_g;
  if (truth.response_s > 0.0) {
    // A first-order response still has flow x time constant to tell when the valve has closed;
    // what it has not told when counting ends is lost.
    const double untold =
        dosed.flow_g_per_s * truth.response_s * std::exp(-listening_s / truth.response_s);
    mass_g = std::max(mass_g - untold, 0.0);
  }
  double amount = mass_g;
  if (kind.kind == plant::InstrumentKind::volume_meter) {
    const double warmer = world.air.at(t_s).celsius - 20.0;
    const double expansion = 1.0 + world.hardness * 2.1e-4 * warmer;  // water near 20 Cel, per K
    amount = mass_g / world.density_g_per_ml[at(stock)] * expansion;
  }
  const double noise = std::hypot(kind.repeatability, kind.repeatability_rel * amount);
  const double seen = amount * (1.0 + truth.gain + truth.runaway.at(t_s)) + truth.offset +
                      truth.zero_rate * dosed.counting_s + noise * random.error(world.hardness);
  return rounded(seen, kind.resolution);
}

}  // namespace vialwright::twin
