/// What one unit of each amount absorbs. Private to this module.
#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "mixing/through.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::mixing {

/// Decadic absorbance of 1 cm of liquid with one unit of each amount, (wavelengths, amounts):
/// mL/(mg cm) for components, 1 for the shapes of an unknown colourant.
[[nodiscard]] Eigen::MatrixXd absorption_per_cm(const recipe::Book& book,
                                                std::span<const double> nm);

/// d ln T / d amount from decadic absorbances (wavelengths, amounts): a row an amount.
[[nodiscard]] Rows natural_rows(const Eigen::MatrixXd& absorbance);

[[nodiscard]] std::vector<double> wavelengths(const colour::Grid& grid);

}  // namespace vialwright::mixing
