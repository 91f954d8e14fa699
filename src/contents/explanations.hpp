/// Private: is anything wrong, and what? Tests of the residuals and competing explanations.
#pragma once

#include <vector>

#include "contents/contents.hpp"
#include "contents/map_estimate.hpp"
#include "contents/vial_model.hpp"

namespace vialwright::contents {

/// Upper tail of chi-squared.
[[nodiscard]] double chi_squared_tail(double value, int degrees);

/// Residuals of readings, from the fit.
[[nodiscard]] std::vector<ReadingReport> reading_reports(const Fit& fit, const Observed& observed);

/// Residuals of priors that are as good as readings: the commands.
[[nodiscard]] std::vector<ReadingReport> command_reports(const Fit& fit, const VialModel& model,
                                                         const Unknowns& prior);

/// Chance that a sound vial looks as bad as this or worse. Two tests share it, so that both a wrong
/// reading and a general misfit are seen: the sum of squares (chi-squared) and the largest
/// standardised residual (Šidák's inequality, which holds whatever the correlations); twice the
/// smaller of the two, by Bonferroni's.
/// Source: Mah & Tamhane, AIChE J. 28 (1982) 828 (measurement test at Šidák's level).
[[nodiscard]] double chance_of_sound(const Fit& fit, const std::vector<ReadingReport>& readings,
                                     const std::vector<ReadingReport>& commands);

/// Every explanation with its odds, most probable first: nothing is wrong, one reading is off by a
/// blunder, one dose missed its command. Marginal likelihoods are exact for the linearised model:
/// a doubted thing adds one dyad to S, so each costs a rank-one update.
[[nodiscard]] std::vector<Explanation> explanations_of(const Fit& fit, const VialModel& model,
                                                       const Evidence& evidence,
                                                       const plant::Plant& plant);

/// Pairs of readings whose residuals move as one.
[[nodiscard]] std::vector<CriticalPair> critical_pairs(const Fit& fit, const Observed& observed);

}  // namespace vialwright::contents
