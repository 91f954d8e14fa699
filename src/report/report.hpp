/// Decisions as people read them: tables for a terminal, a self-contained HTML shift report.
#pragma once

#include <string>

#include "decide/decide.hpp"

namespace vialwright::report {

struct Look {
  bool colour = false;  ///< terminal emphasis; words and shapes carry the meaning without it
  int width = 100;      ///< columns
};

[[nodiscard]] std::string vial_table(const decide::Shift& shift, const Look& look);
[[nodiscard]] std::string order_table(const line::State& state, const Look& look);
/// One vial in full: evidence, contents, residuals, conformity, top-ups, decision.
[[nodiscard]] std::string vial_in_full(const decide::Decision& decision, const line::State& state,
                                       const Look& look);
/// From what it was computed: position and head of the logbook, build, vectors, seed.
[[nodiscard]] std::string computed_from(const decide::Provenance& provenance, const Look& look);
/// Why, in plain words.
[[nodiscard]] std::string explanation(const decide::Decision& decision, const line::State& state,
                                      const Look& look);
[[nodiscard]] std::string shift_summary(const decide::Shift& shift, const line::State& state,
                                        const Look& look);
/// One HTML page with SVG drawings, fonts and styles inside; drawn as docs/look says.
[[nodiscard]] std::string shift_page(const decide::Shift& shift, const line::State& state,
                                     const std::string& line_name);

}  // namespace vialwright::report
