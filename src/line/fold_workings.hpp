/// What the fold knows while it goes through the facts, and what every kind of fact does to it.
/// Private to the fold.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "line/fold_facts.hpp"
#include "line/line.hpp"

namespace vialwright::line {

/// One fact on its turn.
struct Turn {
  const Fact& fact;
  Instant time;                      ///< the source time, or the newest believed one in its place
  Quality quality = Quality::clear;  ///< of the clock: clear, future or unsynchronised

  [[nodiscard]] const std::string& subject() const { return fact.event.subject; }
  [[nodiscard]] Origin origin() const { return origin_of(fact); }
};

/// A vial by its place in State::vials, and the fact that put it there.
struct Sighting {
  std::size_t vial = 0;
  Origin origin;
};

struct DosePlace {
  std::size_t vial = 0, dose = 0;
};

/// What happened on one tank since the last reading before a dose.
struct TankWatch {
  std::string dose;  ///< whose reading before is pending; empty: none
  int instrument = 0;
  double before_g = 0.0;
  Quality quality = Quality::clear;
  bool disturbed = false;  ///< something else happened on the tank since
};

struct Workings {
  explicit Workings(const LineFile& line);

  State state;
  std::unordered_map<std::string, std::size_t> vials;   ///< serial -> State::vials
  std::unordered_map<std::string, std::size_t> orders;  ///< id -> State::orders
  std::unordered_map<std::string, DosePlace> doses;
  std::unordered_map<std::string, std::vector<recipe::Recipe>> recipes;  ///< versions by id
  std::unordered_map<std::string, Sighting> carriers;                    ///< who rides on what
  std::unordered_map<std::string, Sighting> stations;  ///< who was last moved there
  std::unordered_map<std::string, TankWatch> tanks;
  std::vector<std::optional<Instant>> calibrated;  ///< beside the instruments of the line file
  std::map<std::pair<std::string, std::string>, int> sessions;  ///< (gauge, session) -> number
  int next_session = 0;
  std::optional<Climate> climate;
  Instant record_start;  ///< the first believed source time

  /// Beside State::vials: since when the vial has lost vapour, and the doses' open time so far.
  std::vector<std::optional<Instant>> open_since;

  std::unordered_map<std::string_view, const event::DecisionMade*> decisions;  ///< by event id
  std::vector<const event::DecisionMade*> latest_decision;  ///< beside State::vials; may be null

