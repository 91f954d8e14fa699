/// Private to topup: the belief with room for what additions bring in.
#pragma once

#include "topup/topup.hpp"

namespace vialwright::topup {

/// The belief with an axis for the error of every lot and meter of these additions; those that had
/// not touched the vial stand at their calibrated values. Amounts are not looked at.
[[nodiscard]] contents::Belief with_effects_of(const contents::Belief& belief,
                                               const std::vector<Addition>& additions,
                                               const plant::Plant& plant, const recipe::Book& book);

}  // namespace vialwright::topup
