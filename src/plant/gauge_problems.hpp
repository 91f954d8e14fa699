/// What a colour gauge may not be. Private to plant.
#pragma once

#include "plant/checks.hpp"

namespace vialwright::plant {

/// Instrument::colour beside the kind, and what it says.
void check_colour_gauge(Checks& checks, const Instrument& it);

/// Does some colour gauge look through the vial itself, so that its width matters?
[[nodiscard]] bool vial_is_looked_through(const Plant& plant);

}  // namespace vialwright::plant
