/// The engine as adviser of the twin: hears what arrives, folds it, decides, and says what to do.
#pragma once

#include <gtest/gtest.h>

#include <map>
#include <string>
#include <utility>
#include <vector>

#include "decide/decide.hpp"
#include "twin/twin.hpp"

namespace vialwright::worlds {

class DecidingAdviser {
 public:
  explicit DecidingAdviser(const line::LineFile& line) : line_(line) {}

  twin::Advice operator()(const twin::Question& question) {
    for (std::size_t i = 0; i < question.news.size(); ++i) {
      auto event = event::parse(question.news[i], "twin");
      if (!event) ADD_FAILURE() << event.error().what;
      facts_.push_back({*std::move(event), facts_.size() + 1, question.received[i]});
    }
    const line::State state = line::fold(line_, facts_, question.now);
    const line::VialRecord* vial = line::find_vial(state, question.serial);
    if (vial == nullptr) return {};
    const decide::Decision decision = decide::decide_vial(state, *vial, {});
    ++dispositions[std::string(decide::word(decision.disposition))];
    twin::Advice advice = advice_of(decision, state, question.now);
    const event::Event made =
        decide::as_event(decision, decide::provenance_of(state, "", {}), ++sequence_);
    advice.decision = made.id;
    if (advice.what == twin::Advice::Do::top_up) advice.decided = {event::write(made)};
    return advice;
  }

  std::map<std::string, int> dispositions;

 private:
  static twin::Advice advice_of(const decide::Decision& decision, const line::State& state,
                                quantity::Instant now) {
    using enum decide::Disposition;
    twin::Advice advice;
    advice.order = decision.for_order;
    advice.recipe = decision.for_recipe;
    if (const auto* recipe = line::find_recipe(state, decision.for_recipe)) {
      advice.recipe_version = recipe->version;
    }
    advice.reason = decision.headline;
    switch (decision.disposition) {
      case release:
        advice.what = twin::Advice::Do::release;
        break;
      case measure_again:
        advice.what = twin::Advice::Do::weigh_again;
        break;
      case rework:
        advice.what = twin::Advice::Do::top_up;
        advice.additions = additions_of(decision, state);
        break;
      case hold:
      case open:
        advice.what = twin::Advice::Do::hold;
        advice.ask_again =
            decision.hold ? decision.hold->limit : quantity::later_by(now, 6.0 * 3600.0);
        break;
      case scrap:
        break;
    }
    return advice;
  }

  static std::vector<twin::Told> additions_of(const decide::Decision& decision,
                                              const line::State& state) {
    std::vector<twin::Told> told;
    for (const decide::TopupAnswer& answer : decision.topups) {
      if (answer.recipe != decision.for_recipe) continue;
      for (const topup::Addition& it : answer.topup.additions) {
        told.push_back({state.book.stocks.at(static_cast<std::size_t>(it.stock)).id,
                        state.plant.stations.at(static_cast<std::size_t>(it.station)).id,
                        it.amount_g});
      }
      return told;
    }
    return told;
  }

  const line::LineFile& line_;
  std::vector<line::Fact> facts_;
  std::uint64_t sequence_ = 0;
};

}  // namespace vialwright::worlds
