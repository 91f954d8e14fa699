/// What becomes of the vials once they are made, by somebody's advice. Private.
#pragma once

#include <vector>

#include "twin/outbox.hpp"
#include "twin/shift.hpp"

namespace vialwright::twin {

/// Goes on from the last stage. @param made  the messages of the making, on their way.
[[nodiscard]] Shift reworked(const Setting& setting, Making& making, std::vector<Message> made,
                             const Adviser& adviser);

/// An order that comes by chance, and when it is made fresh elsewhere.
struct ChanceOrder {
  double placed_s = 0.0, gives_up_s = 0.0;
  event::OrderPlaced data;
};
/// Poisson from the history to the end. @param end_s  since the start of the shift.
[[nodiscard]] std::vector<ChanceOrder> chance_orders(const Setting& setting, double end_s);

/// A station that is down; exponential times between and lengths.
struct Down {
  int station = 0;
  double from_s = 0.0, to_s = 0.0;
};
[[nodiscard]] std::vector<Down> downs(const Setting& setting, double from_s, double end_s);

}  // namespace vialwright::twin
