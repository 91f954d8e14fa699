/// Private to topup: one recipe of a screening, with least doses and odds. All on the call stack.
#pragma once

#include <array>

#include "topup/composition.hpp"
#include "topup/topup.hpp"

namespace vialwright::topup {

using PerStock = std::array<double, most_stocks>;

/// A vial against one recipe: the stocks that either of them has to do with, packed.
/// lower_i T <= have_i + a_i <= upper_i T, T = total + sum(a); upper_i may be infinite.
struct DoseCase {
  std::size_t count = 0;
  std::array<int, most_stocks> stock;  ///< index into the vial's stocks
  PerStock have, u_have, with_total, low, high, least, cap, price, volume;
  PerStock spread_g, spread_rel, u_strength_rel;
  double total = 0.0, u_total = 0.0, total_low = 0.0, total_high = 0.0, volume_room = 0.0;
  double visit = 0.0;
};

[[nodiscard]] DoseCase dose_case(const RecipeTable& recipes, int recipe, const ManyVial& vial);

struct DoseAnswer {
  bool found = false;
  double cost = 0.0;  ///< of the stocks alone
  PerStock grams;
};

/// Margins that a search asks of every line, in the units of DoseCase's limits.
struct Margins {
  PerStock share;      ///< taken off both limits of each stock
  double total = 0.0;  ///< g, taken off both limits of the total
};

/// Cheapest amounts, each zero or from `least` to `cap`, by branch and bound over the doses that
/// the relaxed problem would have below their least; exact. `relaxed` gets the answer without least
/// doses where the caller asks for it. `margins` may be null.
[[nodiscard]] DoseAnswer least_cost_of_doses(const DoseCase& all, const Margins* margins,
                                             DoseAnswer* relaxed = nullptr);

/// Amounts in the middle of what the lines and stations allow, from amounts that meet the lines.
[[nodiscard]] PerStock centred(const DoseCase& all, const DoseAnswer& start);

/// The odds of those amounts: given the total after dosing, the lines as if independent, with the
/// first two terms of what they still have in common; one-dimensional quadrature over the total.
struct QuickOdds {
  double value = 0.0, error = 0.0;  ///< error: quadrature and size of what is left out; no bound
};
[[nodiscard]] QuickOdds quick_odds(const DoseCase& all, const PerStock& grams);

/// No amounts have odds above this, which is never below one half.
[[nodiscard]] double odds_at_most(const DoseCase& all);

}  // namespace vialwright::topup
