/// Private to making: will the evidence of a vial that was dosed so lead to its release?
#pragma once

#include "making/making.hpp"

namespace vialwright::making {

struct Proven {
  double share = 0.0, u = 0.0;
};

/// Draws vials as the model has them (doses, instruments, strengths, tare), their planned readings,
/// and judges each by the evidence alone. The same draws for the same arguments.
/// @param dosing  the plant with those meters alone that may stop a dose; `plant` has all that
/// read.
[[nodiscard]] Proven proven(const recipe::Recipe& recipe, int container,
                            const std::vector<topup::Addition>& additions, const Today& today,
                            const plant::Plant& dosing, const plant::Plant& plant,
                            const recipe::Book& book, const conformity::Options& options);

}  // namespace vialwright::making
