#include "decide/whole_line.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "decide/judged.hpp"
#include "decide/learn.hpp"

namespace vialwright::decide {
namespace {

bool waits_in_a_place(const line::VialRecord& vial) {
  return vial.held_since.has_value() && vial.fate == line::Fate::open;
}

bool open_and_dosed(const line::VialRecord& vial) {
  return vial.fate == line::Fate::open && !vial.doses.empty();
}

const std::string& given_recipe(const Case& asked) {
  return asked.answers[static_cast<std::size_t>(asked.given)].recipe;
}

}  // namespace

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

bool decided_alone(Decision& decision, const line::VialRecord& vial, const line::State& state,
                   const Market& market) {
  if (settled(decision, vial, state)) return true;
  explain_conformity(decision, vial, state);
  if (!is_good(decision) || !still_wants(state, vial)) return false;
  release_to_own(decision, vial, state, market);
  return true;
}

WholeLine::WholeLine(const line::State& state, const Options& options, std::string_view asked_of)
    : state_(state),
      options_(options),
      asked_of_(asked_of),
      learned_(asked_of.empty() ? learn(state, options) : learn_for_deciding(state, options)),
      places_(state.plant.holding.places) {
  market_ = std::make_unique<Market>(state_, learned_);
  rescues_ = std::make_unique<Rescues>(state_, *market_, learned_.recalibration, options_);
}

const std::vector<std::string>& WholeLine::asked_of(const line::VialRecord& vial) const {
  return asked_of_.empty() || asked_of_ == vial.serial ? options_.asked : nothing_asked_;
}

void WholeLine::decide() {
  judge_all();
  look_for_rescues();
  take_readings();
  share_places(false);
  pair();
  share_places(true);
  dispose_all();
}

void WholeLine::judge_all() {
  for (const line::VialRecord& vial : state_.vials) {
    const bool gone = vial.fate != line::Fate::open;
    if (gone && !asked_of_.empty() && vial.serial != asked_of_) continue;  // hangs on nobody
    Decision decision = judged(state_, vial, options_);
    if (decided_alone(decision, vial, state_, *market_)) {
      take_up(vial, std::move(decision));
      continue;
    }
    Case asked;
    asked.vial = &vial;
    asked.spare = is_good(decision);
    asked.decision = std::move(decision);
    cases_.push_back(std::move(asked));
  }
}

/// Decided without the others; what it could become is told where that was asked, or where the
/// evidence is in question.
void WholeLine::take_up(const line::VialRecord& vial, Decision decision) {
  const bool released = decision.disposition == Disposition::release;
  if (waits_in_a_place(vial) && !released) places_ = std::max(0, places_ - 1);
  if (open_and_dosed(vial) && (!released || !asked_of(vial).empty())) {
    decision.topups = rescues_->own_and(asked_of(vial), vial, decision);
  }
  decision.expires = expiry(decision, state_);
  decided_.push_back(std::move(decision));
}

void WholeLine::add_others(Case& asked, Rescues::Among among) const {
  for (TopupAnswer& other : rescues_->others(asked.answers, *asked.vial, asked.decision, among)) {
    // What is good as it is goes to no other recipe by adding to it.
    if (asked.spare && !other.topup.additions.empty()) continue;
    asked.answers.push_back(std::move(other));
  }
}

void WholeLine::look_for_rescues() {
  for (Case& asked : cases_) {
    asked.answers = rescues_->own_and(asked_of(*asked.vial), *asked.vial, asked.decision);
    asked.told = asked.answers.size();
    add_others(asked, Rescues::Among::wanted);
    // Where nothing wanted can be reached, what else it could become is what an order would change.
    if (std::none_of(asked.answers.begin(), asked.answers.end(), usable)) {
      add_others(asked, Rescues::Among::unasked);
    }
    asked.candidate = candidate_of(asked, *market_, *rescues_, state_);
    if (asked.spare) asked.candidate.offers.clear();
  }
}

/// Money over scrapping of the best that can be done with it now, as if it had the first choice.
double WholeLine::best_now(const Case& asked) const {
  double best = holding::value_now(asked.candidate.offers, asked.candidate.terms);
  for (const TopupAnswer& each : asked.answers) {
    if (usable(each) && !each.order.empty()) best = std::max(best, each.worth);
  }
  return best + market_->disposal();
}

void WholeLine::take_readings() {
  std::vector<Case> rest;
  for (Case& asked : cases_) {
    if (measured_again(asked, best_now(asked), state_, *market_)) {
      if (waits_in_a_place(*asked.vial)) places_ = std::max(0, places_ - 1);
      finish(std::move(asked));
    } else {
      rest.push_back(std::move(asked));
    }
  }
  cases_ = std::move(rest);
}

/// Before the pairing all vials bid for the places, so that each knows what waiting is worth to it;
/// afterwards those that were given to no order do.
void WholeLine::share_places(bool after_pairing) {
  std::vector<std::size_t> of;
  std::vector<holding::Candidate> candidates;
  for (std::size_t i = 0; i < cases_.size(); ++i) {
    cases_[i].stays = false;
    cases_[i].wait.value = -market_->disposal();
    const bool given = after_pairing && cases_[i].given >= 0;
    if (given || cases_[i].candidate.offers.empty()) continue;
    of.push_back(i);
    candidates.push_back(cases_[i].candidate);
  }
  place_per_day_ = 0.0;
  if (candidates.empty()) return;
  holding::Shared shared = holding::share(candidates, places_);
  place_per_day_ = shared.place_per_day;
  for (std::size_t k = 0; k < of.size(); ++k) {
    Case& asked = cases_[of[k]];
    asked.wait = std::move(shared.waits[k]);
    asked.counted_on = shared.counted_on[k];
    asked.stays = shared.stays[k];
    if (!asked.stays) asked.wait.value = -market_->disposal();
  }
}

/// Open orders, and those bound to a vial that is in question itself.
std::vector<Wanted> WholeLine::orders_in_question() const {
  std::vector<Wanted> orders = market_->open();
  for (const Case& asked : cases_) {
    const std::string& own = asked.vial->order;
    if (!asked.vial->recipe || !still_wants(state_, *asked.vial)) continue;
    const bool known = std::any_of(orders.begin(), orders.end(),
                                   [&](const Wanted& each) { return each.order == own; });
    if (!known) orders.push_back(market_->wanted(own, asked.vial->recipe->id));
  }
  return orders;
}

/// The order that the vial was last advised for, else the one it was made for: taking it from that
/// must bring something.
const std::string& WholeLine::belongs_to(const Case& asked) {
  const line::VialRecord& vial = *asked.vial;
  return vial.advised_order.empty() ? vial.order : vial.advised_order;
}

void WholeLine::pair() {
  const std::vector<Wanted> orders = orders_in_question();
  pairing::Problem problem;
  problem.orders = static_cast<int>(orders.size());
  problem.switching = state_.plant.holding.switching;
  for (std::size_t v = 0; v < cases_.size(); ++v) {
    const Case& asked = cases_[v];
    problem.waiting.push_back(asked.wait.value);
    for (std::size_t o = 0; o < orders.size(); ++o) {
      for (const TopupAnswer& answer : asked.answers) {
        if (answer.recipe != orders[o].recipe || !usable(answer)) continue;
        const double worth =
            market_->worth(odds_of(answer), answer.topup.cost, answer.fresh + orders[o].late);
        if (worth <= -market_->disposal()) continue;
        const pairing::Pair found{static_cast<int>(v), static_cast<int>(o), worth};
        problem.pairs.push_back(found);
        if (belongs_to(asked) == orders[o].order) problem.advised.push_back(found);
        rungs_.push_back({asked.vial->serial, orders[o].order, answer.recipe,
                          answer.corrected.value_or(outcomes::Corrected{}), worth, asked.wait.value,
                          false, 0.0});
        rungs_.back().odds.odds = odds_of(answer);
      }
    }
  }
  give(problem, pairing::assign(problem), orders);
  std::stable_sort(rungs_.begin(), rungs_.end(),
                   [](const Rung& a, const Rung& b) { return a.taken && !b.taken; });
}

void WholeLine::give(const pairing::Problem& problem, const pairing::Answer& answer,
                     const std::vector<Wanted>& orders) {
  for (const pairing::Pair& pair : answer.pairs) {
    Case& asked = cases_[static_cast<std::size_t>(pair.vial)];
    asked.to_order = orders[static_cast<std::size_t>(pair.order)].order;
    asked.worth = pair.worth;
    for (std::size_t a = 0; a < asked.answers.size(); ++a) {
      if (asked.answers[a].recipe != orders[static_cast<std::size_t>(pair.order)].recipe) continue;
      asked.given = static_cast<int>(a);
      break;
    }
  }
  for (std::size_t p = 0; p < problem.pairs.size(); ++p) {
    const pairing::Pair& pair = problem.pairs[p];
    Case& asked = cases_[static_cast<std::size_t>(pair.vial)];
    const std::string& order = orders[static_cast<std::size_t>(pair.order)].order;
    rungs_[p].taken = asked.given >= 0 && asked.to_order == order;
    rungs_[p].short_by = answer.short_by[p];
    if (rungs_[p].taken || (!asked.nearly.empty() && asked.short_by <= answer.short_by[p]))
      continue;
    if (asked.given >= 0 && rungs_[p].recipe == given_recipe(asked)) continue;
    asked.nearly = fmt::format("{} ({})", order, rungs_[p].recipe);
    asked.short_by = answer.short_by[p];
  }
}

void WholeLine::dispose_all() {
  for (Case& asked : cases_) {
    dispose(asked, state_, *market_, options_);
    finish(std::move(asked));
  }
  cases_.clear();
}

/// Own recipe and those asked for first, then the one it goes to, then the worthiest others.
void WholeLine::finish(Case&& done) {
  const auto told = static_cast<std::ptrdiff_t>(done.told);
  const auto others = static_cast<std::size_t>(std::max(options_.other_recipes, 0));
  std::stable_partition(done.answers.begin() + told, done.answers.end(), [&](const auto& each) {
    return !done.decision.for_recipe.empty() && each.recipe == done.decision.for_recipe;
  });
  if (done.answers.size() > done.told + others) done.answers.resize(done.told + others);
  done.decision.topups = std::move(done.answers);
  done.decision.expires = expiry(done.decision, state_);
  decided_.push_back(std::move(done.decision));
}

Shift WholeLine::shift(std::string head) && {
  Shift shift;
  shift.provenance = provenance_of(state_, std::move(head), options_);
  shift.decisions = std::move(decided_);
  std::sort(shift.decisions.begin(), shift.decisions.end(),
            [](const Decision& a, const Decision& b) { return a.serial < b.serial; });
  shift.rungs = std::move(rungs_);
  shift.learned = std::move(learned_);
  shift.places = state_.plant.holding.places;
  shift.places_taken = static_cast<int>(
      std::count_if(shift.decisions.begin(), shift.decisions.end(), [](const Decision& each) {
        return each.disposition == Disposition::hold && each.hold && each.hold->has_place;
      }));
  shift.place_per_day = place_per_day_;
  return shift;
}

}  // namespace vialwright::decide
