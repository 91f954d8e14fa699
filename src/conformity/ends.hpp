/// Where along the last variable a colour is within its tolerance. Private to this module.
#pragma once

#include <span>
#include <vector>

#include "conformity/along.hpp"

namespace vialwright::conformity {

/// From one t to another; empty where from >= to.
struct Interval {
  double from = 0.0, to = 0.0;
};

/// For each point one interval, or several.
struct Inside {
  std::vector<Interval> one;
  std::vector<int> list;  ///< index into `several`, or -1: then `one` holds
  std::vector<std::vector<Interval>> several;

  [[nodiscard]] std::span<const Interval> of(std::size_t point) const {
    if (list[point] < 0) return {&one[point], 1};
    return several[static_cast<std::size_t>(list[point])];
  }
};

/// The ends are good to a few 1e-4 of a standard deviation, most of them far better.
enum class Search {
  nearby,     ///< about the first-order place; where that does not fit, everywhere
  everywhere  ///< in 32 pieces, so that several intervals are found too; ends good to 1e-6
};
/// Points without weight or room are left empty. @pre along stands at the drawn points.
void find_inside(Along& along, const Drawn& drawn, Search search, Inside& into);

}  // namespace vialwright::conformity
