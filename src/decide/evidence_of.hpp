/// Private to decide: from the record of a vial to the evidence that the engine takes.
#pragma once

#include "decide/decide.hpp"

namespace vialwright::decide {

/// What counts as evidence, how each piece is named to a person, and what was left out and why.
struct NamedEvidence {
  contents::Evidence evidence;
  std::vector<ReadingName> readings;  ///< beside evidence.readings
  std::vector<std::string> doses;     ///< beside evidence.doses
  std::vector<std::string> unused;
};

/// "colour by colour_camera at 2026-11-25T09:25:00Z (event lab-4): it was not mixed": how a reading
/// that did not count is told.
[[nodiscard]] std::string left_out(const ReadingName& reading, std::string_view why);

[[nodiscard]] NamedEvidence evidence_of(const line::VialRecord& vial, const line::State& state);

}  // namespace vialwright::decide
