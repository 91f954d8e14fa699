/// Private to decide: the order in which the questions about a vial are asked, and the answer.
#pragma once

#include "decide/decide.hpp"

namespace vialwright::decide {

/// Sets disposition, headline, reasons and would_change of a decision whose estimate, conformity,
/// reading worth and top-ups are filled in. The first question that is answered "no" decides:
/// whose vial is it, is it finished, does the evidence agree, is it good, is another reading worth
/// its price, can it be saved.
void dispose(Decision& decision, const line::VialRecord& vial, const line::State& state,
             const Options& options);

}  // namespace vialwright::decide
