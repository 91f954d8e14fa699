/// The line file and the recipe table as written: things refer to each other by id, and an id may
/// still be wrong. Private to the readers of files.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "line/line_file.hpp"
#include "line/line_file_amount.hpp"
#include "line/line_file_findings.hpp"

namespace vialwright::line {

struct Head {
  std::string id;  ///< unused; a single table has none
  std::string name;
  bool command_is_evidence = true;
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
  std::string of;    ///< id of a component or stock; empty for the whole vial
  std::string path;  ///< where it stands
  recipe::Limits limits;
};
struct RawRecipe {
  std::string id, name, container;
  int version = 1;
  std::vector<std::string> stocks;
  std::optional<double> consumer_risk;
  double value = 0.0;
  std::vector<RawLine> lines;
};

struct RawFile {
  Head head;
  plant::Plant plant;
  std::vector<recipe::Component> components;
  std::vector<recipe::Stock> stocks;
  std::vector<RawLot> lots;
  RawMeetings meetings;
  std::vector<RawRecipe> recipes;
};

/// Turns ids into indices, with a problem (and "did you mean") for each that names nothing.
[[nodiscard]] LineFile resolved(RawFile raw, Findings& findings);
[[nodiscard]] recipe::Recipe resolved(const RawRecipe& raw, const recipe::Book& book,
                                      Findings& findings);

[[nodiscard]] std::vector<std::string_view> ids_of(const auto& things) {
  std::vector<std::string_view> ids;
  ids.reserve(things.size());
  for (const auto& thing : things) ids.emplace_back(thing.id);
  return ids;
}

}  // namespace vialwright::line
