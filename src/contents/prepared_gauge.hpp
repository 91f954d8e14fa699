/// Private: colour gauges, ready to show.
#pragma once

#include "mixing/mixing.hpp"

namespace vialwright::contents {

/// mixing::Gauge of these values. Setting one up takes as long as many estimates, and a line has
/// few: each thread keeps the last few it was asked for, with all they were made from, and
/// compares.
[[nodiscard]] mixing::Gauge prepared_gauge(const recipe::Book& book,
                                           const plant::ColourGauge& gauge,
                                           const plant::Container& container);

}  // namespace vialwright::contents
