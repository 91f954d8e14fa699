/// Private to report: the parts of the page, top to bottom. Each returns its markup, or nothing
/// where it has nothing to say.
#pragma once

#include <string>

#include "report/tally.hpp"

namespace vialwright::report {

[[nodiscard]] std::string decided_part(const decide::Shift& shift);
/// A row a vial that is neither released nor still being made, with the line that binds.
[[nodiscard]] std::string not_released_part(const Questions& questions, const line::State& state);
/// One course a kind of tolerance line, every vial of the shift in it.
[[nodiscard]] std::string contents_part(const decide::Shift& shift, const line::State& state);
[[nodiscard]] std::string instruments_part(const std::vector<Pulls>& pulls);
[[nodiscard]] std::string topups_part(const Questions& questions, const line::State& state);
[[nodiscard]] std::string contradictions_part(const Questions& questions, const line::State& state);
[[nodiscard]] std::string conflicts_part(const Questions& questions, const line::State& state);
/// How long each held vial may wait, on one axis of time; places taken and what one costs.
[[nodiscard]] std::string held_part(const decide::Shift& shift, const line::State& state);
/// Which vial gets which order, and which pairs fall short.
[[nodiscard]] std::string pairs_part(const decide::Shift& shift, const line::State& state);
/// What the logbook has taught: odds against outcome, how stations dose, what is ordered.
[[nodiscard]] std::string learned_part(const decide::Shift& shift, const line::State& state);
[[nodiscard]] std::string vials_part(const decide::Shift& shift, const line::State& state);
[[nodiscard]] std::string check_part(const decide::Provenance& from, const line::State& state);

/// A row of drawings: name, drawing, value, and what is said below it (may be empty).
[[nodiscard]] std::string row_html(const std::string& name, const std::string& drawing,
                                   const std::string& value, const std::string& said);

/// The vial's glass at its level, in its estimated colour where that is known, and its serial.
[[nodiscard]] std::string vial_name_html(const decide::Decision& decision,
                                         const line::State& state);

/// The channel of one tolerance line of a decision, with its text alternative.
[[nodiscard]] std::string channel_of(const decide::Decision& decision, const recipe::Recipe& recipe,
                                     std::size_t line, double clear, const line::State& state);

}  // namespace vialwright::report
