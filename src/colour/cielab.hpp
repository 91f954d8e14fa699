/// The two pieces of the CIELAB function. Private to this module.
#pragma once

namespace vialwright::colour {

inline constexpr double lab_bend = 216.0 / 24389.0;     ///< (6/29)^3
inline constexpr double lab_steepness = 841.0 / 108.0;  ///< (29/6)^2 / 3
inline constexpr double lab_offset = 4.0 / 29.0;

}  // namespace vialwright::colour
