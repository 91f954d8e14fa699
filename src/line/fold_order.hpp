/// The canonical order of facts. Private to the fold.
#pragma once

#include <vector>

#include "line/line.hpp"

namespace vialwright::line {

/// Puts facts into the one order in which they are folded; a function of the set alone.
///
/// Every source is a queue in the order of its sequence numbers (facts without a number: by source
/// time, in a queue apart); the queues are merged by (source time, source, id). A queue whose head
/// needs something that is still to come waits for it: all about a vial needs its registration, a
/// reading of a dose and a top-up need the dose's command, what names an order needs the order.
/// Where waiting would never end, because a source's own sequence contradicts this, cause beats
/// sequence and what is needed comes out of its turn.
/// @pre (source, id) is unique.
[[nodiscard]] std::vector<const Fact*> canonical_order(const std::vector<const Fact*>& facts);

}  // namespace vialwright::line
