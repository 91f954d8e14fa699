/// Private to decide: what is in one vial now and is it good; all that looks at no other vial.
#pragma once

#include "decide/decide.hpp"

namespace vialwright::decide {

/// Evidence, estimate as of now, conformity, explanations and the worth of another reading.
[[nodiscard]] Decision judged(const line::State& state, const line::VialRecord& vial,
                              const Options& options);

/// The belief some days later: fade, and what is lost through the cap where there is one. An open
/// vial's evaporation is in the evidence already.
[[nodiscard]] contents::Belief grown_older(const contents::Belief& belief, double days,
                                           const line::VialRecord& vial, const line::State& state);

/// Days from the last dose or reading that counts to the moment of the state.
[[nodiscard]] double days_since_known(const line::VialRecord& vial, const line::State& state);

/// Standard uncertainty of the net mass from one more gross weighing by the scale that weighed
/// last: its random part and its offset, which one weighing cannot tell from the contents. Nothing
/// when it never weighed or is off.
[[nodiscard]] std::optional<double> u_of_next_weighing(const line::VialRecord& vial,
                                                       const plant::Plant& plant,
                                                       const Options& options);

[[nodiscard]] bool is_off(int instrument, const plant::Plant& plant, const Options& options);

}  // namespace vialwright::decide
