/// Decisions as people read them: tables for a terminal, a self-contained HTML shift report.
#pragma once

#include <string>

#include "decide/decide.hpp"

namespace vialwright::report {

struct Look {
  bool colour = false;  ///< terminal emphasis; words and shapes carry the meaning without it
  int width = 100;      ///< columns
};

[[nodiscard]] std::string vial_table(const decide::Shift& shift, const line::State& state,
                                     const Look& look);
[[nodiscard]] std::string order_table(const line::State& state, const Look& look);
/// One vial in full: evidence, contents, residuals, conformity, top-ups, decision.
[[nodiscard]] std::string vial_in_full(const decide::Decision& decision, const line::State& state,
                                       const Look& look);
/// From what it was computed: position and head of the logbook, build, vectors, seed.
[[nodiscard]] std::string computed_from(const decide::Provenance& provenance, const Look& look);
/// Why, in plain words.
[[nodiscard]] std::string explanation(const decide::Decision& decision, const line::State& state,
                                      const Look& look);
/// Why one recipe cannot be had, by which kind of impossible, or its best odds and what they lack;
/// empty for a recipe that was not asked about.
[[nodiscard]] std::string why_not(const decide::Decision& decision, const std::string& recipe,
                                  const line::State& state, const Look& look);
[[nodiscard]] std::string shift_summary(const decide::Shift& shift, const line::State& state,
                                        const Look& look);
/// Held vials with their limits, the reason that ends the wait, and what a place costs.
[[nodiscard]] std::string held_table(const decide::Shift& shift, const line::State& state,
                                     const Look& look);
/// Which vial gets which order; what falls short, and by how much.
[[nodiscard]] std::string pairs_table(const decide::Shift& shift, const line::State& state,
                                      const Look& look);
/// Odds against outcomes, dose habits and demand, each with its interval and count.
[[nodiscard]] std::string learned_tables(const decide::Learned& learned, const line::State& state,
                                         const Look& look);
/// Open orders before dosing: odds that they pass, where to aim, and what may not be off.
[[nodiscard]] std::string forecast_table(const std::vector<decide::OrderForecast>& orders,
                                         const line::State& state, const Look& look);
/// What would be decided otherwise, with the money it makes.
[[nodiscard]] std::string differences_table(const std::vector<decide::Difference>& differences,
                                            const line::State& state, const Look& look);
/// One vial of each kind (saved, regraded, held, impossible with its proof, scrapped), in plain
/// words; a proof is checked as it is told.
[[nodiscard]] std::string stories(const decide::Shift& shift, const line::State& state,
                                  const Look& look);
/// One HTML page with SVG drawings, fonts and styles inside; drawn as docs/look says.
[[nodiscard]] std::string shift_page(const decide::Shift& shift, const line::State& state,
                                     const std::string& line_name);

}  // namespace vialwright::report
