/// What a held vial is worth while it waits, how long waiting pays, and what a hold place costs.
/// Values in, values out. Time in days from now, money in the line's unit of account.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "quantity/quantity.hpp"

namespace vialwright::holding {

// ---- demand --------------------------------------------------------------------------------

/// Gamma belief about a Poisson rate: shape orders in `days` of watching (prior included).
/// The rate is the posterior mean; with none seen in t days it falls to shape / (days + t).
struct Demand {
  double shape = 0.5, days = 0.0;  ///< days 0: nothing is known; then the rate has no mean
  int orders = 0;                  ///< counted, without forgetting
  double watched_days = 0.0;       ///< without forgetting
  double dispersion = 1.0;         ///< variance over mean of counts in equal windows; 1 = Poisson
  bool bursts = false;             ///< dispersion is above what Poisson explains (1 in 100)

  [[nodiscard]] double rate() const;  ///< per day, mean
  [[nodiscard]] double rate_after_silence(double t_days) const;
  [[nodiscard]] double odds_of_one(double t_days) const;  ///< P(at least one in t days)
  /// 95 % interval of the rate.
  struct Interval {
    double low = 0.0, high = 0.0;
  };
  [[nodiscard]] Interval rate_95() const;
};

struct Learning {
  double prior_shape = 0.5;    ///< weak: about half an order
  double prior_days = 1.0;     ///< seen in that many days
  double half_life_days = 30;  ///< of forgetting; infinity = never forget
  bool operator==(const Learning&) const = default;
};

/// From the times of orders of one kind, in days before now (>= 0), watched for `watched_days`.
/// Orders placed at one moment for one kind are one burst: they count as they are, and show in
/// `dispersion`.
[[nodiscard]] Demand learn(std::span<const double> days_ago, double watched_days,
                           const Learning& how = {});

// ---- one vial -------------------------------------------------------------------------------

/// One kind of order that the vial could fill: what filling one at time t is worth. Between the
/// knots the worth is linear; after the last it is that of the last, scrap value at least.
struct Offer {
  std::string recipe;
  Demand demand;
  std::vector<double> at_days, worth;  ///< knots, >= 1, ascending from 0
};

struct Terms {
  double disposal = 0.0;        ///< what scrapping costs, >= 0: a vial may be scrapped at any time
  double cost_per_day = 0.0;    ///< running cost of holding, >= 0
  double place_per_day = 0.0;   ///< price of a hold place, >= 0
  double longest_days = 365.0;  ///< the vial must be gone by then (expiry, lifetime); finite
  bool learn_while_waiting = true;  ///< the rate falls while nothing comes
  bool operator==(const Terms&) const = default;
};

enum class Ends { never_pays, cost, place, worth, silence, longest };
/// "its place costs more than it may still earn", ...
[[nodiscard]] std::string_view word(Ends ends);

struct Wait {
  double value = 0.0;                        ///< W(0): expected, >= -disposal
  double limit_days = 0.0;                   ///< first t where W(t) = -disposal; 0 = do not hold
  double limit_low = 0.0, limit_high = 0.0;  ///< 95 %: the limits if we knew the rates, at the ends
                                             ///< of what they may be
  Ends ends = Ends::never_pays;              ///< what makes waiting stop paying
  std::vector<double> at_days, over_scrapping;      ///< the taper: W(t) + disposal
  double odds_1 = 0.0, odds_3 = 0.0, odds_7 = 0.0;  ///< an order it would take, in 1, 3, 7 days
};

/// Hold value of one vial that has all the demand of its offers to itself:
///   -W' = sum_r rate_r(t) (s_r(t) - W)^+ - cost - place,  W >= -disposal, W(longest) = -disposal.
/// Exact where rates and worths are constant; else to 1e-6 of the largest worth. An offer of whose
/// kind nothing is known (days 0) is not counted on.
[[nodiscard]] Wait wait(std::span<const Offer> offers, const Terms& terms);

/// W(0) alone, quickly: for screening.
[[nodiscard]] double value_now(std::span<const Offer> offers, const Terms& terms);

// ---- several vials that fit the same orders ----------------------------------------------------

/// A held vial (or one that asks for a place) and what it could fill.
struct Candidate {
  std::string serial;
  std::vector<Offer> offers;
  Terms terms;                   ///< place_per_day is set by `share`
  double good_for_days = 365.0;  ///< for the tie-break: first expired, first out
  bool holds_a_place = false;
};

struct Shared {
  /// Beside the candidates. The value is what the vial adds to those that stay, less what the best
  /// without a place would bring on its place; -disposal where it has none.
  std::vector<Wait> waits;
  /// 0..1: the share of all demand with which, alone, it would be worth as much.
  std::vector<double> counted_on;
  std::vector<bool> stays;     ///< has a place now under this price
  double place_per_day = 0.0;  ///< price at which holds fit the places: the most that a vial
                               ///< without one would pay beside those that stay
  double total = 0.0;          ///< expected value of all together
};

/// Marginal values: the k-th vial for the same orders is worth what it adds. Exact over all subsets
/// up to eight different vials that share orders; docs/method/holding.md says how more are treated
/// and how far off it was found to be. The demand of a kind is that of the first candidate that
/// names it.
/// @param places  hold places in all, >= 0.
[[nodiscard]] Shared share(std::span<const Candidate> candidates, int places);

/// Should this order be taken with that vial now, or is waiting worth more? worth >= value.
[[nodiscard]] bool takes(double worth, const Wait& wait);

}  // namespace vialwright::holding
