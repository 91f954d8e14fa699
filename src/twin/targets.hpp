/// What the line is told to dose for a recipe: its targets by the strengths on the labels. Private.
#pragma once

#include <vector>

#include "plant/plant.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::twin {

struct PlannedDose {
  int stock = 0;
  int station = 0, nozzle = 0;  ///< nozzle: index into Station::stocks
  double amount_g = 0.0;        ///< rounded to 1 mg
};

/// In the order of the stations. Amounts a station cannot give are left out (below half its least
/// dose), raised to its least, or split.
[[nodiscard]] std::vector<PlannedDose> planned_doses(const recipe::Recipe& recipe,
                                                     const recipe::Book& book,
                                                     const plant::Plant& plant);

/// Masses of all stocks, in book order, >= 0, that come nearest to the recipe's targets: least
/// squares, each line weighed by its own half-width.
[[nodiscard]] std::vector<double> target_masses(const recipe::Recipe& recipe,
                                                const recipe::Book& book);

}  // namespace vialwright::twin
