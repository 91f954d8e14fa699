#include "horizons.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace vialwright::holding::testing {
namespace {

constexpr double never = std::numeric_limits<double>::infinity();

double worth_on(const Offer& offer, double days) {
  std::size_t i = 0;
  while (i + 1 < offer.at_days.size() && offer.at_days[i + 1] <= days) ++i;
  if (i + 1 == offer.at_days.size()) return offer.worth.back();
  const double share = (days - offer.at_days[i]) / (offer.at_days[i + 1] - offer.at_days[i]);
  return offer.worth[i] + share * (offer.worth[i + 1] - offer.worth[i]);
}

Candidate any_vial(const Horizon& horizon, support::Random& random, const Terms& terms, int index) {
  Candidate vial;
  vial.serial = "V-" + std::to_string(100 + index);
  vial.terms = terms;
  const double loses = random.uniform(0.0, 0.06);  // a day, of the odds
  for (std::size_t k = 0; k < horizon.kinds.size(); ++k) {
    if (random.uniform() > 0.5) continue;
    Offer offer{horizon.kinds[k], horizon.demand[k], {}, {}};
    const double odds = random.uniform(0.4, 0.98), fresh = random.uniform(1.0, 4.0);
    for (const double share : {0.0, 0.25, 0.5, 1.0}) {
      const double day = share * terms.longest_days, p = odds * std::exp(-loses * day);
      offer.at_days.push_back(day);
      offer.worth.push_back(p * fresh - 0.25 - (1.0 - p) * terms.disposal);
    }
    vial.offers.push_back(std::move(offer));
  }
  return vial;
}

struct Held {
  const Vial* vial;
  double until;  ///< day on which it is scrapped
};

/// What a rule is asked; the rest (time, places, money) is the same for all.
class Rule {
 public:
  virtual ~Rule() = default;
  /// A vial comes or time has passed: who goes, and until when the others stay.
  virtual void settle(std::vector<Held>& held, double day) = 0;
  /// An order has come: who gets it, or none.
  virtual int give(const std::vector<Held>& held, const Order& order) = 0;
  /// An order of that kind was placed.
  virtual void seen(const Order&) {}
};

double worth_of(const Horizon& horizon, const Vial& vial, const Order& order) {
  for (const Offer& offer : vial.candidate.offers)
    if (offer.recipe == horizon.kinds[order.kind])
      return worth_on(offer, order.day - vial.comes_day);
  return -never;
}

/// Plays a rule: vials come, orders come, limits pass.
double play(const Horizon& horizon, const Future& future, Rule& rule) {
  std::vector<Held> held;
  double earned = 0.0;
  std::size_t next_vial = 0, next_order = 0;
  const auto leave = [&](const Held& one, double day) {
    earned -= one.vial->candidate.terms.cost_per_day * (day - one.vial->comes_day);
  };
  const auto settle = [&](double day) {
    std::vector<Held> before = held;
    rule.settle(held, day);
    for (const Held& one : before) {
      const bool stays = std::ranges::find(held, one.vial, &Held::vial) != held.end();
      if (stays) continue;
      leave(one, day);
      earned -= one.vial->candidate.terms.disposal;
    }
  };
  while (true) {
    double limit = never;
    for (const Held& one : held) limit = std::min(limit, one.until);
    const double vial =
        next_vial < horizon.vials.size() ? horizon.vials[next_vial].comes_day : never;
    const double order = next_order < future.size() ? future[next_order].day : never;
    const double day = std::min({limit, vial, order});
    if (day == never) return earned;
    if (limit == day) {
      for (const Held& one : held) {
        if (one.until > day) continue;
        leave(one, day);
        earned -= one.vial->candidate.terms.disposal;
      }
      std::erase_if(held, [&](const Held& one) { return one.until <= day; });
      settle(day);
    } else if (vial == day) {
      while (next_vial < horizon.vials.size() && horizon.vials[next_vial].comes_day == day) {
        held.push_back({&horizon.vials[next_vial], never});
        ++next_vial;
      }
      settle(day);
    } else {
      const Order& placed = future[next_order++];
      rule.seen(placed);
      const int taken = rule.give(held, placed);
      if (taken < 0) continue;
      leave(held[static_cast<std::size_t>(taken)], day);
      earned += worth_of(horizon, *held[static_cast<std::size_t>(taken)].vial, placed);
      held.erase(held.begin() + taken);
      settle(day);
    }
  }
}

class Fixed : public Rule {
 public:
  Fixed(const Horizon& horizon, const FixedHours& how) : horizon_(horizon), how_(how) {}
  void settle(std::vector<Held>& held, double day) override {
    const auto places = static_cast<std::size_t>(horizon_.places);
    while (held.size() > places) held.erase(how_.oldest_makes_room ? held.begin() : held.end() - 1);
    for (Held& one : held) {
      const double longest = std::min(how_.hours / 24.0, one.vial->candidate.terms.longest_days);
      one.until = std::max(day, one.vial->comes_day + longest);
    }
    if (how_.hours <= 0.0) held.clear();
  }
  int give(const std::vector<Held>& held, const Order& order) override {
    int best = -1;
    double most = -never;
    for (std::size_t i = 0; i < held.size(); ++i) {
      const double worth = worth_of(horizon_, *held[i].vial, order);
      if (worth <= -held[i].vial->candidate.terms.disposal || worth <= most) continue;
      most = worth;
      best = static_cast<int>(i);
    }
    return best;
  }

