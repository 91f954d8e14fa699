/// Private: a fit with what its colour readings say beyond their rows.
#pragma once

#include <vector>

#include "contents/contents.hpp"
#include "contents/map_estimate.hpp"
#include "contents/vial_model.hpp"

namespace vialwright::contents {

/// chi_squared and degrees of the fit count every value of every colour reading.
struct Fitted {
  Fit fit;
  std::vector<ColourRows::Beyond> beyond;  ///< beside the model's colour rows
};
[[nodiscard]] Fitted fitted(const VialModel& model, int max_iterations);

/// Upper tail of chi-squared.
[[nodiscard]] double chi_squared_tail(double value, int degrees);

/// Upper tail of sum_i weight_i z_i^2 of independent standard normals; weights > 0.
/// Source: Kuonen, Biometrika 86 (1999) 929 (Lugannani & Rice's saddlepoint); within a few per cent
/// of a tail, exact in neither end.
[[nodiscard]] double weighted_tail(double value, const Eigen::VectorXd& weights);

/// Report of the colour reading that is number `i` of those that count: its values as one.
[[nodiscard]] ReadingReport colour_report(const Fitted& fitted, const VialModel& model,
                                          std::size_t i);

/// Chance that nothing but the known colours the liquid and looks as much like an unknown colourant
/// as this: the test that is best, on average over smooth spectra, at a size that can just be seen.
[[nodiscard]] double chance_of_no_colourant(const Fitted& fitted, const VialModel& model);

}  // namespace vialwright::contents
