#include "decide/waiting.hpp"

#include <algorithm>
#include <array>

namespace vialwright::decide {
namespace {

constexpr double day_s = 86'400.0;

/// Where the worth of a top-up is computed anew, as shares of the longest wait; linear between.
/// Fade and loss are slow and smooth, so a few will do.
constexpr std::array knots = {0.0, 0.25, 0.5, 1.0};

/// Days that the vial may still be held, by the rule of the line.
double days_left(const line::VialRecord& vial, const line::State& state) {
  const double held =
      vial.held_since ? quantity::seconds_between(*vial.held_since, state.as_of) / day_s : 0.0;
  return std::max(0.0, state.plant.holding.longest_days - std::max(0.0, held));
}

Instant days_later(const line::State& state, double days) {
  return quantity::later_by(state.as_of, days * day_s);
}

/// Orders that will come are not late when they come: only the fresh vial is saved.
holding::Offer offer_of(const TopupAnswer& answer, const Case& asked, const Market& market,
                        const Rescues& rescues, double longest_days) {
  holding::Offer offer;
  offer.recipe = answer.recipe;
  offer.demand = *market.demand(answer.recipe);
  for (const double share : knots) {
    const double days = share * longest_days;
    if (!offer.at_days.empty() && days <= offer.at_days.back()) continue;
    const double odds = share == 0.0
                            ? odds_of(answer)
                            : rescues.odds_later(answer, days, *asked.vial, asked.decision);
    offer.at_days.push_back(days);
    offer.worth.push_back(
        std::max(-market.disposal(), market.worth(odds, answer.topup.cost, answer.fresh)));
  }
  return offer;
}

/// First expired, first out: the time until nothing that it could fill is worth more than scrap.
double good_for(const holding::Candidate& candidate) {
  double good = 0.0;
  for (const holding::Offer& offer : candidate.offers) {
    for (std::size_t k = 0; k < offer.worth.size(); ++k) {
      if (offer.worth[k] > -candidate.terms.disposal) good = std::max(good, offer.at_days[k]);
    }
  }
  return std::min(good, candidate.terms.longest_days);
}

/// What it waits for, by what each kind of order brings a day.
std::vector<std::string> weightiest(const Case& asked) {
  struct Weighed {
    const std::string* recipe;
    double per_day;
  };
  std::vector<Weighed> weighed;
  weighed.reserve(asked.candidate.offers.size());
  for (const holding::Offer& offer : asked.candidate.offers) {
    const double gain = offer.worth.front() - asked.wait.value;
    if (gain > 0.0) weighed.push_back({&offer.recipe, gain * offer.demand.rate()});
  }
  std::stable_sort(weighed.begin(), weighed.end(),
                   [](const auto& a, const auto& b) { return a.per_day > b.per_day; });
  std::vector<std::string> recipes;
  recipes.reserve(weighed.size());
  for (const Weighed& each : weighed) recipes.push_back(*each.recipe);
  return recipes;
}

}  // namespace

holding::Candidate candidate_of(const Case& asked, const Market& market, const Rescues& rescues,
                                const line::State& state) {
  holding::Candidate candidate;
  candidate.serial = asked.vial->serial;
  candidate.holds_a_place = asked.vial->held_since.has_value();
  candidate.terms.disposal = market.disposal();
  candidate.terms.cost_per_day = state.plant.holding.cost_per_day;
  candidate.terms.longest_days = days_left(*asked.vial, state);
  if (!(candidate.terms.longest_days > 0.0)) return candidate;
  for (const TopupAnswer& answer : asked.answers) {
    if (!usable(answer) || market.demand(answer.recipe) == nullptr) continue;
    candidate.offers.push_back(
        offer_of(answer, asked, market, rescues, candidate.terms.longest_days));
  }
  candidate.good_for_days = good_for(candidate);
  return candidate;
}

HoldAnswer hold_answer(const Case& asked, const line::State& state) {
  const holding::Wait& wait = asked.wait;
  HoldAnswer answer;
  answer.value = wait.value + asked.candidate.terms.disposal;
  answer.limit = days_later(state, wait.limit_days);
  answer.limit_low = days_later(state, wait.limit_low);
  answer.limit_high = days_later(state, wait.limit_high);
  answer.ends = wait.ends;
  for (const double days : wait.at_days) answer.at.push_back(days_later(state, days));
  answer.over_scrapping = wait.over_scrapping;
  answer.odds_1_day = wait.odds_1;
  answer.odds_3_days = wait.odds_3;
  answer.odds_7_days = wait.odds_7;
  answer.counted_on = asked.counted_on;
  answer.has_place = asked.stays;
  answer.for_recipes = weightiest(asked);
  return answer;
}

}  // namespace vialwright::decide