 private:
  const Horizon& horizon_;
  FixedHours how_;
};

class Advised : public Rule {
 public:
  Advised(const Horizon& horizon, bool rivals)
      : horizon_(horizon), rivals_(rivals), orders_(horizon.kinds.size(), 0.0) {}
  void seen(const Order& order) override { orders_[order.kind] += 1.0; }
  void settle(std::vector<Held>& held, double day) override {
    const Shared shared = advice(held, day);
    std::vector<Held> stay;
    for (std::size_t i = 0; i < held.size(); ++i)
      if (shared.stays[i]) stay.push_back({held[i].vial, day + shared.waits[i].limit_days});
    held = std::move(stay);
  }
  int give(const std::vector<Held>& held, const Order& order) override {
    bool fits = false;
    for (const Held& one : held) fits = fits || worth_of(horizon_, *one.vial, order) > -never;
    if (!fits) return -1;
    const Shared shared = advice(held, order.day);
    int best = -1;
    double most = -never;
    for (std::size_t i = 0; i < held.size(); ++i) {
      const double worth = worth_of(horizon_, *held[i].vial, order);
      if (worth == -never || !takes(worth, shared.waits[i])) continue;
      if (worth - shared.waits[i].value <= most) continue;
      most = worth - shared.waits[i].value;
      best = static_cast<int>(i);
    }
    return best;
  }

 private:
  /// What is known of the demand by then goes into all offers.
  [[nodiscard]] Shared advice(const std::vector<Held>& held, double day) const {
    std::vector<Candidate> candidates;
    for (const Held& one : held) {
      candidates.push_back(aged(one.vial->candidate, day - one.vial->comes_day));
      for (Offer& offer : candidates.back().offers) {
        const auto kind = std::ranges::find(horizon_.kinds, offer.recipe) - horizon_.kinds.begin();
        offer.demand.shape += orders_[static_cast<std::size_t>(kind)];
        offer.demand.days += std::min(day, horizon_.days);
      }
    }
    return rivals_ ? share(candidates, horizon_.places) : as_if_alone(candidates);
  }
  [[nodiscard]] Shared as_if_alone(const std::vector<Candidate>& candidates) const {
    Shared shared;
    std::vector<std::size_t> order;
    for (const Candidate& each : candidates) {
      shared.waits.push_back(wait(each.offers, each.terms));
      order.push_back(order.size());
    }
    std::ranges::stable_sort(order, std::greater<>{},
                             [&](std::size_t i) { return shared.waits[i].value; });
    shared.stays.assign(candidates.size(), false);
    for (std::size_t k = 0; k < order.size() && k < static_cast<std::size_t>(horizon_.places); ++k)
      shared.stays[order[k]] = shared.waits[order[k]].limit_days > 0.0;
    return shared;
  }

  const Horizon& horizon_;
  bool rivals_;
  std::vector<double> orders_;
};

/// Largest sum of one entry a row and at most one a column (Kuhn's method with potentials; rows are
/// no more than columns).
double best_assignment(const std::vector<std::vector<double>>& gain) {
  const std::size_t n = gain.size(), m = n == 0 ? 0 : gain.front().size();
  std::vector<double> u(n + 1, 0.0), v(m + 1, 0.0);
  std::vector<std::size_t> row_of(m + 1, 0), way(m + 1, 0);
  for (std::size_t i = 1; i <= n; ++i) {
    row_of[0] = i;
    std::size_t column = 0;
    std::vector<double> least(m + 1, never);
    std::vector<bool> used(m + 1, false);
    do {
      used[column] = true;
      const std::size_t row = row_of[column];
      double delta = never;
      std::size_t next = 0;
      for (std::size_t j = 1; j <= m; ++j) {
        if (used[j]) continue;
        const double reduced = -gain[row - 1][j - 1] - u[row] - v[j];
        if (reduced < least[j]) least[j] = reduced, way[j] = column;
        if (least[j] < delta) delta = least[j], next = j;
      }
      for (std::size_t j = 0; j <= m; ++j) {
        if (used[j])
          u[row_of[j]] += delta, v[j] -= delta;
        else
          least[j] -= delta;
      }
      column = next;
    } while (row_of[column] != 0);
    do {
      const std::size_t from = way[column];
      row_of[column] = row_of[from];
      column = from;
    } while (column != 0);
  }
  double sum = 0.0;
  for (std::size_t j = 1; j <= m; ++j)
    if (row_of[j] != 0) sum += gain[row_of[j] - 1][j - 1];
  return sum;
}

}  // namespace

