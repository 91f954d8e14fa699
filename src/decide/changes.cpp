// What would change the answer: an order, a smaller least dose, a place, a price, a risk.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "decide/disposition.hpp"
#include "decide/words.hpp"

namespace vialwright::decide {
namespace {

constexpr std::size_t orders_told = 2;

/// "an order for MERE (worth 1.40 mk over scrapping, 96 in 100)", the worthiest first.
void by_an_order(const Case& asked, const line::State& state, const Market& market,
                 std::vector<std::string>& into) {
  std::vector<const TopupAnswer*> could;
  for (const TopupAnswer& each : asked.answers) {
    if (usable(each) && each.worth > -market.disposal()) could.push_back(&each);
  }
  std::stable_sort(could.begin(), could.end(),
                   [](const TopupAnswer* a, const TopupAnswer* b) { return a->worth > b->worth; });
  for (std::size_t i = 0; i < std::min(orders_told, could.size()); ++i) {
    into.push_back(fmt::format("an order for {} (worth {} over scrapping, {})", could[i]->recipe,
                               money_in_words(could[i]->worth + market.disposal(), state),
                               quantity::odds_in_words(odds_of(*could[i]))));
  }
}

/// The amounts that would do on paper, where a station cannot dose so little.
void by_a_smaller_dose(const Case& asked, const line::State& state,
                       std::vector<std::string>& into) {
  for (const TopupAnswer& each : asked.answers) {
    if (each.impossible != topup::Impossible::by_least_doses) continue;
    if (each.recipe != asked.decision.recipe) continue;
    const contents::Belief& belief = asked.decision.estimate->belief;
    topup::Options rough;  // the amounts are asked for, not the odds
    rough.conformity.points = rough.conformity.most_points = 64;
    const auto paper =
        topup::cheapest(belief, *asked.vial->recipe, means_of(state, *asked.vial, belief),
                        state.plant, state.book, rough);
    for (const topup::Addition& dose : paper.additions) {
      if (dose.station < 0) continue;
      const auto& station = state.plant.stations[static_cast<std::size_t>(dose.station)];
      if (dose.amount_g >= station.least_dose_g) continue;
      into.push_back(fmt::format(
          "a least dose of {} no larger than {:.4f} g (now {:.4f} g), with which {} can be met on "
          "paper",
          state.book.stocks[static_cast<std::size_t>(dose.stock)].id, dose.amount_g,
          station.least_dose_g, each.recipe));
    }
  }
}

/// A place of its own: what waiting would be worth if no other vial bid for the place.
void by_a_place(const Case& asked, const line::State& state, std::vector<std::string>& into) {
  if (asked.stays || asked.candidate.offers.empty()) return;
  holding::Terms alone = asked.candidate.terms;
  alone.place_per_day = 0.0;
  const double worth = holding::value_now(asked.candidate.offers, alone) + alone.disposal;
  if (worth < 0.005) return;
  into.push_back(fmt::format("one hold place more (waiting would be worth up to {})",
                             money_in_words(worth, state)));
}

void by_a_risk(const Case& asked, const line::State& state, std::vector<std::string>& into) {
  const Decision& decision = asked.decision;
  if (!decision.conformity || decision.conformity->ruling != conformity::Ruling::unclear) return;
  const double allowed = asked.vial->recipe->consumer_risk.value_or(state.plant.risks.consumer);
  into.push_back(fmt::format("a risk of {} wrong, where {} allows {}",
                             chance_in_words(1.0 - decision.conformity->joint.value),
                             decision.recipe, chance_in_words(allowed)));
}

/// Below which price of a fresh vial, or which odds, the top-up would no longer be made.
void by_a_price(const Case& asked, const line::State& state, const Market& market,
                std::vector<std::string>& into) {
  const TopupAnswer& found = asked.answers[static_cast<std::size_t>(asked.given)];
  const double odds = odds_of(found);
  if (found.topup.additions.empty() || !(odds > 0.0)) return;
  const double otherwise = std::max(asked.wait.value, -market.disposal());
  const double gain = asked.worth - otherwise;
  const double least = found.fresh - gain / odds;
  if (least > 0.0) {
    into.push_back(fmt::format("a fresh vial that costs less than {} (now {})",
                               money_in_words(least, state), money_in_words(found.fresh, state)));
  }
  const double saved = (asked.worth + found.topup.cost + (1.0 - odds) * market.disposal()) / odds;
  const double even = odds - gain / (saved + market.disposal());
  if (even > 0.0) {
    into.push_back(fmt::format("odds below {} (now {})", quantity::odds_in_words(even),
                               quantity::odds_in_words(odds)));
  }
}

}  // namespace

std::vector<std::string> changes(const Case& asked, const line::State& state,
                                 const Market& market) {
  std::vector<std::string> found;
  if (asked.given >= 0) {
    by_a_price(asked, state, market, found);
    if (!asked.nearly.empty()) {
      found.push_back(fmt::format("order {} bringing {} more", asked.nearly,
                                  money_in_words(std::max(0.01, asked.short_by), state)));
    }
    return found;
  }
  if (asked.spare) return {fmt::format("an order for {}", asked.decision.recipe)};
  by_an_order(asked, state, market, found);
  by_a_place(asked, state, found);
  by_a_smaller_dose(asked, state, found);
  by_a_risk(asked, state, found);
  if (found.empty() && asked.decision.disposition == Disposition::scrap) {
    found.emplace_back("a recipe with wider or other tolerances");
  }
  return found;
}

}  // namespace vialwright::decide
