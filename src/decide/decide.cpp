#include "decide/decide.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "decide/disposition.hpp"
#include "decide/evidence_of.hpp"
#include "decide/explained.hpp"

namespace vialwright::decide {
namespace {

const recipe::Recipe* asked_recipe(const line::State& state, const std::string& id) {
  return line::find_recipe(state, id);
}

/// The open order of a recipe that is due first; empty when none is open.
std::string open_order(const line::State& state, const std::string& recipe) {
  const line::OrderRecord* best = nullptr;
  for (const line::OrderRecord& order : state.orders) {
    if (order.recipe != recipe || order.state != line::OrderRecord::State::open) continue;
    const bool sooner = best == nullptr || !best->due || (order.due && *order.due < *best->due);
    if (best == nullptr || (order.due && sooner)) best = &order;
  }
  return best == nullptr ? std::string() : best->id;
}

bool usable(int lot, const line::State& state) {
  if (lot < 0) return false;
  const auto& expires = state.book.lots[static_cast<std::size_t>(lot)].expires;
  return !expires || state.as_of <= *expires;
}

/// What the stations that are up have loaded and may still dose, as of the state.
topup::Means means_of(const line::State& state, const line::VialRecord& vial,
                      const contents::Belief& belief) {
  topup::Means means;
  means.container = vial.container;
  means.fill_now_ml = belief.mean[belief.volume()];
  for (std::size_t s = 0; s < state.stations.size(); ++s) {
    if (state.stations[s].state != "up") continue;
    for (const auto& [stock, lot] : state.stations[s].loaded) {
      if (usable(lot, state)) means.loaded.push_back({stock, lot, static_cast<int>(s), 0.0});
    }
  }
  return means;
}

/// "Cannot be saved" is a costly answer, so a recipe with a fresh chance comes before none.
bool better(const TopupAnswer& a, const TopupAnswer& b) {
  const double odds_a = a.topup.odds.value, odds_b = b.topup.odds.value;
  if (odds_a != odds_b) return odds_a > odds_b;
  if (a.order.empty() != b.order.empty()) return !a.order.empty();
  return a.recipe < b.recipe;
}

bool answers(const topup::Topup& topup) {
  return topup.outcome == topup::Outcome::found || topup.outcome == topup::Outcome::nothing_needed;
}

/// Top-ups for one vial: its own recipe, those asked for, and the best of all others.
class Rescues {
 public:
  Rescues(const line::State& state, const line::VialRecord& vial, const contents::Belief& belief,
          const Options& options)
      : state_(state),
        vial_(vial),
        belief_(belief),
        options_(options),
        means_(means_of(state, vial, belief)) {}

  std::vector<TopupAnswer> own_and_asked() const {
    std::vector<TopupAnswer> found;
    if (vial_.recipe) found.push_back(solve(*vial_.recipe));
    for (const std::string& id : options_.asked) {
      const recipe::Recipe* recipe = asked_recipe(state_, id);
      const bool own = vial_.recipe && vial_.recipe->id == id;
      if (recipe != nullptr && !own) found.push_back(solve(*recipe));
    }
    return found;
  }

  std::vector<TopupAnswer> best_others(const std::vector<TopupAnswer>& known) const {
    std::vector<TopupAnswer> others;
    for (const recipe::Recipe& recipe : state_.recipes) {
      const bool told = std::any_of(known.begin(), known.end(), [&](const TopupAnswer& each) {
        return each.recipe == recipe.id;
      });
      if (told) continue;
      TopupAnswer answer = solve(recipe);
      if (answers(answer.topup)) others.push_back(std::move(answer));
    }
    std::sort(others.begin(), others.end(), better);
    const auto most = static_cast<std::size_t>(std::max(options_.other_recipes, 0));
    if (others.size() > most) others.resize(most);
    return others;
  }

 private:
  topup::Options how() const {
    topup::Options options;
    options.conformity = options_.conformity;
    return options;
  }

  TopupAnswer solve(const recipe::Recipe& recipe) const {
    TopupAnswer answer;
    answer.recipe = recipe.id;
    answer.order = open_order(state_, recipe.id);
    answer.topup = topup::aimed(belief_, recipe, means_, state_.plant, state_.book, how());
    return answer;
  }

