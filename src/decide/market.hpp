/// Private to decide: who wants what, and what it is worth.
#pragma once

#include <map>

#include "decide/decide.hpp"

namespace vialwright::decide {

/// An order that a vial may be given to now.
struct Wanted {
  std::string order, recipe;
  double late = 0.0;  ///< what making it fresh would cost in lateness; unit of account
  bool open = true;   ///< false: bound to a vial that is in question itself
};

/// Orders, demand, and the money of filling them.
class Market {
 public:
  Market(const line::State& state, const Learned& learned);

  /// Orders that no vial is being made for.
  [[nodiscard]] const std::vector<Wanted>& open() const { return open_; }
  /// The order of that id as one wanted; it may be unknown to the record.
  [[nodiscard]] Wanted wanted(const std::string& order, const std::string& recipe) const;
  /// The most that lateness adds among the open orders of that recipe; nothing when none is open.
  [[nodiscard]] std::optional<double> most_late(const std::string& recipe) const;
  /// The open order of that recipe that would cost most if made fresh; then the one due first.
  [[nodiscard]] std::string best_order(const std::string& recipe) const;
  /// Demand that orders have shown; null where none was ever placed.
  [[nodiscard]] const holding::Demand* demand(const std::string& recipe) const;

  /// Vial, stocks, visits and time on the line.
  [[nodiscard]] double fresh(const recipe::Recipe& recipe) const;
  [[nodiscard]] double disposal() const { return state_.plant.prices.scrap; }

  /// odds * saved - cost - (1 - odds) * disposal: what an attempt brings on average.
  [[nodiscard]] double worth(double odds, double cost, double saved) const {
    return odds * saved - cost - (1.0 - odds) * disposal();
  }

 private:
  [[nodiscard]] double price_fresh(const recipe::Recipe& recipe) const;
  [[nodiscard]] double late(const line::OrderRecord& order) const;

  const line::State& state_;
  const Learned& learned_;
  std::vector<Wanted> open_;
  mutable std::map<std::string, double> fresh_;  ///< newest versions, by id; what was asked for
};

/// Lots that may be dosed now, at the stations that are up.
[[nodiscard]] std::vector<topup::Addition> loaded_now(const line::State& state);
[[nodiscard]] topup::Means means_of(const line::State& state, const line::VialRecord& vial,
                                    const contents::Belief& belief);

/// Does the order still wait for this vial? False when it is cancelled, filled, or bound elsewhere;
/// an order that the record does not know is taken at its word.
[[nodiscard]] bool still_wants(const line::State& state, const line::VialRecord& vial);

/// "1.55 mk".
[[nodiscard]] std::string money_in_words(double amount, const line::State& state);

}  // namespace vialwright::decide
