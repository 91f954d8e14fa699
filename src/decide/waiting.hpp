/// Private to decide: what a vial is worth while it waits.
#pragma once

#include "decide/rescues.hpp"

namespace vialwright::decide {

/// A vial in question, with everything that was found about it.
struct Case {
  const line::VialRecord* vial = nullptr;
  Decision decision;
  /// Good for its recipe, but no order of its own waits for it any more.
  bool spare = false;
  std::vector<TopupAnswer> answers;  ///< all that were solved; own recipe first, then those asked
  std::size_t told = 0;              ///< how many of them are own and asked
  holding::Candidate candidate;      ///< what it may wait for
  holding::Wait wait;
  double counted_on = 1.0;
  bool stays = false;     ///< a place is there for it under the price
  int given = -1;         ///< by the pairing: index into `answers`, or -1
  std::string to_order;   ///< by the pairing
  double worth = 0.0;     ///< of that, against a fresh vial
  double short_by = 0.0;  ///< the least that an order not given to it falls short by
  std::string nearly;     ///< that order, or empty
};

/// What the vial could fill later, and on what terms it waits.
[[nodiscard]] holding::Candidate candidate_of(const Case& asked, const Market& market,
                                              const Rescues& rescues, const line::State& state);

/// How long the vial may wait, and for what, for people.
[[nodiscard]] HoldAnswer hold_answer(const Case& asked, const line::State& state);

}  // namespace vialwright::decide