  const line::State& state_;
  const line::VialRecord& vial_;
  const contents::Belief& belief_;
  const Options& options_;
  topup::Means means_;
};

/// Standard uncertainty of the net mass from one more gross weighing by the scale that weighed
/// last: its random part and its offset, which one weighing cannot tell from the contents.
std::optional<double> u_of_next_weighing(const line::VialRecord& vial, const plant::Plant& plant) {
  for (auto reading = vial.readings.rbegin(); reading != vial.readings.rend(); ++reading) {
    if (reading->kind != line::Weighed::gross) continue;
    const auto& scale = plant.instruments[static_cast<std::size_t>(reading->instrument)];
    const double rounding = scale.resolution * scale.resolution / 12.0;
    return std::sqrt(scale.repeatability * scale.repeatability + rounding +
                     scale.u_offset * scale.u_offset);
  }
  return std::nullopt;
}

conformity::Stakes stakes_of(const recipe::Recipe& recipe, const plant::Prices& prices) {
  const double good = recipe.value > 0.0 ? recipe.value : prices.good;
  // Releasing a bad vial costs its replacement, its disposal and the value that was promised.
  return {good, good + prices.vial + prices.scrap, prices.scrap};
}

void fill_worth(Decision& decision, const line::VialRecord& vial, const line::State& state,
                const Options& options) {
  if (decision.conformity->ruling != conformity::Ruling::unclear) return;
  const auto u = u_of_next_weighing(vial, state.plant);
  if (!u) return;
  decision.reading_worth = conformity::worth_of_weighing(
      decision.estimate->belief, *u, *vial.recipe, state.plant.risks,
      stakes_of(*vial.recipe, state.plant.prices), options.conformity);
}

void fill_topups(Decision& decision, const line::VialRecord& vial, const line::State& state,
                 const Options& options) {
  const bool is_good =
      decision.conformity && decision.conformity->ruling == conformity::Ruling::release;
  if (is_good && options.asked.empty()) return;
  const Rescues rescues(state, vial, decision.estimate->belief, options);
  decision.topups = rescues.own_and_asked();
  if (is_good) return;
  for (TopupAnswer& other : rescues.best_others(decision.topups)) {
    decision.topups.push_back(std::move(other));
  }
}

/// An advice ends with its time, or with the first lot that it counts on.
Instant expiry(const Decision& decision, const line::State& state) {
  Instant ends = quantity::later_by(state.as_of, state.plant.risks.advice_lasts_s);
  for (const TopupAnswer& answer : decision.topups) {
    for (const topup::Addition& addition : answer.topup.additions) {
      if (addition.lot < 0) continue;
      const auto& lot = state.book.lots[static_cast<std::size_t>(addition.lot)];
      if (lot.expires) ends = std::min(ends, *lot.expires);
    }
  }
  return ends;
}

Decision begin(const line::State& state, const line::VialRecord& vial) {
  Decision decision;
  decision.id = fmt::format("decision/{}/{}", vial.serial, state.position);
  decision.serial = vial.serial;
  decision.order = vial.order;
  decision.as_of = state.as_of;
  if (vial.recipe) {
    decision.recipe = vial.recipe->id;
    decision.recipe_version = vial.recipe->version;
  }
  return decision;
}

}  // namespace

Decision decide_vial(const line::State& state, const line::VialRecord& vial,
                     const Options& options) {
  Decision decision = begin(state, vial);
  NamedEvidence named = evidence_of(vial, state);
  decision.evidence = std::move(named.evidence);
  decision.readings = std::move(named.readings);
  decision.doses = std::move(named.doses);
  decision.unused = std::move(named.unused);
  decision.estimate =
      contents::estimate(decision.evidence, state.plant, state.book, options.contents);
  if (vial.recipe) {
    decision.conformity = conformity::judge(decision.estimate->belief, *vial.recipe,
                                            state.plant.risks, options.conformity);
    if (decision.estimate->contradiction && !decision.estimate->explanations.empty()) {
      decision.whichever = over_explanations(decision, *vial.recipe, state, options);
    }
    fill_worth(decision, vial, state, options);
  }
  if (vial.fate == line::Fate::open && !vial.doses.empty()) {
    fill_topups(decision, vial, state, options);
  }
  dispose(decision, vial, state, options);
  decision.expires = expiry(decision, state);
  return decision;
}

Shift decide_all(const line::State& state, std::string head, const Options& options) {
  Shift shift;
  shift.provenance = provenance_of(state, std::move(head), options);
  shift.decisions.reserve(state.vials.size());
  for (const line::VialRecord& vial : state.vials) {
    shift.decisions.push_back(decide_vial(state, vial, options));
  }
  return shift;
}

}  // namespace vialwright::decide
