#include <algorithm>
#include <cmath>
#include <limits>

#include "error/error.hpp"
#include "holding/holding.hpp"

namespace vialwright::holding {
namespace {

constexpr int steps_a_piece = 24;  ///< of fourth order; the error falls by 16 where they double
constexpr int points_of_taper = 33;

/// The worth of an offer at a time: linear between knots, level after the last.
double worth_at(const Offer& offer, double t) {
  const auto after = std::ranges::upper_bound(offer.at_days, t);
  if (after == offer.at_days.begin()) return offer.worth.front();
  if (after == offer.at_days.end()) return offer.worth.back();
  const auto i = static_cast<std::size_t>(after - offer.at_days.begin());
  const double share = (t - offer.at_days[i - 1]) / (offer.at_days[i] - offer.at_days[i - 1]);
  return offer.worth[i - 1] + share * (offer.worth[i] - offer.worth[i - 1]);
}

void check(std::span<const Offer> offers, const Terms& terms) {
  require(terms.disposal >= 0.0 && terms.cost_per_day >= 0.0 && terms.place_per_day >= 0.0 &&
              terms.longest_days >= 0.0 && std::isfinite(terms.longest_days),
          "terms of holding are not negative, the longest time is finite");
  for (const Offer& offer : offers) {
    require(!offer.at_days.empty() && offer.at_days.size() == offer.worth.size() &&
                offer.at_days.front() == 0.0 && std::ranges::is_sorted(offer.at_days),
            "knots ascend from 0, one worth each");
  }
}

/// W on a grid of times, from the longest back to now.
struct Curve {
  std::vector<double> t, w;
};

class Waiting {
 public:
  Waiting(std::span<const Offer> offers, const Terms& terms) : offers_(offers), terms_(terms) {}

  [[nodiscard]] Curve solve() const;
  [[nodiscard]] double slope(double t, double w) const {
    double gain = -(terms_.cost_per_day + terms_.place_per_day);
    for (const Offer& offer : offers_) {
      const double over = worth_at(offer, t) - w;
      if (over > 0.0) gain += rate(offer, t) * over;
    }
    return gain;
  }
  [[nodiscard]] double rate(const Offer& offer, double t) const {
    return terms_.learn_while_waiting ? offer.demand.rate_after_silence(t) : offer.demand.rate();
  }

 private:
  [[nodiscard]] std::vector<double> grid() const;

  std::span<const Offer> offers_;
  const Terms& terms_;
};

/// Knots of all offers, and steps between them that widen with time: rates fall as 1 / (b + t).
std::vector<double> Waiting::grid() const {
  std::vector<double> knots = {0.0, terms_.longest_days};
  for (const Offer& offer : offers_)
    for (const double knot : offer.at_days)
      if (knot < terms_.longest_days) knots.push_back(knot);
  std::ranges::sort(knots);
  knots.erase(std::unique(knots.begin(), knots.end()), knots.end());
  std::vector<double> times;
  for (std::size_t i = 0; i + 1 < knots.size(); ++i) {
    for (int k = 0; k < steps_a_piece; ++k)
      times.push_back(knots[i] + (knots[i + 1] - knots[i]) * k / steps_a_piece);
  }
  times.push_back(terms_.longest_days);
  return times;
}

Curve Waiting::solve() const {
  Curve curve;
  curve.t = grid();
  curve.w.assign(curve.t.size(), -terms_.disposal);
  for (std::size_t i = curve.t.size() - 1; i-- > 0;) {
    const double h = curve.t[i + 1] - curve.t[i], t = curve.t[i + 1], w = curve.w[i + 1];
    const double a = slope(t, w);
    const double b = slope(t - 0.5 * h, w + 0.5 * h * a);
    const double c = slope(t - 0.5 * h, w + 0.5 * h * b);
    const double d = slope(t - h, w + h * c);
    curve.w[i] = std::max(-terms_.disposal, w + h / 6.0 * (a + 2.0 * b + 2.0 * c + d));
  }
  return curve;
}

/// First time at which waiting is worth no more than scrapping.
double limit_of(const Curve& curve, double disposal, double longest) {
  for (std::size_t i = 0; i < curve.t.size(); ++i)
    if (curve.w[i] <= -disposal + 1e-12) return curve.t[i];
  return longest;
}

double limit_under(std::span<const Offer> offers, const Terms& terms) {
  return limit_of(Waiting(offers, terms).solve(), terms.disposal, terms.longest_days);
}

/// What would prolong the wait most if it were not there.
Ends ends_of(std::span<const Offer> offers, const Terms& terms, double limit) {
  if (limit <= 0.0) return Ends::never_pays;
  if (limit >= terms.longest_days) return Ends::longest;
  Ends ends = Ends::worth;
  double longest = limit;
  const auto try_without = [&](Ends which, const Terms& without) {
    const double then = limit_under(offers, without);
    if (then <= longest) return;
    longest = then;
    ends = which;
  };
  Terms changed = terms;
  changed.cost_per_day = 0.0;
  try_without(Ends::cost, changed);
  changed = terms;
  changed.place_per_day = 0.0;
  try_without(Ends::place, changed);
  changed = terms;
  changed.learn_while_waiting = false;
  try_without(Ends::silence, changed);
  return ends;
}

/// The offers as they would be with the rate at one end of its interval.
std::vector<Offer> at_quantile(std::span<const Offer> offers, bool high) {
  std::vector<Offer> moved(offers.begin(), offers.end());
  for (Offer& offer : moved) {
    const auto interval = offer.demand.rate_95();
    offer.demand.shape = (high ? interval.high : interval.low) * offer.demand.days;
  }
  return moved;
}

double odds_within(const Waiting& waiting, std::span<const Offer> offers, const Curve& curve,
                   double limit, double days) {
  double hazard = 0.0;
  for (std::size_t i = 0; i + 1 < curve.t.size() && curve.t[i] < std::min(days, limit); ++i) {
    const double until = std::min({curve.t[i + 1], days, limit});
    double rate = 0.0;
    for (const Offer& offer : offers)
      if (worth_at(offer, curve.t[i]) >= curve.w[i]) rate += waiting.rate(offer, curve.t[i]);
    hazard += rate * (until - curve.t[i]);
  }
  return -std::expm1(-hazard);
}

}  // namespace

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
  check(offers, terms);
  return Waiting(offers, terms).solve().w.front();
}

Wait wait(std::span<const Offer> offers, const Terms& terms) {
  check(offers, terms);
  const Waiting waiting(offers, terms);
  const Curve curve = waiting.solve();
  Wait found;
  found.value = curve.w.front();
  found.limit_days = limit_of(curve, terms.disposal, terms.longest_days);
  found.limit_low = std::min(found.limit_days, limit_under(at_quantile(offers, false), terms));
  found.limit_high = std::max(found.limit_days, limit_under(at_quantile(offers, true), terms));
  found.ends = ends_of(offers, terms, found.limit_days);
  const std::size_t stride = std::max<std::size_t>(1, curve.t.size() / points_of_taper);
  for (std::size_t i = 0; i < curve.t.size(); i += stride) {
    found.at_days.push_back(curve.t[i]);
    found.over_scrapping.push_back(curve.w[i] + terms.disposal);
  }
  found.odds_1 = odds_within(waiting, offers, curve, found.limit_days, 1.0);
  found.odds_3 = odds_within(waiting, offers, curve, found.limit_days, 3.0);
  found.odds_7 = odds_within(waiting, offers, curve, found.limit_days, 7.0);
  return found;
}

bool takes(double worth, const Wait& wait) { return worth >= wait.value; }

}  // namespace vialwright::holding
