/// Private to topup: how near to its colours a recipe can be brought, by any amounts.
#pragma once

#include <optional>

#include "topup/odds_model.hpp"

namespace vialwright::topup {

/// The amounts of all candidates that bring the worst colour nearest, at the mean, in the room and
/// with the recipe's other lines kept where they can be.
struct NearestMix {
  std::vector<double> grams;  ///< (candidates)
  NearestColour told;
  double worst_now = 0.0;  ///< of the vial as it is, the largest difference over its limit
  bool lines_kept = true;
};
/// nullopt: the recipe has no limit on colour. @param usable  all of the model's candidates.
[[nodiscard]] std::optional<NearestMix> nearest_mix(const contents::Belief& belief,
                                                    const recipe::Recipe& recipe, const Vial& vial,
                                                    const std::vector<Candidate>& usable,
                                                    const OddsModel& model,
                                                    const plant::Plant& plant,
                                                    const recipe::Book& book);

}  // namespace vialwright::topup
