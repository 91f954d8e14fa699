/// Private to decide: is the vial good whichever explanation of its evidence holds?
#pragma once

#include "decide/decide.hpp"

namespace vialwright::decide {

/// P(all lines hold), averaged over the explanations of a contradiction by their odds: each time
/// the contents are estimated anew without what that explanation calls wrong.
/// @pre the decision's estimate has explanations; the vial has its recipe.
[[nodiscard]] conformity::Probability over_explanations(const Decision& decision,
                                                        const line::VialRecord& vial,
                                                        const line::State& state,
                                                        const Options& options);

}  // namespace vialwright::decide
