#include "decide/disposition.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "decide/words.hpp"

namespace vialwright::decide {
namespace {

constexpr double still_being_made_s =
    600.0;  ///< silence after which an unweighed vial is a question

void answer(Decision& decision, Disposition disposition, std::string headline) {
  decision.disposition = disposition;
  decision.headline = std::move(headline);
}

bool weighed_since_last_dose(const line::VialRecord& vial) {
  return std::any_of(vial.readings.begin(), vial.readings.end(), [&](const auto& reading) {
    return reading.kind == line::Weighed::gross && reading.quality == line::Quality::clear &&
           reading.after_doses == static_cast<int>(vial.doses.size());
  });
}

bool ended(Decision& decision, const line::VialRecord& vial) {
  if (vial.fate == line::Fate::released) {
    answer(decision, Disposition::release, "It has been released.");
    return true;
  }
  if (vial.fate == line::Fate::scrapped) {
    answer(decision, Disposition::scrap, "It has been scrapped.");
    return true;
  }
  return false;
}

bool overruled(Decision& decision, const line::VialRecord& vial) {
  if (!vial.overruled) return false;
  const auto chosen = disposition_of(vial.overruled->disposition);
  if (!chosen) return false;
  answer(decision, *chosen, fmt::format("{} decided: {}.", vial.overruled->who, word(*chosen)));
  decision.reasons.push_back("Reason given: " + vial.overruled->why);
  return true;
}

bool identity_in_doubt(Decision& decision, const line::VialRecord& vial) {
  if (vial.conflicts.empty()) return false;
  answer(decision, Disposition::measure_again,
         "Cannot tell which vial was measured: " + vial.conflicts.front().what + ".");
  for (const line::Conflict& conflict : vial.conflicts) {
    std::string between;
    for (const line::Origin& origin : conflict.between) {
      between += (between.empty() ? "" : ", ") + origin.id;
    }
    decision.reasons.push_back(fmt::format("{} (events {})", conflict.what, between));
  }
  decision.would_change.push_back(
      "reading the code on the vial, then a new tare-free check: weigh it again under that code");
  return true;
}

bool unfinished(Decision& decision, const line::VialRecord& vial, const line::State& state) {
  if (!vial.doses.empty() && weighed_since_last_dose(vial)) return false;
  const double silent_s =
      vial.last_event ? quantity::seconds_between(*vial.last_event, state.as_of) : 0.0;
  if (silent_s <= still_being_made_s) {
    answer(decision, Disposition::open, "Still being made.");
    return true;
  }
  const char* missing =
      vial.doses.empty() ? "no dose was recorded" : "it was not weighed after its last dose";
  answer(decision, Disposition::measure_again,
         fmt::format("Nothing heard of it for {:.0f} min, and {}.", silent_s / 60.0, missing));
  decision.would_change.emplace_back("a gross weighing");
  return true;
}

bool expired_lot(Decision& decision, const line::VialRecord& vial, const line::State& state) {
  for (const line::DoseRecord& dose : vial.doses) {
    if (dose.lot < 0) continue;
    const recipe::Lot& lot = state.book.lots[static_cast<std::size_t>(dose.lot)];
    if (!lot.expires || dose.origin.time <= *lot.expires) continue;
    answer(decision, Disposition::hold,
           fmt::format("It was dosed from lot {}, which expired on {}.", lot.id,
                       quantity::to_text(*lot.expires)));
    decision.would_change.emplace_back(
        "a person who finds the lot still usable, or the record wrong");
    return true;
  }
  return false;
}

bool not_for_release(Decision& decision, const line::VialRecord& vial, const line::State& state) {
  if (!vial.sound) {
    answer(decision, Disposition::hold, "Inspection found it unsound.");
    decision.reasons.emplace_back("A person looks at it before anything else happens to it.");
    decision.would_change.emplace_back("an inspection that finds it sound");
    return true;
  }
  if (!vial.recipe) {
    answer(decision, Disposition::hold, "It is bound to no order and recipe.");
    decision.would_change.emplace_back("binding it to an order");
    return true;
  }
  if (expired_lot(decision, vial, state)) return true;
  for (const line::DoseRecord& dose : vial.doses) {
    const auto& permitted = vial.recipe->stocks;
    if (std::find(permitted.begin(), permitted.end(), dose.stock) != permitted.end()) continue;
    answer(
        decision, Disposition::hold,
        fmt::format("It holds {}, which {} does not permit.",
                    state.book.stocks[static_cast<std::size_t>(dose.stock)].id, vial.recipe->id));
    decision.would_change.emplace_back("a person who finds that the dose went elsewhere");
    return true;
  }
  return false;
}

double risk_of(const recipe::Recipe& recipe, const plant::Plant& plant) {
  return recipe.consumer_risk.value_or(plant.risks.consumer);
}

/// Evidence that disagrees with itself. Where the vial is good whichever explanation holds, the
/// disagreement is told and the vial goes on; else it must be settled first.
bool contradicted(Decision& decision, const recipe::Recipe& recipe, const plant::Plant& plant) {
  const contents::Estimate& estimate = *decision.estimate;
  if (!estimate.contradiction) return false;
  const std::string doubt =
      fmt::format("The evidence disagrees with itself (chance of that in a sound vial: {}).",
                  chance_in_words(estimate.p_value));
  const double good = decision.whichever ? decision.whichever->value : 0.0;
  if (good >= 1.0 - risk_of(recipe, plant)) {
    answer(decision, Disposition::release,
           fmt::format("Good for {} whichever reading is wrong: {} that every line holds.",
                       recipe.id, quantity::odds_in_words(good)));
    decision.reasons.push_back(doubt);
    for (const std::string& line : explanations_in_words(decision)) {
      decision.reasons.push_back(line);
    }
    decision.would_change.push_back(what_would_settle(decision));
    return true;
  }
  const bool plainly_bad = estimate.settled &&
                           decision.conformity->ruling == conformity::Ruling::reject &&
                           good <= plant.risks.producer;
  if (plainly_bad) {
    decision.reasons.push_back(doubt + " " + believed_in_words(decision));
    return false;
  }
  const std::string suspects = suspects_in_words(decision);
  const bool one_is_believed =
      estimate.settled && !estimate.explanations.empty() &&
      estimate.explanations.front().wrong != contents::Explanation::Wrong::nothing;
  answer(decision, Disposition::measure_again,
         one_is_believed
             ? fmt::format("Believed: {}; without that the vial is not surely good ({}).", suspects,
                           quantity::odds_in_words(good))
             : "Cannot tell: " + suspects + ".");
  decision.reasons.push_back(
      doubt + fmt::format(" Over all explanations it is good {}.", quantity::odds_in_words(good)));
  for (const std::string& line : explanations_in_words(decision)) decision.reasons.push_back(line);
  decision.would_change.push_back(what_would_settle(decision));
  return true;
}

void explain_conformity(Decision& decision, const line::State& state,
                        const recipe::Recipe& recipe) {
  const conformity::Conformity& found = *decision.conformity;
  decision.on_the_edge = found.on_the_edge;
  if (found.binding < 0) return;
  const auto at = static_cast<std::size_t>(found.binding);
  decision.binding = line_in_words(recipe.tolerances[at], found.lines[at], state.book);
  decision.reasons.push_back(fmt::format("The line that binds: {}.", decision.binding));
  if (found.on_the_edge) {
    decision.reasons.emplace_back(
        "On the edge: within the numerical error of the threshold that decided.");
  }
}

bool good(Decision& decision, const recipe::Recipe& recipe, const plant::Plant& plant) {
  const conformity::Conformity& found = *decision.conformity;
  if (found.ruling != conformity::Ruling::release) return false;
  answer(decision, Disposition::release,
         fmt::format("Good for {}: {} that every line holds.", recipe.id,
                     quantity::odds_in_words(found.joint.value)));
  decision.would_change.push_back(fmt::format("a risk below {} wrong; this order allows {}",
                                              chance_in_words(1.0 - found.joint.value),
                                              chance_in_words(risk_of(recipe, plant))));
  return true;
}

bool worth_another_reading(Decision& decision, const plant::Plant& plant) {
  if (!decision.reading_worth || decision.conformity->ruling != conformity::Ruling::unclear) {
    return false;
  }
  const conformity::ReadingWorth& worth = *decision.reading_worth;
  const std::string money = fmt::format("worth {:.2f} {} against a price of {:.2f} {}", worth.gain,
                                        plant.prices.unit, plant.prices.reading, plant.prices.unit);
  if (worth.gain <= plant.prices.reading) {
    decision.reasons.push_back("Another weighing does not pay: " + money + ".");
    return false;
  }
  answer(decision, Disposition::measure_again,
         fmt::format("Neither good nor bad yet ({} good): another weighing pays.",
                     quantity::odds_in_words(decision.conformity->joint.value)));
  decision.reasons.push_back(fmt::format("Another weighing is {}; {} that it leads to release.",
                                         money, quantity::odds_in_words(worth.odds_release)));
  decision.would_change.emplace_back("the next gross weighing");
  return true;
}

/// What a top-up earns on average, against what scrapping costs; both in units of account.
double expected_gain(const topup::Topup& topup, double good_value, const plant::Prices& prices) {
  return topup.odds.value * good_value - (1.0 - topup.odds.value) * prices.scrap - topup.cost;
}

bool saves(const topup::Topup& topup, double good_value, const plant::Prices& prices) {
  const bool can =
      topup.outcome == topup::Outcome::found || topup.outcome == topup::Outcome::nothing_needed;
  // Below even odds an addition spoils more than it saves; the vial waits for something better.
  return can && topup.dosable && topup.odds.value >= 0.5 &&
         expected_gain(topup, good_value, prices) > -prices.scrap;
}

/// On paper it can be saved, but not by an addition that is worth making now.
void hold_for_better(Decision& decision, const std::string& now) {
  const auto on_paper =
      std::find_if(decision.topups.begin(), decision.topups.end(), [](const TopupAnswer& each) {
        return each.topup.outcome == topup::Outcome::found ||
               each.topup.outcome == topup::Outcome::nothing_needed;
      });
  if (on_paper == decision.topups.end()) {
    // Nothing that may be added now is not the same as nothing at all: a fresh lot may save it.
    const auto forbidden =
        std::find_if(decision.topups.begin(), decision.topups.end(), [&](const TopupAnswer& each) {
          return each.recipe == decision.recipe &&
                 each.topup.outcome == topup::Outcome::not_permitted;
        });
    if (forbidden != decision.topups.end()) {
      answer(decision, Disposition::hold, now + "; what would save it may not be added now.");
      decision.would_change.emplace_back("loading another lot, or a permission in the line file");
      return;
    }
    answer(decision, Disposition::scrap, now + ", and no addition brings it to any recipe.");
    decision.would_change.emplace_back("a recipe with wider or other tolerances");
    return;
  }
  const bool nothing_better = on_paper->topup.outcome == topup::Outcome::nothing_needed;
  answer(decision, Disposition::hold,
         nothing_better
             ? now + ", and no addition makes it surer."
             : fmt::format("{}; the best top-up found, to {}, has only {}.", now, on_paper->recipe,
                           quantity::odds_in_words(on_paper->topup.odds.value)));
  if (!on_paper->topup.because.empty()) decision.reasons.push_back(on_paper->topup.because + ".");
  decision.would_change.emplace_back("another lot, another order, or another reading");
}

void choose_rescue(Decision& decision, const recipe::Recipe& own, const line::State& state) {
  const plant::Prices& prices = state.plant.prices;
  const double value = own.value > 0.0 ? own.value : prices.good;
  const std::string odds = quantity::odds_in_words(decision.conformity->joint.value);
  const bool bad = decision.conformity->ruling == conformity::Ruling::reject;
  const std::string now = bad ? fmt::format("Not good for {} as it is ({} good)", own.id, odds)
                              : fmt::format("Not surely good for {} ({})", own.id, odds);
  const TopupAnswer* best = nullptr;
  for (const TopupAnswer& candidate : decision.topups) {
    if (!saves(candidate.topup, value, prices)) continue;
    if (candidate.recipe == own.id && candidate.topup.outcome == topup::Outcome::found) {
      answer(
          decision, Disposition::rework,
          fmt::format("{}, but {} saves it: {}.", now, additions_in_words(candidate.topup, state),
                      quantity::odds_in_words(candidate.topup.odds.value)));
      decision.would_change.emplace_back("another lot at the station, or another dose so far");
      return;
    }
    if (candidate.recipe != own.id &&
        (best == nullptr || candidate.topup.odds.value > best->topup.odds.value)) {
      best = &candidate;
    }
  }
  if (best != nullptr) {
    const std::string how = best->topup.additions.empty()
                                ? fmt::format("it meets {} as it is", best->recipe)
                                : fmt::format("it can become {} by {}", best->recipe,
                                              additions_in_words(best->topup, state));
    answer(decision, Disposition::hold,
           fmt::format("{}; {}: {}.", now, how, quantity::odds_in_words(best->topup.odds.value)));
    decision.would_change.push_back(best->order.empty()
                                        ? fmt::format("an order for {}", best->recipe)
                                        : fmt::format("giving it to order {}", best->order));
    return;
  }
  hold_for_better(decision, now);
}

void explain_own_topup(Decision& decision, const recipe::Recipe& own) {
  for (const TopupAnswer& candidate : decision.topups) {
    if (candidate.recipe != own.id || candidate.topup.because.empty()) continue;
    decision.reasons.push_back(fmt::format("Back to {}: {}", own.id, candidate.topup.because));
  }
}

}  // namespace

void dispose(Decision& decision, const line::VialRecord& vial, const line::State& state,
             const Options& /*options*/) {
  if (ended(decision, vial) || overruled(decision, vial)) return;
  if (identity_in_doubt(decision, vial) || unfinished(decision, vial, state)) return;
  if (not_for_release(decision, vial, state) || contradicted(decision, *vial.recipe, state.plant)) {
    return;
  }
  const recipe::Recipe& own = *vial.recipe;
  explain_conformity(decision, state, own);
  if (good(decision, own, state.plant) || worth_another_reading(decision, state.plant)) return;
  explain_own_topup(decision, own);
  choose_rescue(decision, own, state);
}

}  // namespace vialwright::decide
