/// What stands in the record before it is put in order: corrections applied, one fact an identity.
/// Private to the fold.
#pragma once

#include <string>
#include <vector>

#include "line/line.hpp"

namespace vialwright::line {

[[nodiscard]] Origin origin_of(const Fact& fact);

/// "event d-17 of doser/2": how a fact is named to a person.
[[nodiscard]] std::string named(const event::Event& event);

/// A source time that lies too far beyond its receive time is not believed.
[[nodiscard]] bool from_the_future(const Fact& fact, const plant::Risks& risks);

/// One identity (source, id) under which more than one thing was said.
struct Clash {
  std::string what;
  std::vector<std::string> serials;  ///< of the vials concerned; may be empty
  std::vector<Origin> between;
};

struct Settled {
  std::vector<Fact> facts;  ///< without fact.corrected; in no particular order
  std::vector<Clash> clashes;
  Problems unread;
  std::uint64_t distinct = 0;  ///< facts before corrections, each identity once
};

/// Applies every fact.corrected, the last by canonical order winning, and settles identities said
/// twice: the same body is one fact; with another body it is a clash, unless a correction says
/// which is right. Of clashing readings none is kept; of other facts the one whose canonical JSON
/// comes first, so that the vial can be shown at all (the clash keeps it from any advice).
[[nodiscard]] Settled settle(std::vector<Fact> facts);

}  // namespace vialwright::line
