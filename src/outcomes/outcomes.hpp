/// What finished top-ups and doses have taught: how far the odds may be believed, and how a station
/// doses. Every learned number carries its doubt and the count behind it; with little history the
/// prior shows. Only reworked vials reveal success: nothing is learned from what was not tried.
#pragma once

#include <span>
#include <string>
#include <vector>

#include "quantity/quantity.hpp"

namespace vialwright::outcomes {

/// One finished top-up.
struct Outcome {
  double odds = 0.0;       ///< predicted, 0..1
  double good = 0.0;       ///< 0..1: how surely it then met the recipe, by the evidence after it
  double margin_sd = 0.0;  ///< distance to the nearest limit over its standard deviation
  double least_dose_ratio = 0;  ///< smallest dose over its station's least; 0 = no dose
  double age_days = 0.0;        ///< of the vial
  int stock = -1;               ///< of the smallest dose; -1 = none
  double days_ago = 0.0;
};

/// How history corrects odds: with z the normal quantile, z(corrected) = z(odds) + x'w, and a
/// Gaussian prior on w that holds it near "the odds are right" until outcomes say otherwise. On
/// this scale a dose spread k times the stated one is a slope of 1/k - 1: margins count in standard
/// deviations, which a logistic scale bends.
struct Recalibration {
  std::vector<std::string> names;  ///< of the weights: "level", "slope", "margin", ...
  std::vector<double> weight, u;   ///< posterior mean and standard uncertainty
  std::vector<double> covariance;  ///< row by row
  int n = 0;                       ///< outcomes behind it
};
struct Corrected {
  double odds = 0.0;  ///< averaged over the doubt that the outcomes brought; as predicted for n = 0
  double low = 0.0, high = 0.0;  ///< 95 % interval by the whole doubt, the prior's included
  int n = 0;
};

struct Options {
  double half_life_days = 90.0;
  bool covariates = true;  ///< margin, least dose ratio, age, stock; else level and slope alone
  bool operator==(const Options&) const = default;
};

/// @param outcomes  of top-ups that were made and judged: what was not tried teaches nothing.
/// @param stocks    how many there are; each has a weight of its own.
[[nodiscard]] Recalibration learn(std::span<const Outcome> outcomes, int stocks,
                                  const Options& options = {});
/// `now` carries the predicted odds and what is known of the top-up; its `good` is not looked at.
[[nodiscard]] Corrected correct(const Outcome& now, const Recalibration& learned);

/// Odds against outcome so far, for people: bins of predicted odds with what came of them.
struct Bin {
  double from = 0.0, to = 0.0;  ///< predicted
  int n = 0;
  double predicted = 0.0;                         ///< mean of the bin
  double came_true = 0.0, low = 0.0, high = 0.0;  ///< share, with its 95 % interval (Beta 1/2, 1/2)
  double fails_most = 1.0;  ///< largest share that may fail, 95 % one-sided (Clopper & Pearson)
};
[[nodiscard]] std::vector<Bin> bins(std::span<const Outcome> outcomes, int count = 10);
/// Mean squared distance of odds from outcome, and what it would be if the odds were right.
struct Score {
  double brier = 0.0, expected = 0.0, u_expected = 0.0;
  int n = 0;
};
[[nodiscard]] Score score(std::span<const Outcome> outcomes);

// ---- how a station doses -----------------------------------------------------------------------

struct DoseSeen {
  int station = 0, stock = 0, lot = -1;
  double told_g = 0.0;
  double found_g = 0.0, u_found_g = 0.0;  ///< by the evidence without the command
  double days_ago = 0.0;
  bool clean = true;  ///< aborted, first after a lot change or contradicted doses are not
};
/// Bias and spread of one station with one stock: normal errors of unknown mean (one a lot) and a
/// variance that is some factor times the line file's, which speaks as a weak prior (four doses for
/// the spread, a tenth of one for no bias). The doubt of what was found is taken out of the spread.
/// Of a lot that was not seen yet the bias is 0 with a wide interval.
struct DoseHabit {
  int station = 0, stock = 0, n = 0;
  double bias_g = 0.0, u_bias_g = 0.0;  ///< found less told, 95 % is t-based
  double bias_low = 0.0, bias_high = 0.0;
  double spread_g = 0.0, spread_low = 0.0, spread_high = 0.0;  ///< of a typical dose, 95 %
  double within_g = 0.0;         ///< bias +- this holds 95 % of typical doses, 95 % sure
  double stated_spread_g = 0.0;  ///< by the line file at the typical dose
  double typical_g = 0.0;        ///< mean amount told
};
/// What the line file says of a station: sd^2 = spread_g^2 + (spread_rel * amount)^2.
struct StatedSpread {
  int station = 0;
  double spread_g = 0.0, spread_rel = 0.0;
};
/// @param doses    only clean ones teach.
/// @param stated   one a station, above 0 for what was told.
/// @param lot_now  per stock: what is loaded; doses of other lots teach spread, but no bias.
[[nodiscard]] std::vector<DoseHabit> habits(std::span<const DoseSeen> doses,
                                            std::span<const StatedSpread> stated,
                                            std::span<const int> lot_now);

}  // namespace vialwright::outcomes
