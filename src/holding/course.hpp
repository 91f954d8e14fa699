/// Private to holding: W(t) of one vial with all the demand to itself, from the longest wait back
/// to now, in pieces on which the same offers are worth taking.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "holding/holding.hpp"

namespace vialwright::holding {

/// The worth of an offer at a time: linear between knots, level after the last.
[[nodiscard]] double worth_at(const Offer& offer, double t_days);

/// A rate of nothing but a prior that has seen no day has no mean: it is not counted on.
[[nodiscard]] inline bool counts(const Offer& offer) { return offer.demand.days > 0.0; }

/// One piece: W = sum_k w_k theta^k, theta = (to - t) / (to - from).
struct Piece {
  double from = 0.0, to = 0.0;
  std::array<double, 5> w{};
  double taken = 0.0;  ///< integral of the rates that it takes: -log of P(none taken)
  bool idle = false;   ///< better scrapped
  [[nodiscard]] double at(double t) const;
};

/// Solves -W' = sum_r rate_r(t) (s_r(t) - W)^+ - cost, W >= -disposal, backwards.
/// With the offers that are taken fixed the equation is linear: collocation at the four Radau
/// nodes (order 7 at the end of a step, L-stable, so that frequent orders cost no more steps),
/// steps by the residual between nodes, cut where an offer begins or ceases to be worth taking.
/// Rates and incomes of the offers taken are summed in one short power series a stretch, so that a
/// change costs one offer and not all. Seen: within 3e-7 of the largest worth.
/// Source: Hairer & Wanner, Solving Ordinary Differential Equations II (1996), section IV.5.
class Course {
 public:
  /// @param demand  all rates are multiplied by this.
  /// @param stops   times at which a piece shall end, for the odds until then; without them no
  ///                odds are told, which spares logarithms.
  Course(std::span<const Offer> offers, const Terms& terms, double demand = 1.0,
         std::span<const double> stops = {});

  [[nodiscard]] double now() const { return w_; }
  /// First time at which waiting is worth no more than scrapping; the longest where it never is.
  [[nodiscard]] double limit() const;
  [[nodiscard]] double at(double t_days) const;
  /// P(an order that it would take comes within t). @pre t is no later than the last of the stops
  [[nodiscard]] double odds_within(double t_days) const;

 private:
  static constexpr std::size_t powers = 10;  ///< of the series in which rates are summed
  struct Line {  // an offer on a stretch between knots: worth = base + slope t
    double shape, days, base, slope;
    double once, ratio;  ///< rate = shape once (1 + ratio u + ratio^2 u^2 ...)
    bool taken;
    const Offer* offer;
    std::size_t knot;  ///< the stretch begins at or after this one
  };
  struct Flow {
    double rate = 0.0, income = 0.0;
  };

  void enter(double from, double to);
  double idle(double from, double to);
  double step(double from, double to);
  void look(double t);
  void add(const Line& line, double sign);
  void choose(double t);
  void watch(double t, double reach);
  [[nodiscard]] double nearing(const std::array<double, 5>& w, double h) const;
  [[nodiscard]] double stretch_before(double from, double to) const;
  [[nodiscard]] double gain(double t) const;
  [[nodiscard]] Flow flow(double t) const;
  [[nodiscard]] std::array<double, 5> collocate(double t, double h) const;
  [[nodiscard]] double residual(const std::array<double, 5>& w, double t, double h) const;
  [[nodiscard]] double first_change(const std::array<double, 5>& w, double t, double h) const;
  [[nodiscard]] double taken_between(double from, double to) const;

  double disposal_, cost_, longest_, odds_until_ = 0.0;
  bool learns_;
  double scale_ = 0.0, h_ = 0.0, idle_step_ = 0.0, w_ = 0.0;
  bool waits_ = false;
  double youngest_ = 0.0;  ///< least days of an offer; 0 where nothing is learned
  double middle_ = 0.0, half_ = 1.0, per_half_ = 1.0;  ///< of the stretch: u = (t - middle) / half
  std::array<Flow, powers> sums_{};  ///< of the offers that are taken, by powers of u
  std::vector<Line> lines_;
  std::vector<Line*> watched_;  ///< those that may change sides within the step
  double least_slope_ = 0.0, most_slope_ = 0.0;
  std::vector<Piece> pieces_;  ///< from the longest back to now
};

/// What callers promise of offers and terms.
void require_sound(std::span<const Offer> offers, const Terms& terms);

/// `wait` with all rates multiplied by `demand`.
[[nodiscard]] Wait wait_for_part(std::span<const Offer> offers, const Terms& terms, double demand);

/// W(0) where rates and worths stand still, by exact exponential pieces between sorted worths.
[[nodiscard]] bool is_level(std::span<const Offer> offers, const Terms& terms);
[[nodiscard]] double level_value(std::span<const Offer> offers, const Terms& terms);

}  // namespace vialwright::holding
