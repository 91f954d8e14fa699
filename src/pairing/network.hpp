/// The dearest set of pairs as a minimum cost flow, in whole steps of money.
#pragma once

#include <cstdint>
#include <vector>

namespace vialwright::pairing {

using Steps = std::int64_t;

/// A pair that may be taken, and what it brings over waiting.
struct Arc {
  int vial = 0, order = 0;
  Steps value = 0;  ///< > 0; a pair that waiting beats is in no best answer
};

/// Who goes where, and the prices that prove it best: value <= price of the vial + price of the
/// order for every arc, equal for those taken; whoever has a price is paired.
struct Matched {
  std::vector<int> order_of;                   ///< by vial; -1 = waits
  std::vector<Steps> vial_price, order_price;  ///< >= 0
};

/// @param arcs  at most one for the same vial and order; values times the number of vials and
///              orders below 2^60.
[[nodiscard]] Matched dearest(int vials, int orders, const std::vector<Arc>& arcs);

/// Of the best answers (all lie on arcs without slack) takes the one that gives order 0 the lowest
/// vial, then order 1, and so on; an order without a vial comes last. It is one and the same
/// whichever best answer comes in.
void settle_ties(const std::vector<Arc>& arcs, Matched& matched);

}  // namespace vialwright::pairing
