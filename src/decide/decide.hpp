/// From line state to decisions: what is in each vial, is it good, what to do, and why.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "conformity/conformity.hpp"
#include "contents/contents.hpp"
#include "holding/holding.hpp"
#include "line/line.hpp"
#include "making/making.hpp"
#include "outcomes/outcomes.hpp"
#include "pairing/pairing.hpp"
#include "strength/strength.hpp"
#include "topup/topup.hpp"

namespace vialwright::decide {

using quantity::Instant;

enum class Disposition { release, measure_again, rework, hold, scrap, open };
[[nodiscard]] std::string_view word(Disposition disposition);  ///< "measure again"

/// What a vial can become: one recipe, and the open order of it that it would best fill (or none).
struct TopupAnswer {
  std::string recipe, order;  ///< order may be empty
  topup::Topup topup;         ///< topup::Answer::best
  bool meets_risk = false;
  std::optional<topup::Topup> second;
  topup::Impossible impossible = topup::Impossible::no;
  std::optional<topup::Proved> proved;
  std::optional<topup::NearestColour> nearest;   ///< impossible by colour: how near it comes
  std::optional<outcomes::Corrected> corrected;  ///< odds as history corrects them
  outcomes::Outcome now;                         ///< the top-up as history is asked about it
  std::string smallest;                          ///< stock id of its smallest dose, or empty
  double worth = 0.0;  ///< expected saving against a fresh vial, if it fills an order now
  double fresh = 0.0;  ///< what a fresh vial for that order would cost
};

/// How long the vial may wait, and for what.
struct HoldAnswer {
  double value = 0.0;             ///< of waiting, over scrapping now; unit of account
  Instant limit;                  ///< when waiting stops paying
  Instant limit_low, limit_high;  ///< 95 %
  holding::Ends ends = holding::Ends::never_pays;
  std::vector<Instant> at;  ///< the taper: what waiting is still worth over scrapping
  std::vector<double> over_scrapping;
  double odds_1_day = 0.0, odds_3_days = 0.0, odds_7_days = 0.0;  ///< that an order it fits comes
  double counted_on = 1.0;               ///< share of the demand that rivals leave to it
  bool has_place = true;                 ///< a hold place is there for it under the price
  std::vector<std::string> for_recipes;  ///< what it waits for, the weightiest first
};

/// One rung: a vial that could fill an order now.
struct Rung {
  std::string serial, order, recipe;
  outcomes::Corrected odds;
  double worth = 0.0, waiting = 0.0;  ///< now, and of keeping the vial; same money
  bool taken = false;                 ///< the pairing gives the order to this vial
  double short_by = 0.0;              ///< not taken: what is missing
};

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
  std::string headline;                        ///< one sentence: the answer and its number
  std::vector<std::string> reasons;            ///< why, in words and numbers, the weightiest first
  std::string binding;                         ///< the tolerance line that binds, or empty
  std::vector<std::string> would_change;       ///< what would change the answer
  std::optional<contents::Estimate> estimate;  ///< its belief is aged to `as_of`
  double aged_days = 0.0;                      ///< since the last dose or reading that counts
  contents::Evidence evidence;
  std::vector<ReadingName> readings;     ///< beside estimate->readings
  std::vector<std::string> doses;        ///< beside estimate->commands: "teal, 0.315 g asked"
  std::vector<std::string> stock_names;  ///< beside Book::stocks
  std::vector<std::string> unused;       ///< readings not counted as evidence, each with its reason
  std::optional<conformity::Conformity> conformity;
  /// Contradicted evidence: P(all lines hold) averaged over the explanations by their odds.
  std::optional<conformity::Probability> whichever;
  std::optional<conformity::ReadingWorth> reading_worth;
  bool colour_unread = false;  ///< its colour binds and leaves it unclear, no reading of it counts,
                               ///< and a gauge could read it
  std::vector<TopupAnswer> topups;             ///< own recipe first, then the best others
  std::optional<topup::TwoRounds> two_rounds;  ///< where dosing in two steps pays
  std::optional<HoldAnswer> hold;              ///< where waiting is a choice
  std::string for_order;                       ///< rework or release: the order that it goes to
  std::string for_recipe;
  double money = 0.0;  ///< expected, of the disposition over scrapping now
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
  int other_recipes = 5;           ///< top-ups shown for other recipes, worthiest first
  std::vector<std::string> asked;  ///< recipes that must be answered for, whatever their odds
  std::vector<std::string> off;    ///< instruments that give no further readings
};

