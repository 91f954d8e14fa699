/// Private to decide: what of the record deciding needs.
#pragma once

#include "decide/decide.hpp"

namespace vialwright::decide {

/// As `learn`, without what is shown to people only (dose habits, bins, score): deciding one vial
/// does not wait for that.
[[nodiscard]] Learned learn_for_deciding(const line::State& state, const Options& options);

}  // namespace vialwright::decide
