/// Private to report: what a liquid looks like, for drawings behind glass and the words beside
/// them. All of it is estimated from the contents; nobody has to have looked.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "decide/decide.hpp"

namespace vialwright::report {

struct Seen {
  contents::Colour colour;  ///< of the liquid in its vial, looked through across, D65, 2 degrees
  colour::Display display;
  double path_cm = 1.0;  ///< the inner diameter of the vial
};

/// nullopt where nothing is believed to be in it, where no component has an absorptivity, or where
/// the law of absorption does not hold.
[[nodiscard]] std::optional<Seen> seen_of(const decide::Decision& decision,
                                          const line::State& state);

/// "bluish green", "pale yellow", "nearly clear": for people who do not tell colours apart. Hue
/// angles of CIELAB in twelve parts (common practice, no standard).
[[nodiscard]] std::string colour_name(const colour::Lab& lab);

/// "L* 86.90 ± 0.31, a* −56.65 ± 0.52, b* 50.79 ± 0.60".
[[nodiscard]] std::string lab_in_words(const contents::Colour& colour);

/// CIEDE2000 to a target over the belief about a colour, 4096 fixed points, rising. A difference is
/// never below zero, so its mean and u alone would mislead near zero.
[[nodiscard]] std::vector<double> differences_of(const contents::Colour& seen,
                                                 const colour::Lab& target);

/// "0.41 (0.12 to 0.98) ΔE00": median and 95 %.
[[nodiscard]] std::string difference_in_words(const contents::Colour& seen,
                                              const colour::Lab& target);

/// The value of a tolerance line, whatever it is on.
[[nodiscard]] std::string line_value(const conformity::LineReport& found,
                                     const recipe::Recipe& recipe, std::size_t line);

/// "#rrggbb" for behind the glass, or an empty text.
[[nodiscard]] std::string behind_glass(const decide::Decision& decision, const line::State& state);

}  // namespace vialwright::report
