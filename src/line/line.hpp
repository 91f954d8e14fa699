/// The line file, and the fold of events into line state: which vial has seen what, which orders
/// are open, which lot is loaded where. A pure function of the set of events.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "event/event.hpp"
#include "line/line_file.hpp"
#include "logbook/logbook.hpp"

namespace vialwright::line {

using quantity::Instant;

/// Which event a fact came from.
struct Origin {
  std::string source, id;
  std::uint64_t position = 0;
  Instant time;
};

/// May a reading be believed as it stands?
enum class Quality { clear, future, unsynchronised, uncalibrated, wrong_vial };
[[nodiscard]] std::string_view word(Quality quality);

struct MeterReading {
  int instrument = 0;
  double value = 0.0;  ///< g or mL as the instrument's kind says
  double counting_s = 0.0;
  Quality quality = Quality::clear;
  Origin origin;
};

struct DoseRecord {
  std::string id;
  int stock = 0, lot = -1, station = -1;
  std::optional<double> commanded_g;
  bool aborted = false;
  bool topup = false;                     ///< named by a topup.applied
  std::vector<MeterReading> metered;      ///< meters
  std::optional<MeterReading> tank_loss;  ///< difference of the tank readings round this dose
  double days = 0.0;                      ///< from the vial's first dose to this one
  Origin origin;                          ///< of the command, or of the first metering
};

struct Climate {
  double celsius = 20.0, pressure_hpa = 1013.25, humidity_percent = 50.0;
};

enum class Weighed { tare, gross, volume, level, colour };

struct VialReading {
  Weighed kind = Weighed::gross;
  int instrument = 0;
  double value = 0.0;   ///< g, mL or mm
  int after_doses = 0;  ///< doses made by then, in causal order
  double open_s = 0.0;
  bool capped = false;
  std::optional<Climate> climate;  ///< the latest before the reading; decide makes a density of it
  Quality quality = Quality::clear;
  Origin origin;
  double days = 0.0;           ///< from the vial's first dose to this reading
  std::vector<double> values;  ///< colour: bands, L* a* b*, or absorbances of the channels
  std::string session;         ///< colour; empty: a session by itself
  int session_number = 0;      ///< colour: the same for readings that share a session
  bool mixed = true;           ///< colour: mixed since the last dose
  bool cloudy = false;         ///< colour: the liquid was seen to scatter
  std::string unusable;        ///< colour: why the values say nothing (a clipped channel), or empty
};

/// Something that contradicts something else about identity or order; never resolved by guessing.
struct Conflict {
  std::string what;
  std::vector<Origin> between;
};

/// A top-up that was made, by topup.applied: which decision advised it and what it then said.
struct AppliedTopup {
  std::string decision;            ///< id
  std::string advised;             ///< body of that decision.made, canonical JSON; empty if unknown
  std::vector<std::string> doses;  ///< ids
  Origin origin;
};

/// One stay in a hold place.
struct HoldRecord {
  std::string place, reason;
  Instant since;
  std::optional<Instant> until;
};

enum class Fate { open, released, scrapped };

struct VialRecord {
  std::string serial;
  int container = 0;
  bool sound = true;                     ///< by inspection
  std::string order;                     ///< bound to, or empty
  std::optional<recipe::Recipe> recipe;  ///< frozen at binding
  std::vector<DoseRecord> doses;
  std::vector<VialReading> readings;
  std::vector<Conflict> conflicts;
  bool capped = false;
  bool mixed_since_last_dose = false;
  double open_s = 0.0;  ///< up to State::as_of
  std::optional<Instant> first_dose, last_event, held_since;
  std::string hold_place, station, carrier;
  Fate fate = Fate::open;
  std::string last_decision;         ///< disposition of the latest decision.made
  std::vector<AppliedTopup> topups;  ///< in the order they were made
  std::vector<HoldRecord> holds;
  std::optional<Instant> ended;  ///< when it was released or scrapped
  std::string advised_order;     ///< order that the latest decision.made pairs it with, or empty
  std::optional<event::DecisionOverruled> overruled;
};

struct OrderRecord {
  enum class State { open, bound, filled, cancelled };
  std::string id, recipe;
  std::optional<Instant> due;
  double value = 0.0;
  int priority = 0;
  State state = State::open;
  std::string vial;  ///< serial, when bound or filled
  Instant placed;    ///< when; demand is learned from it, whatever became of the order
};

struct Station {
  std::string state = "up";   ///< up, down, off
  std::map<int, int> loaded;  ///< stock -> lot, what the station doses now
};

/// Everything the events say, as of one moment.
struct State {
  Instant as_of;
  std::uint64_t position = 0;           ///< of the newest event folded that is no decision.made
  plant::Plant plant;                   ///< with calibrations applied
  recipe::Book book;                    ///< with lots and assays from events
  std::vector<recipe::Recipe> recipes;  ///< newest version of each, by id
  std::vector<VialRecord> vials;        ///< by serial
  std::vector<OrderRecord> orders;      ///< by id
  std::vector<Station> stations;        ///< beside plant.stations
  std::vector<Conflict> conflicts;      ///< those of no single vial
  std::vector<Error> unread;            ///< facts that name things the line does not know
  std::uint64_t facts = 0;
  std::optional<Instant> first_fact;  ///< since when the line has been watched
};

/// One fact as the logbook gives it.
struct Fact {
  event::Event event;
  std::uint64_t position = 0;
  Instant received;
};

/// Folds facts into state: a function of the set of facts alone, so that the order in which they
/// arrive (and their positions in a book) have no influence. docs/method/fold.md has the order and
/// what each kind of fact does.
///
/// Facts with a source time after `as_of` are left out, unless that time is not believed: those
/// stand in the record, marked. Without `as_of` it is the newest source time that is believed.
/// Cannot fail: what names things that the line does not know goes to State::unread.
[[nodiscard]] State fold(const LineFile& line, std::vector<Fact> facts);
[[nodiscard]] State fold(const LineFile& line, std::vector<Fact> facts, Instant as_of);

/// The facts of a logbook up to `last` (0 = all), conflicts included.
[[nodiscard]] Result<std::vector<Fact>> facts_of(const logbook::Logbook& book,
                                                 std::uint64_t last = 0);

/// Reads a logbook up to `last` (0 = all) and folds it. Events that the book keeps as conflicts
/// (same source and id, another body) are folded too: which of two came first is no reason to
/// believe it.
[[nodiscard]] Result<State> state_of(const LineFile& line, const logbook::Logbook& book,
                                     std::uint64_t last = 0,
                                     std::optional<Instant> as_of = std::nullopt);

/// Days from the vial's first dose to then; 0 where there is none yet.
[[nodiscard]] double days_at(const VialRecord& vial, Instant time);

[[nodiscard]] const VialRecord* find_vial(const State& state, std::string_view serial);
[[nodiscard]] const OrderRecord* find_order(const State& state, std::string_view id);
[[nodiscard]] const recipe::Recipe* find_recipe(const State& state, std::string_view id);

/// JSON of what the facts say, for comparing two folds byte by byte. Positions in the book are left
/// out: they depend on arrival.
[[nodiscard]] std::string fingerprint(const State& state);

}  // namespace vialwright::line
