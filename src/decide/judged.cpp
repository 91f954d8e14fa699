#include "decide/judged.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "decide/evidence_of.hpp"
#include "decide/explained.hpp"

namespace vialwright::decide {
namespace {

constexpr double day_s = 86'400.0;

conformity::Stakes stakes_of(const recipe::Recipe& recipe, const plant::Prices& prices) {
  const double good = recipe.value > 0.0 ? recipe.value : prices.good;
  // Releasing a bad vial costs its replacement, its disposal and the value that was promised.
  return {good, good + prices.vial + prices.scrap, prices.scrap};
}

void fill_worth(Decision& decision, const line::VialRecord& vial, const line::State& state,
                const Options& options) {
  if (decision.conformity->ruling != conformity::Ruling::unclear) return;
  const auto u = u_of_next_weighing(vial, state.plant, options);
  if (!u) return;
  decision.reading_worth = conformity::worth_of_weighing(
      decision.estimate->belief, *u, *vial.recipe, state.book, state.plant.risks,
      stakes_of(*vial.recipe, state.plant.prices), options.conformity);
}

Decision begin(const line::State& state, const line::VialRecord& vial) {
  Decision decision;
  decision.id = fmt::format("decision/{}/{}", vial.serial, state.position);
  decision.serial = vial.serial;
  decision.order = vial.order;
  decision.as_of = state.as_of;
  decision.stock_names.reserve(state.book.stocks.size());
  for (const recipe::Stock& stock : state.book.stocks)
    decision.stock_names.push_back(stock.name.empty() ? stock.id : stock.name);
  if (vial.recipe) {
    decision.recipe = vial.recipe->id;
    decision.recipe_version = vial.recipe->version;
  }
  return decision;
}

/// What may leave through the cap at most: half of the solvent. Beyond that the rate says nothing.
double most_loss_per_h(const contents::Belief& belief, double days, const recipe::Book& book) {
  for (int k = 0; k < belief.components; ++k) {
    if (!book.components[static_cast<std::size_t>(k)].evaporates) continue;
    return std::max(0.0, 0.5e-3 * belief.mean[belief.component(k)]) / (24.0 * days);
  }
  return 0.0;
}

/// Readings that the estimate could make nothing of, such as a colour before mixing.
void tell_no_evidence(Decision& decision) {
  for (std::size_t i = 0; i < decision.readings.size(); ++i) {
    const std::string& why = decision.estimate->readings[i].reason;
    if (!why.empty()) decision.unused.push_back(left_out(decision.readings[i], why));
  }
}

bool a_gauge_is_there(const plant::Plant& plant, const Options& options) {
  for (std::size_t i = 0; i < plant.instruments.size(); ++i) {
    if (plant.instruments[i].colour && !is_off(static_cast<int>(i), plant, options)) return true;
  }
  return false;
}

bool colour_counts(const Decision& decision) {
  const int doses = static_cast<int>(decision.evidence.doses.size());
  for (std::size_t i = 0; i < decision.evidence.readings.size(); ++i) {
    const contents::Reading& reading = decision.evidence.readings[i];
    const contents::ReadingReport& report = decision.estimate->readings[i];
    if (reading.kind != contents::ReadingKind::colour || reading.after_doses != doses) continue;
    if (report.counted && report.reason.empty()) return true;
  }
  return false;
}

bool is_colour_unread(const Decision& decision, const recipe::Recipe& recipe,
                      const plant::Plant& plant, const Options& options) {
  const conformity::Conformity& found = *decision.conformity;
  if (found.ruling != conformity::Ruling::unclear || found.binding < 0) return false;
  const auto& binding = recipe.tolerances[static_cast<std::size_t>(found.binding)];
  return binding.on == recipe::ToleranceOn::colour && !colour_counts(decision) &&
         a_gauge_is_there(plant, options);
}

}  // namespace

bool is_off(int instrument, const plant::Plant& plant, const Options& options) {
  const std::string& id = plant.instruments[static_cast<std::size_t>(instrument)].id;
  return std::find(options.off.begin(), options.off.end(), id) != options.off.end();
}

std::optional<double> u_of_next_weighing(const line::VialRecord& vial, const plant::Plant& plant,
                                         const Options& options) {
  for (auto reading = vial.readings.rbegin(); reading != vial.readings.rend(); ++reading) {
    if (reading->kind != line::Weighed::gross) continue;
    if (is_off(reading->instrument, plant, options)) return std::nullopt;
    const auto& scale = plant.instruments[static_cast<std::size_t>(reading->instrument)];
    const double rounding = scale.resolution * scale.resolution / 12.0;
    return std::sqrt(scale.repeatability * scale.repeatability + rounding +
                     scale.u_offset * scale.u_offset);
  }
  return std::nullopt;
}

double days_since_known(const line::VialRecord& vial, const line::State& state) {
  std::optional<Instant> last;
  for (const line::VialReading& reading : vial.readings) {
    if (reading.quality != line::Quality::clear || !reading.unusable.empty()) continue;
    last = std::max(last.value_or(reading.origin.time), reading.origin.time);
  }
  for (const line::DoseRecord& dose : vial.doses) {
    last = std::max(last.value_or(dose.origin.time), dose.origin.time);
  }
  if (!last) return 0.0;
  return std::max(0.0, quantity::seconds_between(*last, state.as_of) / day_s);
}

contents::Belief grown_older(const contents::Belief& belief, double days,
                             const line::VialRecord& vial, const line::State& state) {
  if (!(days > 0.0)) return belief;
  const auto& container = state.plant.containers[static_cast<std::size_t>(vial.container)];
  const double loss = vial.capped ? container.capped_loss_g_per_h : 0.0;
  return contents::aged(belief, days, std::min(loss, most_loss_per_h(belief, days, state.book)),
                        state.book);
}

Decision judged(const line::State& state, const line::VialRecord& vial, const Options& options) {
  Decision decision = begin(state, vial);
  NamedEvidence named = evidence_of(vial, state);
  decision.evidence = std::move(named.evidence);
  decision.readings = std::move(named.readings);
  decision.doses = std::move(named.doses);
  decision.unused = std::move(named.unused);
  decision.estimate =
      contents::estimate(decision.evidence, state.plant, state.book, options.contents);
  tell_no_evidence(decision);
  decision.aged_days = days_since_known(vial, state);
  decision.estimate->belief =
      grown_older(decision.estimate->belief, decision.aged_days, vial, state);
  if (!vial.recipe) return decision;
  decision.conformity = conformity::judge(decision.estimate->belief, *vial.recipe, state.book,
                                          state.plant.risks, options.conformity);
  if (decision.estimate->contradiction && !decision.estimate->explanations.empty()) {
    decision.whichever = over_explanations(decision, vial, state, options);
  }
  decision.colour_unread = is_colour_unread(decision, *vial.recipe, state.plant, options);
  fill_worth(decision, vial, state, options);
  return decision;
}

}  // namespace vialwright::decide
