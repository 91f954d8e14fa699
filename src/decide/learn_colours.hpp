/// Private to decide: what the colours of vials known by weight teach.
#pragma once

#include "decide/decide.hpp"

namespace vialwright::decide {

/// Fills colours, samples and next_samples. Vials whose identity is in doubt teach nothing.
void learn_colours(const line::State& state, const Options& options, Learned& into);

}  // namespace vialwright::decide
