#include "topup/dosing.hpp"

#include <algorithm>
#include <cmath>

namespace vialwright::topup {
namespace {

using Kind = contents::Effect::Kind;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

double mean_of(const contents::Belief& belief, Kind kind, int instrument,
               const plant::Plant& plant) {
  const auto effect = find_meter(belief, kind, instrument, plant);
  return effect ? belief.mean[belief.effect(*effect)] : 0.0;
}

std::optional<int> first_meter(const plant::Station& station, const plant::Plant& plant) {
  for (const std::string& id : station.meters) {
    const auto instrument = plant::find_instrument(plant, id);
    if (instrument && plant::is_meter(plant.instruments[at(*instrument)].kind)) return instrument;
  }
  return std::nullopt;
}

}  // namespace

double Dosing::true_amount(double told_g) const {
  return std::max(0.0, (told_g - offset_g) / (1.0 + gain));
}
double Dosing::told_amount(double true_g) const { return true_g * (1.0 + gain) + offset_g; }
double Dosing::spread(double true_g) const { return std::hypot(spread_g, spread_rel * true_g); }

Dosing dosing_of(const contents::Belief& belief, int station, int stock, const plant::Plant& plant,
                 const recipe::Book& book) {
  Dosing dosing;
  if (station < 0) return dosing;
  const plant::Station& by = plant.stations[at(station)];
  dosing.spread_g = by.spread_g;
  dosing.spread_rel = by.spread_rel;
  dosing.meter = first_meter(by, plant);
  if (!dosing.meter) return dosing;
  dosing.by_volume =
      plant.instruments[at(*dosing.meter)].kind == plant::InstrumentKind::volume_meter;
  if (dosing.by_volume) dosing.g_per_unit = book.stocks[at(stock)].density_g_per_ml;
  dosing.gain = mean_of(belief, Kind::gain, *dosing.meter, plant);
  dosing.offset_g = dosing.g_per_unit * mean_of(belief, Kind::offset, *dosing.meter, plant);
  return dosing;
}

bool speaks_of(const contents::Effect& effect, Kind kind, int instrument,
               const plant::Plant& plant) {
  if (effect.kind != kind || kind == Kind::strength) return false;
  if (effect.of == instrument) return true;
  const std::string& source = plant.instruments[at(instrument)].same_source;
  return !source.empty() && plant.instruments[at(effect.of)].same_source == source;
}

std::optional<int> find_strength(const contents::Belief& belief, int lot, int component) {
  const contents::Effect wanted{Kind::strength, lot, component};
  const auto found = std::ranges::find(belief.effects, wanted);
  if (found == belief.effects.end()) return std::nullopt;
  return static_cast<int>(found - belief.effects.begin());
}

std::optional<int> find_meter(const contents::Belief& belief, Kind kind, int instrument,
                              const plant::Plant& plant) {
  const auto found = std::ranges::find_if(belief.effects, [&](const contents::Effect& effect) {
    return speaks_of(effect, kind, instrument, plant);
  });
  if (found == belief.effects.end()) return std::nullopt;
  return static_cast<int>(found - belief.effects.begin());
}

double strength(const contents::Belief& belief, int lot, int component, const recipe::Book& book) {
  const double stated = book.lots[at(lot)].strengths[at(component)].mg_per_g;
  const auto effect = find_strength(belief, lot, component);
  return effect ? stated + belief.mean[belief.effect(*effect)] : stated;
}

}  // namespace vialwright::topup
