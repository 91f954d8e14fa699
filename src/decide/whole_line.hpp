/// Private to decide: all vials of the line decided together, since they share orders and places.
#pragma once

#include <map>
#include <memory>

#include "decide/disposition.hpp"

namespace vialwright::decide {

class WholeLine {
 public:
  /// @param asked_of  the vial that Options::asked is about; empty: every one.
  WholeLine(const line::State& state, const Options& options, std::string_view asked_of = {});

  /// Decides; once.
  void decide();
  [[nodiscard]] Shift shift(std::string head) &&;

 private:
  void judge_all();
  void take_up(const line::VialRecord& vial, Decision decision);
  void look_for_rescues();
  void add_others(Case& asked, Rescues::Among among) const;
  void take_readings();
  void share_places(bool after_pairing);
  void pair();
  void give(const pairing::Problem& problem, const pairing::Answer& answer,
            const std::vector<Wanted>& orders);
  void dispose_all();
  void finish(Case&& done);

  [[nodiscard]] std::vector<Wanted> orders_in_question() const;
  [[nodiscard]] static const std::string& belongs_to(const Case& asked);
  [[nodiscard]] double best_now(const Case& asked) const;
  [[nodiscard]] const std::vector<std::string>& asked_of(const line::VialRecord& vial) const;

  const line::State& state_;
  Options options_;
  std::string asked_of_;
  std::vector<std::string> nothing_asked_;
  Learned learned_;
  std::unique_ptr<Market> market_;
  std::unique_ptr<Rescues> rescues_;
  std::vector<Decision> decided_;
  std::vector<Case> cases_;  ///< vials whose answer hangs on money and on each other
  std::vector<Rung> rungs_;
  int places_ = 0;  ///< left for the cases: not taken by vials that others must settle
  double place_per_day_ = 0.0;
};

/// Decides a vial when its answer hangs on no other: settled, or good for its own order.
/// @returns whether it does.
[[nodiscard]] bool decided_alone(Decision& decision, const line::VialRecord& vial,
                                 const line::State& state, const Market& market);

/// An advice ends with its time, or with the first lot that it counts on.
[[nodiscard]] Instant expiry(const Decision& decision, const line::State& state);

}  // namespace vialwright::decide
