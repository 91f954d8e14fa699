#include "decide/learn_colours.hpp"

#include <algorithm>

#include "decide/evidence_of.hpp"

namespace vialwright::decide {
namespace {

std::size_t at(int index) { return static_cast<std::size_t>(index); }

bool has_colour_reading(const contents::Evidence& evidence) {
  return std::any_of(evidence.readings.begin(), evidence.readings.end(),
                     [](const auto& each) { return each.kind == contents::ReadingKind::colour; });
}

bool absorbs(const recipe::Lot& lot, const recipe::Book& book) {
  for (std::size_t k = 0; k < lot.strengths.size(); ++k) {
    if (lot.strengths[k].mg_per_g > 0.0 && !book.components[k].absorptivity.nm.empty()) return true;
  }
  return false;
}

/// The lots that stations dose now, -1 where none does.
std::vector<int> loaded_lots(const line::State& state) {
  std::vector<int> lots(state.book.stocks.size(), -1);
  for (const line::Station& station : state.stations) {
    for (const auto& [stock, lot] : station.loaded) lots[at(stock)] = lot;
  }
  return lots;
}

/// A gauge with its own cell, where there is one: its path is better known than a vial's.
std::optional<int> bench_gauge(const plant::Plant& plant) {
  std::optional<int> found;
  for (std::size_t i = 0; i < plant.instruments.size(); ++i) {
    const auto& colour = plant.instruments[i].colour;
    if (!colour) continue;
    if (!found || (colour->path_cm > 0.0 && plant.instruments[at(*found)].colour->path_cm == 0.0))
      found = static_cast<int>(i);
  }
  return found;
}

/// The liquid that fills up: a loaded stock that neither absorbs nor scatters.
std::optional<int> clear_stock(const line::State& state, const std::vector<int>& lots) {
  for (std::size_t s = 0; s < lots.size(); ++s) {
    const recipe::Stock& stock = state.book.stocks[s];
    if (lots[s] < 0 || stock.dry || stock.scatters) continue;
    if (!absorbs(state.book.lots[at(lots[s])], state.book)) return static_cast<int>(s);
  }
  return std::nullopt;
}

std::optional<strength::Bench> bench_of(const line::State& state) {
  strength::Bench bench;
  bench.lots = loaded_lots(state);
  const auto gauge = bench_gauge(state.plant);
  const auto base = clear_stock(state, bench.lots);
  if (!gauge || !base || state.plant.containers.empty()) return std::nullopt;
  bench.gauge = *gauge;
  bench.base_stock = *base;
  bench.total_g = 0.8 * state.plant.containers.front().largest_fill_ml;  // room to mix
  for (const plant::Station& station : state.plant.stations)
    bench.least_dose_g = std::max(bench.least_dose_g, station.least_dose_g);
  return bench;
}

void tell_next(const line::State& state, Learned& into) {
  constexpr std::size_t told = 3;
  const auto bench = bench_of(state);
  if (!bench) return;
  for (const strength::Trial& trial :
       strength::next_samples(*into.colours, state.plant, state.book, *bench)) {
    if (into.next_samples.size() == told || !(trial.gain() > 0.0)) break;
    into.next_samples.push_back(trial.words);
  }
}

}  // namespace

void learn_colours(const line::State& state, const Options& options, Learned& into) {
  std::vector<strength::Sample> samples;
  for (const line::VialRecord& vial : state.vials) {
    if (!vial.conflicts.empty() || vial.doses.empty()) continue;
    const contents::Evidence evidence = evidence_of(vial, state).evidence;
    if (!has_colour_reading(evidence)) continue;
    auto usable = strength::sample_of(evidence, state.plant, state.book, options.contents);
    if (!usable.sample) continue;
    samples.push_back(std::move(*usable.sample));
    into.samples.push_back(vial.serial);
  }
  if (samples.empty()) return;
  into.colours = strength::learn(samples, state.plant, state.book);
  tell_next(state, into);
}

}  // namespace vialwright::decide
