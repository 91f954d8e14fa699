/// Private to topup: a vial, a recipe and what can be added, as an exact problem at the mean.
#pragma once

#include <optional>
#include <vector>

#include "topup/linear_program.hpp"
#include "topup/topup.hpp"

namespace vialwright::topup {

/// One stock that may be added, and how much of it.
struct Candidate {
  Addition addition;             ///< stock, lot, station
  std::vector<double> mg_per_g;  ///< (components), mean of the belief
  double ml_per_g = 1.0, cap_g = 0.0, price_per_g = 0.0;
};

/// The vial now, at the mean, and how much may be in it.
struct Vial {
  std::vector<double> components_mg, stocks_g;
  double net_g = 0.0, volume_ml = 0.0;
  double room_g = 0.0, room_ml = 0.0;  ///< headspace
};

/// The recipe without its lines on colour: what paper knows of. The colours themselves stay.
[[nodiscard]] recipe::Recipe without_colours(const recipe::Recipe& recipe);

[[nodiscard]] Vial vial_of(const contents::Belief& belief, double fill_now_ml,
                           const plant::Container* container);

/// True grams of every candidate, in their order.
struct PaperAnswer {
  bool possible = false;
  std::vector<double> grams;
  double cost = 0.0;  ///< of the stocks alone
};

/// The least cost of bringing the vial to the recipe on paper.
[[nodiscard]] PaperAnswer solve_on_paper(const Vial& vial, const recipe::Recipe& recipe,
                                         const std::vector<Candidate>& candidates);

/// Lines that cannot hold together, where the answer was impossible; -1 and -2 are the headspace in
/// g and in mL. Empty where the conflict is too slight for the programme to prove.
[[nodiscard]] std::vector<int> conflict(const Vial& vial, const recipe::Recipe& recipe,
                                        const std::vector<Candidate>& candidates);

/// The value that a line bounds, in the line's unit. @pre here and below: no line is on colour.
[[nodiscard]] double value_of(const recipe::Tolerance& line, const Vial& vial);
[[nodiscard]] Vial vial_after(const Vial& vial, const std::vector<Candidate>& candidates,
                              const std::vector<double>& grams);

/// Is a value within a line, rounding apart?
[[nodiscard]] bool holds(const recipe::Tolerance& line, double value);

/// The composition problem of that case with its own storage, or nullopt where a bounded component
/// comes from several stocks, a stock carries several, or a line is of another kind.
struct CompositionCase {
  std::vector<double> have, low, high, cap, cost, volume;
  double total = 0.0, total_low = 0.0, total_high = 0.0, volume_room = 0.0;

  [[nodiscard]] Composition view() const;
};
[[nodiscard]] std::optional<CompositionCase> as_composition(
    const Vial& vial, const recipe::Recipe& recipe, const std::vector<Candidate>& candidates);

/// The general form, with the line that each row speaks of (-1, -2: headspace).
struct GeneralCase {
  LinearProgram programme;
  std::vector<int> line_of_row;
};
[[nodiscard]] GeneralCase as_programme(const Vial& vial, const recipe::Recipe& recipe,
                                       const std::vector<Candidate>& candidates);

}  // namespace vialwright::topup
