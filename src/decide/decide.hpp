/// From line state to decisions: what is in each vial, is it good, what to do, and why.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "conformity/conformity.hpp"
#include "contents/contents.hpp"
#include "line/line.hpp"
#include "topup/topup.hpp"

namespace vialwright::decide {

using quantity::Instant;

enum class Disposition { release, measure_again, rework, hold, scrap, open };
[[nodiscard]] std::string_view word(Disposition disposition);  ///< "measure again"

struct TopupAnswer {
  std::string recipe, order;
  topup::Topup topup;
};  ///< order may be empty

/// Which reading of the record each reading of the evidence is, so that a residual can be shown
/// with its source.
struct ReadingName {
  std::string label, instrument, unit;
  line::Origin origin;
};

struct Decision {
  std::string id;  ///< "decision/<serial>/<position>": the same for the same input
  std::string serial, recipe, order;
  int recipe_version = 0;
  Disposition disposition = Disposition::open;
  std::string headline;                   ///< one sentence: the answer and its number
  std::vector<std::string> reasons;       ///< why, in words and numbers, the weightiest first
  std::string binding;                    ///< the tolerance line that binds, or empty
  std::vector<std::string> would_change;  ///< what would change the answer
  std::optional<contents::Estimate> estimate;
  contents::Evidence evidence;
  std::vector<ReadingName> readings;  ///< beside estimate->readings
  std::vector<std::string> doses;     ///< beside estimate->commands: "teal, 0.315 g asked"
  std::vector<std::string> unused;    ///< readings not counted as evidence, each with its reason
  std::optional<conformity::Conformity> conformity;
  /// Contradicted evidence: P(all lines hold) averaged over the explanations by their odds.
  std::optional<conformity::Probability> whichever;
  std::optional<conformity::ReadingWorth> reading_worth;
  std::vector<TopupAnswer> topups;  ///< own recipe first, then the best others
  bool on_the_edge = false;
  Instant as_of, expires;
};

/// From what everything was computed.
struct Provenance {
  std::uint64_t position = 0;
  std::string head;   ///< hex of the chain at that position
  std::string build;  ///< version and compiler
  std::string cpu;    ///< vector class used
  std::uint64_t seed = 0;
};

struct Options {
  contents::Options contents;
  conformity::Options conformity;
  int other_recipes = 5;           ///< top-ups shown for other recipes, best odds first
  std::vector<std::string> asked;  ///< recipes that must be answered for, whatever their odds
};

struct Shift {
  Provenance provenance;
  std::vector<Decision> decisions;  ///< by serial
};

[[nodiscard]] Decision decide_vial(const line::State& state, const line::VialRecord& vial,
                                   const Options& options);
[[nodiscard]] Shift decide_all(const line::State& state, std::string head, const Options& options);

/// The decision as a decision.made event, source "vialwright/engine".
[[nodiscard]] event::Event as_event(const Decision& decision, const Provenance& provenance,
                                    std::uint64_t sequence);

/// JSON of a decision in full, by the schema of docs/formats.md ("decision").
[[nodiscard]] std::string as_json(const Decision& decision, const Provenance& provenance,
                                  const line::State& state);

[[nodiscard]] Provenance provenance_of(const line::State& state, std::string head,
                                       const Options& options);

}  // namespace vialwright::decide
