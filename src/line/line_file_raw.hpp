/// The line file and the recipe table as written: things refer to each other by id, and an id may
/// still be wrong. Private to the readers of files.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "line/line_file.hpp"
#include "line/line_file_amount.hpp"
#include "line/line_file_findings.hpp"
#include "line/spectra_csv.hpp"

namespace vialwright::line {

struct Head {
  std::string id;  ///< unused; a single table has none
  std::string name;
  bool command_is_evidence = true;
  std::string spectra;  ///< path of a table of spectra, beside the line file; empty: none
};

/// An instrument with everything that a colour gauge could say.
struct RawInstrument : plant::Instrument, plant::ColourGauge {
  bool gives_said = false;
  std::vector<std::string> channel_names;  ///< columns of the table of spectra
};

struct RawStrength {
  std::string component;
  Amount amount;
};
struct RawLot {
  std::string id, stock;
  std::vector<RawStrength> strengths;
  std::optional<quantity::Instant> expires;
};

struct RawMeetings {
  std::vector<std::vector<std::string>> may_meet;  ///< within one list every two may meet
};

struct RawLine {
  recipe::ToleranceOn on = recipe::ToleranceOn::content;
  std::string of;    ///< id of a component or stock; empty for the whole vial and colours
  std::string path;  ///< where it stands
  recipe::Limits limits;
  int colour = -1;  ///< of a line on colour: index into RawRecipe::colours
};
struct RawRecipe {
  std::string id, name, container;
  int version = 1;
  std::vector<std::string> stocks;
  std::optional<double> consumer_risk;
  double value = 0.0;
  std::vector<RawLine> lines;
  std::vector<recipe::ColourTarget> colours;
};

/// A colour that is wanted with its limit, as files write it: adds both. `path` of the line is
/// left to the caller.
RawLine& add_colour(RawRecipe& into, const recipe::ColourTarget& wanted, double limit);

struct RawFile {
  Head head;
  plant::Plant plant;  ///< but for its instruments
  std::vector<RawInstrument> instruments;
  std::vector<recipe::Component> components;
  std::vector<recipe::Stock> stocks;
  std::vector<RawLot> lots;
  RawMeetings meetings;
  std::vector<RawRecipe> recipes;
};

/// Turns ids into indices, with a problem (and "did you mean") for each that names nothing.
/// @param spectra  of the table that the line names: absorptivities by component, and channels;
/// nullptr where it could not be read, which is said already.
[[nodiscard]] LineFile resolved(RawFile raw, const std::vector<NamedSpectrum>* spectra,
                                Findings& findings);
[[nodiscard]] recipe::Recipe resolved(const RawRecipe& raw, const recipe::Book& book,
                                      Findings& findings);

[[nodiscard]] std::vector<std::string_view> ids_of(const auto& things) {
  std::vector<std::string_view> ids;
  ids.reserve(things.size());
  for (const auto& thing : things) ids.emplace_back(thing.id);
  return ids;
}

}  // namespace vialwright::line
