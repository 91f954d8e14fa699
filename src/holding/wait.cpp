#include <algorithm>
#include <boost/math/distributions/gamma.hpp>
#include <cmath>

#include "error/error.hpp"
#include "holding/course.hpp"

namespace vialwright::holding {
namespace {

constexpr int points_of_taper = 33;
constexpr std::array told_days = {1.0, 3.0, 7.0};

/// Half of what an offer loses with time.
Offer losing_half(Offer offer) {
  for (double& worth : offer.worth) worth = 0.5 * (offer.worth.front() + worth);
  return offer;
}

/// Silence that tells half as much: the same rate now, after t days that after t / 2.
Offer half_as_silent(Offer offer) {
  offer.demand.shape *= 2.0;
  offer.demand.days *= 2.0;
  return offer;
}

/// Of all that ends the wait, what would prolong it most if there were half of it.
Ends ends_of(std::span<const Offer> offers, const Terms& terms, double demand, double limit) {
  if (limit >= terms.longest_days) return Ends::longest;
  const auto limit_with = [&](Offer (*change)(Offer), Terms changed) {
    std::vector<Offer> others(offers.begin(), offers.end());
    if (change != nullptr)
      for (Offer& offer : others) offer = change(std::move(offer));
    return Course(others, changed, demand).limit();
  };
  Terms cheap = terms, roomy = terms;
  cheap.cost_per_day *= 0.5;
  roomy.place_per_day *= limit > 0.0 ? 0.5 : 0.0;
  const double with_room = limit_with(nullptr, roomy);
  if (limit <= 0.0) return with_room > 0.0 ? Ends::place : Ends::never_pays;
  Ends ends = Ends::worth;
  double longest = limit_with(losing_half, terms);
  const auto compare = [&](Ends which, double then) {
    if (then > longest) longest = then, ends = which;
  };
  if (terms.learn_while_waiting) compare(Ends::silence, limit_with(half_as_silent, terms));
  compare(Ends::place, with_room);
  compare(Ends::cost, limit_with(nullptr, cheap));
  return ends;
}

/// The demand at an end of its 95 % interval, over its mean. What all offers together bring a day
/// is a sum of Gamma variables; one Gamma with the same mean and variance stands for it (Welch 1947
/// and Satterthwaite 1946 do so for variances). Exact for one offer.
std::pair<double, double> doubt_of(std::span<const Offer> offers, double disposal) {
  double mean = 0.0, variance = 0.0;
  for (const Offer& offer : offers) {
    const double over = offer.worth.front() + disposal;
    if (!counts(offer) || over <= 0.0) continue;
    const double income = over * offer.demand.rate();
    mean += income;
    variance += income * income / offer.demand.shape;
  }
  if (variance <= 0.0) return {1.0, 1.0};
  const double shape = mean * mean / variance;
  const boost::math::gamma_distribution<> gamma(shape);
  return {boost::math::quantile(gamma, 0.025) / shape, boost::math::quantile(gamma, 0.975) / shape};
}

}  // namespace

void require_sound(std::span<const Offer> offers, const Terms& terms) {
  require(terms.disposal >= 0.0 && terms.cost_per_day >= 0.0 && terms.place_per_day >= 0.0 &&
              terms.longest_days >= 0.0 && std::isfinite(terms.longest_days),
          "terms of holding are not negative, the longest time is finite");
  for (const Offer& offer : offers) {
    require(!offer.at_days.empty() && offer.at_days.size() == offer.worth.size() &&
                offer.at_days.front() == 0.0 && std::ranges::is_sorted(offer.at_days),
            "knots ascend from 0, one worth each");
  }
}

std::string_view word(Ends ends) {
  switch (ends) {
    case Ends::never_pays:
      return "waiting never pays: nothing it fits is likely enough to come";
    case Ends::cost:
      return "holding it costs more than it may still earn";
    case Ends::place:
      return "its place costs more than it may still earn";
    case Ends::worth:
      return "it loses its worth";
    case Ends::silence:
      return "nothing came for so long that little is likely to come";
    case Ends::longest:
      return "it may not be held longer";
  }
  return "";
}

double value_now(std::span<const Offer> offers, const Terms& terms) {
  require_sound(offers, terms);
  if (is_level(offers, terms)) return level_value(offers, terms);
  return Course(offers, terms).now();
}

Wait wait_for_part(std::span<const Offer> offers, const Terms& terms, double demand) {
  const Course course(offers, terms, demand, told_days);
  Wait found;
  found.value = course.now();
  found.limit_days = course.limit();
  Terms known = terms;
  known.learn_while_waiting = false;
  const auto [low, high] = doubt_of(offers, terms.disposal);
  found.limit_low = std::min(found.limit_days, Course(offers, known, demand * low).limit());
  found.limit_high = std::max(found.limit_days, Course(offers, known, demand * high).limit());
  found.ends = ends_of(offers, terms, demand, found.limit_days);
  const double last = std::max(found.limit_days, 1e-3 * terms.longest_days);
  for (int i = 0; i < points_of_taper; ++i) {
    found.at_days.push_back(last * i / (points_of_taper - 1));
    found.over_scrapping.push_back(course.at(found.at_days.back()) + terms.disposal);
  }
  found.odds_1 = course.odds_within(told_days[0]);
  found.odds_3 = course.odds_within(told_days[1]);
  found.odds_7 = course.odds_within(told_days[2]);
  return found;
}

Wait wait(std::span<const Offer> offers, const Terms& terms) {
  require_sound(offers, terms);
  Wait found = wait_for_part(offers, terms, 1.0);
  if (is_level(offers, terms)) found.value = level_value(offers, terms);
  return found;
}

bool takes(double worth, const Wait& wait) { return worth >= wait.value; }

}  // namespace vialwright::holding
