/// Private: is anything wrong, and what? Tests of the residuals and competing explanations.
#pragma once

#include <vector>

#include "contents/contents.hpp"
#include "contents/fitted.hpp"
#include "contents/map_estimate.hpp"
#include "contents/vial_model.hpp"

namespace vialwright::contents {

/// Residuals of readings, from the fit.
[[nodiscard]] std::vector<ReadingReport> reading_reports(const Fitted& fitted,
                                                         const VialModel& model);

/// Residuals of priors that are as good as readings: the commands.
[[nodiscard]] std::vector<ReadingReport> command_reports(const Fit& fit, const VialModel& model);

/// Chance that a sound vial looks as bad as this or worse. Two tests share it, so that both a wrong
/// reading and a general misfit are seen: the sum of squares (chi-squared) and the largest
/// standardised residual (Šidák's inequality, which holds whatever the correlations; for the values
/// of a colour taken as one it is Royen's); with a colour reading a third, the likeness to an
/// unknown colourant. As many times the smallest, by Bonferroni's.
/// Source: Mah & Tamhane, AIChE J. 28 (1982) 828 (measurement test at Šidák's level); Royen, Far
/// East J. Theor. Stat. 48 (2014) 139 (Gaussian correlation inequality).
[[nodiscard]] double chance_of_sound(const Fitted& fitted, const VialModel& model,
                                     const std::vector<ReadingReport>& readings,
                                     const std::vector<ReadingReport>& commands);

/// An explanation and what it changes in the model.
struct Suspected {
  Explanation explanation;
  Doubted doubted;
};

/// Every explanation with its odds, most probable first: nothing is wrong, one reading is off by a
/// blunder, one dose missed its command; with a colour reading also: a stock was carried over, the
/// dyes faded, something unknown colours the liquid. Marginal likelihoods are exact for the
/// linearised model: a doubted thing adds one dyad or block to S, so each costs an update of its
/// rank.
/// @param model  with whole colour readings, of which `fit` is.
[[nodiscard]] std::vector<Suspected> explanations_of(const Fit& fit, const VialModel& model,
                                                     const Evidence& evidence,
                                                     const plant::Plant& plant,
                                                     const recipe::Book& book,
                                                     const Options& options);

/// Pairs of rows whose residuals move as one.
[[nodiscard]] std::vector<CriticalPair> critical_pairs(const Fit& fit, const Observed& observed);

/// The same for the readings of a vial. Colours are in none: they have many values.
[[nodiscard]] std::vector<CriticalPair> critical_pairs(const Fit& fit, const VialModel& model);

}  // namespace vialwright::contents
