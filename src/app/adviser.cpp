#include "app/adviser.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <utility>

#include "app/loaded.hpp"

namespace vialwright::app {
namespace {

constexpr double look_again_s = 6.0 * 3600.0;  ///< at a held vial whose hold has no limit

std::vector<twin::Told> told(const topup::Topup& topup, const line::State& state) {
  std::vector<twin::Told> doses;
  for (const topup::Addition& each : topup.additions) {
    doses.push_back({state.book.stocks[static_cast<std::size_t>(each.stock)].id,
                     state.plant.stations[static_cast<std::size_t>(each.station)].id,
                     each.amount_g});
  }
  return doses;
}

const decide::TopupAnswer* advised_topup(const decide::Decision& decision) {
  const auto found =
      std::ranges::find(decision.topups, decision.for_recipe, &decide::TopupAnswer::recipe);
  return found == decision.topups.end() ? nullptr : &*found;
}

twin::Advice::Do doing(decide::Disposition disposition) {
  switch (disposition) {
    case decide::Disposition::release:
      return twin::Advice::Do::release;
    case decide::Disposition::measure_again:
      return twin::Advice::Do::weigh_again;
    case decide::Disposition::rework:
      return twin::Advice::Do::top_up;
    case decide::Disposition::hold:
    case decide::Disposition::open:
      return twin::Advice::Do::hold;
    case decide::Disposition::scrap:
      break;
  }
  return twin::Advice::Do::scrap;
}

twin::Advice advice_of(const decide::Decision& decision, const line::State& state,
                       quantity::Instant now) {
  twin::Advice advice;
  advice.what = doing(decision.disposition);
  advice.order = decision.for_order;
  advice.recipe = decision.for_recipe;
  if (const recipe::Recipe* recipe = line::find_recipe(state, decision.for_recipe))
    advice.recipe_version = recipe->version;
  advice.reason = decision.headline;
  if (advice.what == twin::Advice::Do::hold) {
    advice.ask_again = decision.hold ? decision.hold->limit : quantity::later_by(now, look_again_s);
  }
  if (advice.what == twin::Advice::Do::top_up) {
    if (const decide::TopupAnswer* answer = advised_topup(decision))
      advice.additions = told(answer->topup, state);
  }
  return advice;
}

}  // namespace

void EngineAdvises::hear(const twin::Question& question) {
  for (std::size_t i = 0; i < question.news.size(); ++i) {
    auto event = event::parse(question.news[i], "the simulated line");
    // What cannot be read is no fact: an import would refuse it too.
    if (event) facts_.push_back({*std::move(event), facts_.size() + 1, question.received[i]});
  }
}

twin::Advice EngineAdvises::operator()(const twin::Question& question) {
  hear(question);
  const line::State state = line::fold(line_, facts_, question.now);
  const line::VialRecord* vial = line::find_vial(state, question.serial);
  if (vial == nullptr) return {};
  const decide::Options options = options_for(state);
  const decide::Decision decision = decide::decide_vial(state, *vial, options);
  const event::Event made =
      decide::as_event(decision, decide::provenance_of(state, "", options), 0);
  progress_.show(fmt::format("{} questions answered", ++decided_));
  twin::Advice advice = advice_of(decision, state, question.now);
  advice.decision = made.id;
  if (advice.what != twin::Advice::Do::release) advice.decided = {event::write(made)};
  return advice;
}

}  // namespace vialwright::app
