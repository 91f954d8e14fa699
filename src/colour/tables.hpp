/// The published CIE tables of data/, compiled in. Private to this module.
#pragma once

namespace vialwright::colour {

inline constexpr int table_rows = 81;  ///< 380 to 780 nm, 5 nm

/// nm, then x, y, z of 2 degrees and x, y, z of 10 degrees.
extern const double observer_table[table_rows][7];
/// nm, then A, D50, D65.
extern const double illuminant_table[table_rows][4];

}  // namespace vialwright::colour
