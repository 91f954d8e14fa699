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
  bool operator==(const Place&) const = default;
};

struct ToleranceData {  ///< `on` as recipe::word spells it; `of` a component or stock id
  std::string on, of;
  std::optional<double> low, target, high;  ///< in recipe::unit_of(on)
  bool operator==(const ToleranceData&) const = default;
};
/// A colour that is wanted: L*, a*, b* of a layer of that path, and how far off it may be.
struct ColourTargetData {
  std::array<double, 3> lab{};
  std::string illuminant = "D65", observer = "2";  ///< as colour::word spells them
  double path_cm = 0.0;
  double limit = 0.0;  ///< CIEDE2000
  bool operator==(const ColourTargetData&) const = default;
};
struct RecipePublished {
  std::string recipe, name, container;
  int version = 1;
  std::vector<ToleranceData> tolerances;
  std::vector<ColourTargetData> colours;
  std::vector<std::string> stocks;
  std::optional<double> consumer_risk, value;
  bool operator==(const RecipePublished&) const = default;
};
struct OrderPlaced {
  std::string order, recipe;
  std::optional<Instant> due;
  double value = 0.0;
  int priority = 0;
  int quantity = 1;  ///< split on folding: order, order/2, order/3, ...
  bool operator==(const OrderPlaced&) const = default;
};
struct OrderChanged {
  std::string order;
  std::optional<Instant> due;
  std::optional<double> value;
  std::optional<int> priority;
  bool operator==(const OrderChanged&) const = default;
};
struct OrderCancelled {
  std::string order, reason;
  bool operator==(const OrderCancelled&) const = default;
};

struct StrengthData {
  std::string component;
  double mg_per_g = 0.0, u_mg_per_g = 0.0;
  bool operator==(const StrengthData&) const = default;
};
struct LotLoaded {
  std::string lot, stock, station;
  std::optional<Instant> expires;
  bool operator==(const LotLoaded&) const = default;
};
struct LotAssayed {
  std::string lot, stock;
  std::vector<StrengthData> strengths;
  bool operator==(const LotAssayed&) const = default;
};
struct TankRead {
  std::string tank, instrument;
  double mass_g = 0.0;
  std::string dose;  ///< the dose this reading stands before or after, or empty
  bool before = false;
  bool operator==(const TankRead&) const = default;
};
struct TankRefilled {
  std::string tank, lot;
  double mass_g = 0.0;
  bool operator==(const TankRefilled&) const = default;
};
struct LineFlushed {
  std::string station, stock;
  bool operator==(const LineFlushed&) const = default;
};
struct StationState {
  std::string station, state;
  bool operator==(const StationState&) const = default;
};  ///< state: up, down, off
struct InstrumentZeroed {
  std::string instrument;
  bool operator==(const InstrumentZeroed&) const = default;
};
struct CalibrationMade {
  std::string instrument;
  std::string unit;                        ///< what the instrument shows: g, mL or mm
  std::optional<double> offset, u_offset;  ///< in `unit`
  std::optional<double> gain, u_gain;  ///< what it shows over the truth, less one; may be negative
  bool operator==(const CalibrationMade&) const = default;
};
struct EnvironmentRead {
  std::string instrument;
  std::optional<double> celsius, pressure_hpa, humidity_percent;
  bool operator==(const EnvironmentRead&) const = default;
};

struct VialRegistered {
  std::string container;
  bool operator==(const VialRegistered&) const = default;
};
struct VialInspected {
  bool sound = true;
  std::string note;
  bool operator==(const VialInspected&) const = default;
};
struct VialBound {
  std::string order, recipe;  ///< order may be empty: made for none
  int version = 1;
  bool operator==(const VialBound&) const = default;
};
struct CarrierBound {
  std::string carrier;
  bool released = false;
  bool operator==(const CarrierBound&) const = default;
};
struct VialMoved {
  std::string carrier, station;
  bool operator==(const VialMoved&) const = default;
};
struct EnergyRead {
  std::string station;
  double kwh = 0.0;
  bool operator==(const EnergyRead&) const = default;
};

