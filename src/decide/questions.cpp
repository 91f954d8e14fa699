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

/// What was added to it, when, and what the advice then said.
void tell_topups(Decision& decision, const line::VialRecord& vial) {
  for (const line::AppliedTopup& topup : vial.topups) {
    const std::string advised = event::text_in(topup.advised, "headline");
    decision.reasons.push_back(fmt::format(
        "Topped up at {}{}", quantity::to_text(topup.origin.time),
        advised.empty() ? "; the advice is not in this book." : ", as advised: " + advised));
  }
}

bool ended(Decision& decision, const line::VialRecord& vial) {
  if (vial.fate != line::Fate::open) tell_topups(decision, vial);
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

/// Stocks that its own recipe does not permit: something is not as the record says.
bool foreign_stock(Decision& decision, const line::VialRecord& vial, const line::State& state) {
  if (!vial.recipe) return false;
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

bool not_for_release(Decision& decision, const line::VialRecord& vial, const line::State& state) {
  if (!vial.sound) {
    answer(decision, Disposition::hold, "Inspection found it unsound.");
    decision.reasons.emplace_back("A person looks at it before anything else happens to it.");
    decision.would_change.emplace_back("an inspection that finds it sound");
    return true;
  }
  return expired_lot(decision, vial, state) || foreign_stock(decision, vial, state);
}

double risk_of(const recipe::Recipe& recipe, const plant::Plant& plant) {
  return recipe.consumer_risk.value_or(plant.risks.consumer);
}

/// Good whichever explanation holds: the disagreement is told, and the vial goes on.
bool good_whichever(Decision& decision, const line::VialRecord& vial, const plant::Plant& plant,
                    const std::string& doubt) {
  const double good = decision.whichever ? decision.whichever->value : 0.0;
  if (!vial.recipe || good < 1.0 - risk_of(*vial.recipe, plant)) return false;
  answer(decision, Disposition::release,
         fmt::format("Good for {} whichever reading is wrong: {} that every line holds.",
                     vial.recipe->id, quantity::odds_in_words(good)));
  decision.for_order = vial.order;
  decision.for_recipe = vial.recipe->id;
  decision.reasons.push_back(doubt);
  return true;
}

/// Bad by the explanation that is believed, and not good by the others: no reading will save it.
bool plainly_bad(const Decision& decision, const plant::Plant& plant) {
  const double good = decision.whichever ? decision.whichever->value : 0.0;
  return decision.estimate->settled && decision.conformity &&
         decision.conformity->ruling == conformity::Ruling::reject && good <= plant.risks.producer;
}

std::string question(const Decision& decision, const plant::Plant& plant) {
  const contents::Estimate& estimate = *decision.estimate;
  const std::string suspects = suspects_in_words(decision);
  const bool one_is_believed =
      estimate.settled && !estimate.explanations.empty() &&
      estimate.explanations.front().wrong != contents::Explanation::Wrong::nothing;
  if (!one_is_believed || !decision.whichever) {
    const bool one_stands = estimate.explanations.front().odds >= plant.risks.sure;
    return "Cannot tell: " + suspects + (one_stands ? ", but that does not explain it all." : ".");
  }
  return fmt::format("Believed: {}; without that the vial is not surely good ({}).", suspects,
                     quantity::odds_in_words(decision.whichever->value));
}

/// Evidence that disagrees with itself. Where the vial is good whichever explanation holds, the
/// disagreement is told and the vial goes on; else it must be settled first.
bool contradicted(Decision& decision, const line::VialRecord& vial, const plant::Plant& plant) {
  if (!decision.estimate->contradiction) return false;
  std::string doubt =
      fmt::format("The evidence disagrees with itself (chance of that in a sound vial: {}).",
                  chance_in_words(decision.estimate->p_value));
  if (plainly_bad(decision, plant)) {
    decision.reasons.push_back(doubt + " " + believed_in_words(decision));
    return false;
  }
  if (!good_whichever(decision, vial, plant, doubt)) {
    answer(decision, Disposition::measure_again, question(decision, plant));
    if (decision.whichever) {
      doubt += fmt::format(" Over all explanations it is good {}.",
                           quantity::odds_in_words(decision.whichever->value));
    }
    decision.reasons.push_back(doubt);
  }
  for (const std::string& line : explanations_in_words(decision)) decision.reasons.push_back(line);
  decision.would_change.push_back(what_would_settle(decision));
  return true;
}

/// Was the liquid seen to scatter when its colour was last looked at?
bool is_cloudy(const line::VialRecord& vial) {
  for (auto reading = vial.readings.rbegin(); reading != vial.readings.rend(); ++reading) {
    if (reading->kind == line::Weighed::colour && reading->quality == line::Quality::clear)
      return reading->cloudy;
  }
  return false;
}

/// A recipe that asks for a colour, and a liquid that the law of clear ones does not hold for.
bool colour_in_doubt(Decision& decision, const line::VialRecord& vial) {
  if (!vial.recipe || vial.recipe->colours.empty() || !decision.conformity) return false;
  std::string why = decision.conformity->doubt;
  if (why.empty() && is_cloudy(vial)) why = "it was seen to be cloudy";
  if (why.empty()) return false;
  answer(decision, Disposition::hold, fmt::format("Its colour cannot be judged: {}.", why));
  decision.would_change.emplace_back("a person who looks at it, or a reading that finds it clear");
  return true;
}

/// Its colour decides, and nobody has looked since it was mixed.
bool colour_unread(Decision& decision) {
  if (!decision.colour_unread) return false;
  answer(decision, Disposition::measure_again,
         fmt::format("Neither good nor bad yet ({} good): its colour decides, and no reading of it "
                     "counts.",
                     quantity::odds_in_words(decision.conformity->joint.value)));
  for (const std::string& each : decision.unused) {
    if (each.starts_with("colour ")) decision.reasons.push_back("Not counted: " + each + ".");
  }
  decision.would_change.emplace_back("a reading of its colour, once it is mixed");
  return true;
}

}  // namespace

bool settled(Decision& decision, const line::VialRecord& vial, const line::State& state) {
  return ended(decision, vial) || overruled(decision, vial) || identity_in_doubt(decision, vial) ||
         unfinished(decision, vial, state) || not_for_release(decision, vial, state) ||
         contradicted(decision, vial, state.plant) || colour_in_doubt(decision, vial) ||
         colour_unread(decision);
}

bool is_good(const Decision& decision) {
  return decision.conformity && decision.conformity->ruling == conformity::Ruling::release;
}

void explain_conformity(Decision& decision, const line::VialRecord& vial,
                        const line::State& state) {
  if (!decision.conformity) return;
  const conformity::Conformity& found = *decision.conformity;
  decision.on_the_edge = found.on_the_edge;
  if (found.binding < 0) return;
  const auto at = static_cast<std::size_t>(found.binding);
  decision.binding = line_in_words(vial.recipe->tolerances[at], found.lines[at], state.book);
  decision.reasons.push_back(fmt::format("The line that binds: {}.", decision.binding));
  if (found.on_the_edge) {
    decision.reasons.emplace_back(
        "On the edge: within the numerical error of the threshold that decided.");
  }
}

}  // namespace vialwright::decide
