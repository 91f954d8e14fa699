#include "twin/world.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <string>

namespace vialwright::twin {
namespace {

constexpr double node_s = 300.0;

/// Share of a lot's strength uncertainty that its gradient may reach at either end.
constexpr double gradient_share = 0.4;

/// Drift of a scale's zero in an hour, as a share of the uncertainty that its file gives the
/// offset: in a shift of eight hours it stays under it.
constexpr double drift_share = 0.2;

/// Standard scores of the errors that instruments of one source share.
struct Scores {
  double offset, gain, zero_rate;
};

Scores draw_scores(Random& random, double hardness) {
  return {random.error(hardness), random.error(hardness), random.error(hardness)};
}

InstrumentTruth draw_instrument(const plant::Instrument& instrument, const Scores& scores,
                                Random& random, double hardness, double length_s) {
  InstrumentTruth truth;
  truth.offset = instrument.offset + instrument.u_offset * scores.offset;
  truth.gain = instrument.gain + instrument.u_gain * scores.gain;
  truth.zero_rate = instrument.u_zero_rate * scores.zero_rate;
  truth.response_s = hardness * random.between(0.15, 0.3);
  truth.drift = Walk(random, hardness * drift_share * instrument.u_offset, length_s);
  return truth;
}

std::vector<InstrumentTruth> draw_instruments(const plant::Plant& plant, std::uint64_t seed,
                                              double hardness, double length_s) {
  std::map<std::string, Scores> shared;
  std::vector<InstrumentTruth> truths;
  for (std::size_t i = 0; i < plant.instruments.size(); ++i) {
    const plant::Instrument& instrument = plant.instruments[i];
    Random random(seed, "instrument", i);
    Scores scores = draw_scores(random, hardness);
    if (!instrument.same_source.empty()) {
      scores = shared.emplace(instrument.same_source, scores).first->second;
    }
    truths.push_back(draw_instrument(instrument, scores, random, hardness, length_s));
  }
  return truths;
}

/// Wavelengths are good to 0.15 nm, as where a lamp's lines check them.
GaugeTruth draw_gauge(const plant::Instrument& instrument, Random& random, double hardness) {
  GaugeTruth truth;
  if (!instrument.colour) return truth;
  const plant::ColourGauge& gauge = *instrument.colour;
  truth.path_score = random.error(hardness);
  truth.stray = std::max(gauge.stray_light + gauge.u_stray_light * random.error(hardness), 0.0);
  truth.shift_nm = hardness * random.between(-0.15, 0.15);
  truth.aside = hardness * random.between(-0.03, 0.03);
  return truth;
}

LotTruth draw_lot(const recipe::Lot& lot, Random& random, double hardness) {
  LotTruth truth;
  truth.stock = lot.stock;
  for (const recipe::Strength& told : lot.strengths) {
    const double real = told.mg_per_g + told.u_mg_per_g * random.error(hardness);
    truth.mg_per_g.push_back(std::max(real, 0.0));
    truth.gradient.push_back(hardness * gradient_share * told.u_mg_per_g *
                             random.between(-1.0, 1.0));
  }
  return truth;
}

Nozzle draw_nozzle(const plant::Station& station, Random& random, double hardness) {
  Nozzle nozzle;
  nozzle.bias = hardness * 0.3 * random.normal();
  // Ten seconds for the largest dose; a drip feeder is no slower than 0.1 g/s, no valve faster
  // than 5 g/s.
  const double largest = std::isfinite(station.largest_dose_g) ? station.largest_dose_g : 20.0;
  nozzle.flow_g_per_s = std::clamp(largest / 10.0, 0.1, 5.0);
  nozzle.wave_period_s = random.between(400.0, 2500.0);
  nozzle.wave_phase = random.between(0.0, 6.0);
  return nozzle;
}

std::vector<Nozzle> draw_nozzles(const plant::Station& station, Random& random, double hardness) {
  std::vector<Nozzle> nozzles;
  for (std::size_t k = 0; k < station.stocks.size(); ++k) {
    nozzles.push_back(draw_nozzle(station, random, hardness));
  }
  return nozzles;
}

void draw_glass(const plant::Plant& plant, std::uint64_t seed, World& world) {
  for (std::size_t c = 0; c < plant.containers.size(); ++c) {
    const plant::Container& container = plant.containers[c];
    Random random(seed, "container", c);
    world.tare_shift_g.push_back(shared_part * container.u_tare_g * random.error(world.hardness));
    const double loss = container.open_loss_g_per_h +
                        shared_part * container.u_open_loss_g_per_h * random.error(world.hardness);
    world.open_loss_g_per_h.push_back(loss);
  }
}

/// From streams of their own: a line that starts to look at colours changes nothing else.
void draw_optics(const plant::Plant& plant, const recipe::Book& book, World& world) {
  for (std::size_t i = 0; i < plant.instruments.size(); ++i) {
    Random random(world.seed, "colour gauge", i);
    world.gauges.push_back(draw_gauge(plant.instruments[i], random, world.hardness));
  }
  for (std::size_t k = 0; k < book.components.size(); ++k) {
    Random all(world.seed, "dye", k);
    const SharedDye shared = draw_shared_dye(all, world.hardness);
    for (std::size_t l = 0; l < world.lots.size(); ++l) {
      Random own(world.seed, "dye of lot " + std::to_string(l), k);
      const bool there = world.lots[l].mg_per_g[k] > 0.0;
      world.lots[l].dyes.push_back(there ? draw_dye(book.components[k], shared, own, world.hardness)
                                         : Dye{});
    }
  }
}

}  // namespace

Walk::Walk(Random& random, double sd_per_sqrt_hour, double length_s) {
  const double sd = sd_per_sqrt_hour * std::sqrt(node_s / 3600.0);
  const auto count = static_cast<std::size_t>(std::max(length_s, 0.0) / node_s) + 2;
  nodes_.assign(count, 0.0);
  for (std::size_t k = 1; k < count; ++k) nodes_[k] = nodes_[k - 1] + sd * random.normal();
}

double Walk::at(double t_s) const {
  if (nodes_.empty()) return 0.0;
  const double place = std::clamp(t_s / node_s, 0.0, static_cast<double>(nodes_.size() - 1));
  const auto before = static_cast<std::size_t>(place);
  const std::size_t after = std::min(before + 1, nodes_.size() - 1);
  const double share = place - static_cast<double>(before);
  return nodes_[before] * (1.0 - share) + nodes_[after] * share;
}

World draw_world(const plant::Plant& plant, const recipe::Book& book, std::uint64_t seed,
                 double hardness, double length_s) {
  Random weather(seed, "air");
  World world{.hardness = hardness,
              .seed = seed,
              .length_s = length_s,
              .dose_spread_factor = 1.0,
              .fade_per_day = {},
              .air = Air(weather, hardness),
              .instruments = draw_instruments(plant, seed, hardness, length_s),
              .gauges = {},
              .lots = {},
              .nozzles = {},
              .density_g_per_ml = {},
              .tare_shift_g = {},
              .open_loss_g_per_h = {}};
  for (std::size_t l = 0; l < book.lots.size(); ++l) {
    Random random(seed, "lot", l);
    world.lots.push_back(draw_lot(book.lots[l], random, hardness));
  }
  draw_optics(plant, book, world);
  for (std::size_t s = 0; s < plant.stations.size(); ++s) {
    Random random(seed, "station", s);
    world.nozzles.push_back(draw_nozzles(plant.stations[s], random, hardness));
  }
  for (std::size_t j = 0; j < book.stocks.size(); ++j) {
    Random random(seed, "density", j);
    const recipe::Stock& stock = book.stocks[j];
    world.density_g_per_ml.push_back(stock.density_g_per_ml +
                                     stock.u_density_g_per_ml * random.error(hardness));
  }
  draw_glass(plant, seed, world);
  return world;
}

void let_fade(const recipe::Book& book, std::uint64_t seed, World& world) {
  world.fade_per_day.clear();
  for (std::size_t k = 0; k < book.components.size(); ++k) {
    Random random(seed, "fade", k);
    const recipe::Component& told = book.components[k];
    const double real = told.fade_per_day + told.u_fade_per_day * random.error(world.hardness);
    world.fade_per_day.push_back(std::max(real, 0.0));
  }
}

double strength(const LotTruth& lot, std::size_t component, double used) {
  const double along = 2.0 * std::clamp(used, 0.0, 1.0) - 1.0;
  return std::max(lot.mg_per_g[component] + lot.gradient[component] * along, 0.0);
}

}  // namespace vialwright::twin
