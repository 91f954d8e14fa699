/// The events of a line as plain data, their canonical JSON, and how they are read from bytes.
/// No storage. CloudEvents 1.0 in JSON; the schemas and a worked example of each type are in
/// docs/events/.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "quantity/quantity.hpp"

namespace vialwright::event {

using quantity::Instant;

// ---- data of each type; amounts arrive as {"value": 19.38, "unit": "g"} and stand here in the
// ---- unit that the name says ------------------------------------------------------------------

/// Where a reading says it was taken; all optional. They are checked against each other.
struct Place {
  std::string station, carrier;
  std::string scanned;  ///< the code that was read from the vial itself
};

struct ToleranceData {  ///< `on` as recipe::word spells it; `of` a component or stock id
  std::string on, of;
  std::optional<double> low, target, high;  ///< in recipe::unit_of(on)
};
struct RecipePublished {
  std::string recipe, name, container;
  int version = 1;
  std::vector<ToleranceData> tolerances;
  std::vector<std::string> stocks;
  std::optional<double> consumer_risk, value;
};
struct OrderPlaced {
  std::string order, recipe;
  std::optional<Instant> due;
  double value = 0.0;
  int priority = 0;
  int quantity = 1;  ///< split on folding: order, order/2, order/3, ...
};
struct OrderChanged {
  std::string order;
  std::optional<Instant> due;
  std::optional<double> value;
  std::optional<int> priority;
};
struct OrderCancelled {
  std::string order, reason;
};

struct StrengthData {
  std::string component;
  double mg_per_g = 0.0, u_mg_per_g = 0.0;
};
struct LotLoaded {
  std::string lot, stock, station;
  std::optional<Instant> expires;
};
struct LotAssayed {
  std::string lot, stock;
  std::vector<StrengthData> strengths;
};
struct TankRead {
  std::string tank, instrument;
  double mass_g = 0.0;
  std::string dose;  ///< the dose this reading stands before or after, or empty
  bool before = false;
};
struct TankRefilled {
  std::string tank, lot;
  double mass_g = 0.0;
};
struct LineFlushed {
  std::string station, stock;
};
struct StationState {
  std::string station, state;
};  ///< state: up, down, off
struct InstrumentZeroed {
  std::string instrument;
};
struct CalibrationMade {
  std::string instrument;
  std::optional<double> offset, u_offset;  ///< in the instrument's unit (g, mL, mm)
  std::optional<double> gain, u_gain;
};
struct EnvironmentRead {
  std::string instrument;
  std::optional<double> celsius, pressure_hpa, humidity_percent;
};

struct VialRegistered {
  std::string container;
};
struct VialInspected {
  bool sound = true;
  std::string note;
};
struct VialBound {
  std::string order, recipe;
  int version = 1;
};
struct CarrierBound {
  std::string carrier;
  bool released = false;
};
struct VialMoved {
  std::string carrier, station;
};
struct EnergyRead {
  std::string station;
  double kwh = 0.0;
};

struct TareRead {
  std::string instrument;
  double mass_g = 0.0;
  Place place;
};
struct DoseCommanded {
  std::string dose, station, stock, lot;
  double amount_g = 0.0;
  Place place;
};
struct DoseMetered {
  std::string dose, instrument;
  std::optional<double> mass_g, volume_ml;  ///< exactly one
  double counting_s = 0.0;
  bool aborted = false;
};
struct VialMixed {
  std::string station;
  double duration_s = 0.0;
};
struct VialCapped {
  std::string station;
};
struct VialUncapped {
  std::string station;
};
struct GrossRead {
  std::string instrument;
  double mass_g = 0.0;
  Place place;
};
struct VolumeRead {
  std::string instrument;
  double volume_ml = 0.0;
  Place place;
};
struct LevelRead {
  std::string instrument;
  double height_mm = 0.0;
  Place place;
};
struct ColourRead {
  std::string instrument;
  std::array<double, 3> lab{};
  Place place;
};

struct DecisionMade {
  std::string disposition;
  std::string body;
};  ///< body: canonical JSON
struct DecisionOverruled {
  std::string decision, disposition, who, why;
};
struct TopupApplied {
  std::string decision;
  std::vector<std::string> doses;
};
struct HoldStarted {
  std::string place, reason;
};
struct HoldEnded {
  std::string place;
};
struct VialReleased {
  std::string order;
};
struct VialScrapped {
  std::string reason;
};
/// The fact (source, id) was wrong; `body` is the data it should have had (same type), canonical
/// JSON, or empty to withdraw it.
struct FactCorrected {
  std::string source, id, who, why, body;
};

using Data =
    std::variant<RecipePublished, OrderPlaced, OrderChanged, OrderCancelled, LotLoaded, LotAssayed,
                 TankRead, TankRefilled, LineFlushed, StationState, InstrumentZeroed,
                 CalibrationMade, EnvironmentRead, VialRegistered, VialInspected, VialBound,
                 CarrierBound, VialMoved, EnergyRead, TareRead, DoseCommanded, DoseMetered,
                 VialMixed, VialCapped, VialUncapped, GrossRead, VolumeRead, LevelRead, ColourRead,
                 DecisionMade, DecisionOverruled, TopupApplied, HoldStarted, HoldEnded,
                 VialReleased, VialScrapped, FactCorrected>;

struct Event {
  std::string id, source;
  std::string subject;         ///< the serial, or empty
  Instant time;                ///< when the source says it happened
  std::uint64_t sequence = 0;  ///< per source, from 1
  Data data;
};

/// "vialwright.gross.read" and so on; in the order of the variant.
[[nodiscard]] std::string_view type_name(const Data& data);
[[nodiscard]] const std::vector<std::string_view>& type_names();

/// Reads one event from JSON bytes. Strict: valid UTF-8, no NaN, every number finite, depth at most
/// 32, at most 1 MiB, known type, all required keys, units known and of the right dimension.
/// Unknown extra keys are allowed (and kept in the bytes). `where` is put in the error, followed by
/// the path of the key ("shift.jsonl:41, data.mass.unit").
[[nodiscard]] Result<Event> parse(std::string_view json, std::string_view where);

/// Writes an event as JSON (canonical). parse(write(e)) == e.
[[nodiscard]] std::string write(const Event& event);

/// RFC 8785 canonical form of any JSON text. Duplicate keys are an error (I-JSON, RFC 7493).
[[nodiscard]] Result<std::string> canonical(std::string_view json, std::string_view where);

}  // namespace vialwright::event
