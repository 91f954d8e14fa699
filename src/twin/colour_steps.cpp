/// Steps in which the colour of a vial is looked at.

#include <algorithm>
#include <cmath>
#include <utility>

#include "twin/looking.hpp"
#include "twin/steps.hpp"

namespace vialwright::twin {
namespace {

std::vector<int> colour_gauges(const plant::Plant& plant) {
  std::vector<int> gauges;
  for (std::size_t k = 0; k < plant.instruments.size(); ++k) {
    if (plant.instruments[k].colour) gauges.push_back(static_cast<int>(k));
  }
  return gauges;
}

event::ColourRead as_event(const plant::Instrument& kind, const ColourSeen& seen) {
  using Gives = plant::ColourGauge::Gives;
  event::ColourRead data;
  data.instrument = kind.id;
  switch (kind.colour->gives) {
    case Gives::lab:
      data.lab = {seen.values[0], seen.values[1], seen.values[2]};
      break;
    case Gives::spectrum:
      data.spectrum = {kind.colour->bands.first, kind.colour->bands.step, seen.values};
      break;
    case Gives::channels:
      data.full_scale = full_scale;
      for (std::size_t c = 0; c < seen.raw.size(); ++c) {
        data.channels.push_back({seen.raw[c], seen.dark[c], seen.blank[c]});
      }
  }
  return data;
}

/// How much of each lot's share stands before a gauge while nothing is mixed.
std::vector<double> layers(const Body& body, Random& random) {
  std::vector<double> share;
  for (std::size_t l = 0; l < body.from_lot_mg.size(); ++l)
    share.push_back(random.between(0.1, 1.9));
  return share;
}

struct Sight {
  const Curve& absorbance;
  double glare = 0.0;
};

void look_with(int gauge, const Sight& sight, const Hands& hands, const Setting& setting,
               Making& making, Random& random) {
  const Job& job = making.jobs[hands.job];
  const Body& body = making.bodies[hands.body];
  const plant::Container& container = setting.plant.containers[at(body.container)];
  const plant::Instrument& kind = setting.plant.instruments[at(gauge)];
  const Look look{gauge, session_at(job.clock_s), sight.glare, sight.absorbance,
                  path_score(body, container, *kind.colour)};
  const ColourSeen seen = looked_at(look, setting.plant, container, making.world, random);
  event::ColourRead data = as_event(kind, seen);
  data.session = kind.id + "-" + std::to_string(look.session + 1);
  data.place.carrier = job.on_carrier ? job.carrier : "";
  happen(making, hands.job, job.clock_s, kind.id, Link::bus, std::move(data));
}

/// Each look has a stream of its own.
Random stream(const Hands& hands, const Setting& setting, Making& making) {
  const int number = making.jobs[hands.job].looks++;
  return {setting.plan.seed, "look " + std::to_string(number), hands.job};
}

/// The first gauge's first look, where glare is planted.
double planted_glare(const Hands& hands, Making& making, Random& random) {
  bool& planted = making.faults.vials[hands.job].colour_glare;
  if (!planted) return 0.0;
  planted = false;
  const double glare = random.between(0.08, 0.5);
  mark(making.truth[hands.job], Fault::colour_glare,
       quantity::shortest(std::round(100.0 * glare)) + " % of the light comes from elsewhere");
  return glare;
}

}  // namespace

void look(const Hands& hands, const Setting& setting, Making& making) {
  const std::vector<int> gauges = colour_gauges(setting.plant);
  if (gauges.empty()) return;
  Random random = stream(hands, setting, making);
  const Curve absorbance = absorbance_per_cm(making.bodies[hands.body], making.world);
  const std::size_t on_the_line = std::max<std::size_t>(gauges.size() - 1, 1);
  double glare = planted_glare(hands, making, random);
  for (std::size_t k = 0; k < on_the_line; ++k) {
    look_with(gauges[k], {absorbance, glare}, hands, setting, making, random);
    glare = 0.0;
  }
}

void look_unmixed(const Hands& hands, const Setting& setting, Making& making) {
  const std::vector<int> gauges = colour_gauges(setting.plant);
  if (gauges.empty()) return;
  Random random = stream(hands, setting, making);
  const Body& body = making.bodies[hands.body];
  const Curve absorbance = absorbance_per_cm(body, making.world, layers(body, random));
  look_with(gauges[0], {absorbance}, hands, setting, making, random);
  mark(making.truth[hands.job], Fault::read_unmixed, "its colour was read before the mixer");
}

void look_at_bench(const Hands& hands, const Setting& setting, Making& making) {
  const std::vector<int> gauges = colour_gauges(setting.plant);
  if (gauges.size() < 2) return;
  making.jobs[hands.job].clock_s += 15.0;
  Random random = stream(hands, setting, making);
  Body& body = making.bodies[hands.body];
  stand(body, setting.plant, setting.book, making.world, making.jobs[hands.job].clock_s);
  const Curve absorbance = absorbance_per_cm(body, making.world);
  look_with(gauges.back(), {absorbance}, hands, setting, making, random);
}

}  // namespace vialwright::twin