/// What the logbook has taught so far.
struct Learned {
  struct RecipeDemand {
    std::string recipe;
    holding::Demand demand;
  };
  std::vector<RecipeDemand> demand;         ///< by recipe
  std::vector<outcomes::Outcome> outcomes;  ///< finished top-ups
  outcomes::Recalibration recalibration;
  std::vector<outcomes::Bin> bins;
  outcomes::Score score;
  std::vector<outcomes::DoseHabit> habits;
  std::optional<strength::Lesson> colours;  ///< absorptivities and strengths, where colours taught
  std::vector<std::string> samples;         ///< serials, beside colours->samples
  std::vector<std::string> next_samples;    ///< what to make and read next, the best first
};

struct Shift {
  Provenance provenance;
  std::vector<Decision> decisions;  ///< by serial
  std::vector<Rung> rungs;          ///< pairs that were weighed, those taken first
  Learned learned;
  int places = 0;              ///< hold places in all
  int places_taken = 0;        ///< by vials that the advice keeps waiting for orders
  double place_per_day = 0.0;  ///< price of a hold place now
};

/// One vial, as decide_all would decide it; `asked` is about it alone. Where its answer hangs on
/// other vials, the whole line is decided on the way. @pre the vial is one of the state's.
[[nodiscard]] Decision decide_vial(const line::State& state, const line::VialRecord& vial,
                                   const Options& options);
/// All vials together, since they share orders and hold places. Same state, same bytes.
[[nodiscard]] Shift decide_all(const line::State& state, std::string head, const Options& options);

/// Demand, outcomes and dose habits, from everything the state has seen.
[[nodiscard]] Learned learn(const line::State& state, const Options& options);

/// Before dosing: one open order on the line as it is today.
struct OrderForecast {
  std::string order, recipe;
  making::Forecast forecast;
  /// With one thing off: the odds then, for each instrument and station that matters to it.
  struct Without {
    std::string what;  ///< "station teal", "instrument line_scale"
    bool can = false;
    double passes = 0.0, proven = 0.0;
  };
  std::vector<Without> without;
};
[[nodiscard]] std::vector<OrderForecast> forecast_orders(const line::State& state,
                                                         const Options& options);

/// What an explanation supposes: "the reading gross (line_scale) is wrong".
[[nodiscard]] std::string supposed(const contents::Explanation& explanation,
                                   const Decision& decision);

/// The decision as a decision.made event, source "vialwright/engine".
[[nodiscard]] event::Event as_event(const Decision& decision, const Provenance& provenance,
                                    std::uint64_t sequence);

/// JSON of a decision in full, by the schema of docs/formats.md ("decision").
[[nodiscard]] std::string as_json(const Decision& decision, const Provenance& provenance,
                                  const line::State& state);

/// JSON of all decisions of a line, with the pairs weighed, the places, and what was learned.
[[nodiscard]] std::string as_json(const Shift& shift, const line::State& state);

[[nodiscard]] Provenance provenance_of(const line::State& state, std::string head,
                                       const Options& options);

// ---- suppose: the same engine on a changed copy ------------------------------------------------

/// What is supposed. Nothing of it touches the logbook.
struct Supposition {
  std::vector<line::Fact> facts;  ///< events that might come, folded after those of the book
  std::optional<int> places;      ///< hold places in all
  std::optional<double> consumer_risk;
  std::vector<std::string> off;  ///< ids of instruments and stations
};

/// The state with the supposition in it. Its facts get the positions after the book's, so that the
/// decisions are those that come when the events do. Stations that are off dose nothing, meters
/// meter no further doses; give the same ids to Options::off, so that scales give no further
/// readings either. Errors: ids that the line does not know, places or a risk out of range.
[[nodiscard]] Result<line::State> suppose(line::LineFile line, std::vector<line::Fact> facts,
                                          const Supposition& supposition,
                                          std::optional<Instant> as_of);

/// What differs between two decidings, in words, by serial.
struct Difference {
  std::string serial;
  std::string before, after;  ///< disposition and headline
  double money_before = 0.0, money_after = 0.0;
};
[[nodiscard]] std::vector<Difference> differences(const Shift& before, const Shift& after);

}  // namespace vialwright::decide