/// By Marsaglia & Tsang (2000); below shape 1 by their power of a uniform.
double gamma(double shape, support::Random& random) {
  if (shape < 1.0) return gamma(shape + 1.0, random) * std::pow(random.uniform(), 1.0 / shape);
  const double d = shape - 1.0 / 3.0, c = 1.0 / std::sqrt(9.0 * d);
  while (true) {
    const double x = random.normal(), v = std::pow(1.0 + c * x, 3.0);
    if (v <= 0.0) continue;
    if (std::log(random.uniform()) < 0.5 * x * x + d - d * v + d * std::log(v)) return d * v;
  }
}

Horizon any_horizon(support::Random& random) {
  Horizon horizon;
  horizon.days = 45.0;
  horizon.places = 1 + random.below(6);
  const int kinds = 3 + random.below(6), vials = 2 + random.below(11);
  for (int k = 0; k < kinds; ++k) {
    horizon.kinds.push_back("tint-" + std::to_string(k));
    Demand demand;
    demand.days = 21.0;
    demand.shape = 0.5 + std::floor(std::exp(random.uniform(std::log(0.5), std::log(12.0))));
    horizon.demand.push_back(demand);
  }
  Terms terms;
  terms.disposal = 0.3;
  terms.cost_per_day = random.uniform(0.0, 0.25);
  terms.longest_days = 30.0;
  for (int i = 0; i < vials; ++i) {
    const double day = i < 2 || random.uniform() < 0.4 ? 0.0 : random.uniform(0.0, 15.0);
    horizon.vials.push_back({any_vial(horizon, random, terms, i), day});
  }
  std::ranges::stable_sort(horizon.vials, {}, &Vial::comes_day);
  return horizon;
}

Future any_future(const Horizon& horizon, support::Random& random) {
  Future future;
  for (std::size_t k = 0; k < horizon.demand.size(); ++k) {
    const double rate = gamma(horizon.demand[k].shape, random) / horizon.demand[k].days;
    double day = -std::log(random.uniform()) / rate;
    for (; day < horizon.days; day -= std::log(random.uniform()) / rate) future.push_back({day, k});
  }
  std::ranges::sort(future, {}, &Order::day);
  return future;
}

Candidate aged(const Candidate& candidate, double days) {
  Candidate older = candidate;
  older.holds_a_place = days > 0.0;
  older.terms.longest_days = std::max(0.0, candidate.terms.longest_days - days);
  for (std::size_t k = 0; k < older.offers.size(); ++k) {
    const Offer& was = candidate.offers[k];
    Offer& offer = older.offers[k];
    offer.at_days = {0.0};
    offer.worth = {worth_on(was, days)};
    for (std::size_t i = 0; i < was.at_days.size(); ++i) {
      if (was.at_days[i] <= days) continue;
      offer.at_days.push_back(was.at_days[i] - days);
      offer.worth.push_back(was.worth[i]);
    }
  }
  return older;
}

double earned_with_fixed_hours(const Horizon& horizon, const Future& future,
                               const FixedHours& how) {
  Fixed rule(horizon, how);
  return play(horizon, future, rule);
}

double earned_with_advice(const Horizon& horizon, const Future& future, bool rivals) {
  Advised rule(horizon, rivals);
  return play(horizon, future, rule);
}

/// Each vial to one order that comes while it may be held, or scrapped on the day it comes.
double most_that_could_be_earned(const Horizon& horizon, const Future& future) {
  const std::size_t n = horizon.vials.size();
  std::vector<std::vector<double>> gain(n, std::vector<double>(future.size() + n, -1e6));
  for (std::size_t i = 0; i < n; ++i) {
    const Vial& vial = horizon.vials[i];
    gain[i][future.size() + i] = -vial.candidate.terms.disposal;
    for (std::size_t o = 0; o < future.size(); ++o) {
      const double age = future[o].day - vial.comes_day;
      if (age < 0.0 || age > vial.candidate.terms.longest_days) continue;
      const double worth = worth_of(horizon, vial, future[o]);
      if (worth > -never) gain[i][o] = worth - vial.candidate.terms.cost_per_day * age;
    }
  }
  return best_assignment(gain);
}

}  // namespace vialwright::holding::testing