struct TareRead {
  std::string instrument;
  double mass_g = 0.0;
  Place place;
  bool operator==(const TareRead&) const = default;
};
struct DoseCommanded {
  std::string dose, station, stock, lot;
  double amount_g = 0.0;
  Place place;  ///< its station stays empty: `station` says it
  bool operator==(const DoseCommanded&) const = default;
};
struct DoseMetered {
  std::string dose, instrument;
  std::optional<double> mass_g, volume_ml;  ///< exactly one
  double counting_s = 0.0;
  bool aborted = false;
  bool operator==(const DoseMetered&) const = default;
};
struct VialMixed {
  std::string station;
  double duration_s = 0.0;
  bool operator==(const VialMixed&) const = default;
};
struct VialCapped {
  std::string station;
  bool operator==(const VialCapped&) const = default;
};
struct VialUncapped {
  std::string station;
  bool operator==(const VialUncapped&) const = default;
};
struct GrossRead {
  std::string instrument;
  double mass_g = 0.0;
  Place place;
  bool operator==(const GrossRead&) const = default;
};
struct VolumeRead {
  std::string instrument;
  double volume_ml = 0.0;
  Place place;
  bool operator==(const VolumeRead&) const = default;
};
struct LevelRead {
  std::string instrument;
  double height_mm = 0.0;
  Place place;
  bool operator==(const LevelRead&) const = default;
};
/// Values at first_nm, first_nm + step_nm, ...; absorbances or transmittances, as the gauge shows.
struct SpectrumData {
  double first_nm = 0.0, step_nm = 0.0;
  std::vector<double> values;
  bool operator==(const SpectrumData&) const = default;
};
/// What one channel of a linear camera counted: of the vial, with the light off, and of the same
/// vial with clear solvent.
struct ChannelData {
  double raw = 0.0, dark = 0.0, blank = 0.0;
  bool operator==(const ChannelData&) const = default;
};
struct ColourRead {
  std::string instrument;
  std::optional<std::array<double, 3>> lab;  ///< exactly one of lab, spectrum, channels
  std::optional<SpectrumData> spectrum;
  std::vector<ChannelData> channels;
  std::optional<double> full_scale;  ///< channels: the count at which the camera is clipped
  std::string session;               ///< readings of one session share a bias; empty: by itself
  bool cloudy = false;               ///< the liquid was seen to scatter
  Place place;
  bool operator==(const ColourRead&) const = default;
};

struct DecisionMade {
  std::string disposition;
  std::string body;
  bool operator==(const DecisionMade&) const = default;
};  ///< body: canonical JSON
struct DecisionOverruled {
  std::string decision, disposition, who, why;
  bool operator==(const DecisionOverruled&) const = default;
};
struct TopupApplied {
  std::string decision;
  std::vector<std::string> doses;
  bool operator==(const TopupApplied&) const = default;
};
struct HoldStarted {
  std::string place, reason;
  bool operator==(const HoldStarted&) const = default;
};
struct HoldEnded {
  std::string place;
  bool operator==(const HoldEnded&) const = default;
};
struct VialReleased {
  std::string order;
  bool operator==(const VialReleased&) const = default;
};
struct VialScrapped {
  std::string reason;
  bool operator==(const VialScrapped&) const = default;
};
/// The fact (source, id) was wrong; `body` is the data it should have had (same type), canonical
/// JSON, or empty to withdraw it.
struct FactCorrected {
  std::string source, id, who, why, body;
  bool operator==(const FactCorrected&) const = default;
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
  std::uint64_t sequence = 0;  ///< per source, from 1; 0: the source does not count
  Data data;
  bool operator==(const Event&) const = default;
};

/// "vialwright.gross.read" and so on; in the order of the variant.
[[nodiscard]] std::string_view type_name(const Data& data);
[[nodiscard]] const std::vector<std::string_view>& type_names();

/// Reads one event from JSON bytes. Strict: valid UTF-8, no NaN, every number finite, depth at most
/// 32, at most 1 MiB, known type, all required keys, units known and of the right dimension.
/// Unknown extra keys are allowed (and kept in the bytes). `where` is put in the error, followed by
/// the path of the key ("shift.jsonl:41, data.mass.unit").
[[nodiscard]] Result<Event> parse(std::string_view json, std::string_view where);

/// An event and the canonical form of the bytes it was read from, extra keys included.
struct Read {
  Event event;
  std::string canonical;
};
/// As parse(), with the canonical form from the same single reading.
[[nodiscard]] Result<Read> read(std::string_view json, std::string_view where);

/// Writes an event as JSON (canonical). parse(write(e)) == e.
/// @pre every number finite, every text UTF-8, a body is a JSON object or empty.
[[nodiscard]] std::string write(const Event& event);

/// RFC 8785 canonical form of any JSON text. Duplicate keys are an error (I-JSON, RFC 7493).
[[nodiscard]] Result<std::string> canonical(std::string_view json, std::string_view where);

/// The text under a top-level key of a body; empty where there is none, or it is no text.
[[nodiscard]] std::string text_in(std::string_view body, std::string_view key);

}  // namespace vialwright::event