  /// Contradictions with vials that may be registered later in the order.
  std::vector<std::pair<std::string, Conflict>> concerning;
};

/// "did you mean" where there is a near word among the ids of `things`.
[[nodiscard]] std::string mend_for(std::string_view id, const auto& things, std::string otherwise) {
  std::vector<std::string_view> known;
  known.reserve(std::size(things));
  for (const auto& thing : things) known.emplace_back(thing.id);
  const std::string_view near = quantity::nearest(id, known);
  if (near.empty()) return otherwise;
  return "did you mean '" + std::string(near) + "'? Correct the event, or " + otherwise;
}

/// The fact names something that the line does not know.
void unread(Workings& workings, const Turn& turn, std::string what, std::string mend);

/// Indices of things of the line by id; an unknown id goes to State::unread.
std::optional<int> known_instrument(Workings& workings, const Turn& turn, const std::string& id);
std::optional<int> known_station(Workings& workings, const Turn& turn, const std::string& id);
std::optional<int> known_stock(Workings& workings, const Turn& turn, const std::string& id);
std::optional<int> known_lot(Workings& workings, const Turn& turn, const std::string& id,
                             int stock);

/// An instrument of the right kind for the reading, else State::unread.
std::optional<int> instrument_for(Workings& workings, const Turn& turn, const std::string& id,
                                  plant::InstrumentKind kind, std::string_view reading);

/// The vial that the fact is about; unknown serials go to State::unread.
std::optional<std::size_t> vial_of(Workings& workings, const Turn& turn);

void conflict(Workings& workings, std::size_t vial, std::string what, std::vector<Origin> between);

/// May a reading of this instrument be believed at this time?
[[nodiscard]] Quality quality_of(const Workings& workings, const Turn& turn, int instrument);

/// How long the vial has lost vapour by then: open, counted from its first dose.
[[nodiscard]] double open_s_at(const Workings& workings, std::size_t vial, Instant time);

/// Checks what a reading or a dose says about its place against what is known about the vial.
/// Contradictions are put to both vials concerned.
/// @returns false when the code that was read from the vial is not its serial.
bool place_agrees(Workings& workings, const Turn& turn, std::size_t vial,
                  const event::Place& place);

/// The vial is at work at this dosing station: was it moved there?
void check_station(Workings& workings, const Turn& turn, std::size_t vial,
                   const std::string& station);

/// Something other than `dose` happened on the station's tank.
void disturb_tank_of(Workings& workings, int station, const std::string& dose);

/// Puts a reading into the record of its vial, with what is known of the vial by then.
void add_reading(Workings& workings, const Turn& turn, VialReading reading,
                 const event::Place& place);

// What each kind of fact does. What has no effect on the state has none here: zeroing (the offset
// is one unknown with its calibrated spread) and energy.
void take(Workings& workings, const Turn& turn, const event::RecipePublished& data);
void take(Workings& workings, const Turn& turn, const event::OrderPlaced& data);
void take(Workings& workings, const Turn& turn, const event::OrderChanged& data);
void take(Workings& workings, const Turn& turn, const event::OrderCancelled& data);
void take(Workings& workings, const Turn& turn, const event::LotLoaded& data);
void take(Workings& workings, const Turn& turn, const event::LotAssayed& data);
void take(Workings& workings, const Turn& turn, const event::TankRead& data);
void take(Workings& workings, const Turn& turn, const event::TankRefilled& data);
void take(Workings& workings, const Turn& turn, const event::LineFlushed& data);
void take(Workings& workings, const Turn& turn, const event::StationState& data);
void take(Workings& workings, const Turn& turn, const event::InstrumentZeroed& data);
void take(Workings& workings, const Turn& turn, const event::CalibrationMade& data);
void take(Workings& workings, const Turn& turn, const event::EnvironmentRead& data);
void take(Workings& workings, const Turn& turn, const event::VialRegistered& data);
void take(Workings& workings, const Turn& turn, const event::VialInspected& data);
void take(Workings& workings, const Turn& turn, const event::VialBound& data);
void take(Workings& workings, const Turn& turn, const event::CarrierBound& data);
void take(Workings& workings, const Turn& turn, const event::VialMoved& data);
void take(Workings& workings, const Turn& turn, const event::EnergyRead& data);
void take(Workings& workings, const Turn& turn, const event::TareRead& data);
void take(Workings& workings, const Turn& turn, const event::DoseCommanded& data);
void take(Workings& workings, const Turn& turn, const event::DoseMetered& data);
void take(Workings& workings, const Turn& turn, const event::VialMixed& data);
void take(Workings& workings, const Turn& turn, const event::VialCapped& data);
void take(Workings& workings, const Turn& turn, const event::VialUncapped& data);
void take(Workings& workings, const Turn& turn, const event::GrossRead& data);
void take(Workings& workings, const Turn& turn, const event::VolumeRead& data);
void take(Workings& workings, const Turn& turn, const event::LevelRead& data);
void take(Workings& workings, const Turn& turn, const event::ColourRead& data);
void take(Workings& workings, const Turn& turn, const event::DecisionMade& data);
void take(Workings& workings, const Turn& turn, const event::DecisionOverruled& data);
void take(Workings& workings, const Turn& turn, const event::TopupApplied& data);
void take(Workings& workings, const Turn& turn, const event::HoldStarted& data);
void take(Workings& workings, const Turn& turn, const event::HoldEnded& data);
void take(Workings& workings, const Turn& turn, const event::VialReleased& data);
void take(Workings& workings, const Turn& turn, const event::VialScrapped& data);

}  // namespace vialwright::line
