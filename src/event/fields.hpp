/// The one table of what each event type holds: reading, writing and the schemas all follow it.
///
/// fields(visitor, data) shows the visitor every field with its JSON key and, for amounts, the UCUM
/// code of the unit that the member's name says. `x_or_...` marks a key that may be left out. A new
/// type needs a struct in event.hpp, an entry here, one in type_list.hpp, and its page in
/// docs/events.
#pragma once

#include <concepts>

#include "event/event.hpp"

namespace vialwright::event {

/// Data of type T, to read into or (const) to write from.
template <class D, class T>
concept Of = std::same_as<std::remove_const_t<D>, T>;

/// One of several keys of which exactly one is given.
struct Given {
  std::string_view key;
  bool is_there = false;
};

/// What a tolerance line may be on, and the unit of its limits.
struct ToleranceUnit {
  std::string_view on, unit;
};
inline constexpr std::array<ToleranceUnit, 6> tolerance_units = {{{"content", "mg/g"},
                                                                  {"component_mass", "mg"},
                                                                  {"stock_mass", "g"},
                                                                  {"net_mass", "g"},
                                                                  {"volume", "mL"},
                                                                  {"concentration", "mg/mL"}}};
inline constexpr std::array<std::string_view, 6> tolerance_words = {
    "content", "component_mass", "stock_mass", "net_mass", "volume", "concentration"};
inline constexpr std::array<std::string_view, 3> illuminant_words = {"A", "D50", "D65"};
inline constexpr std::array<std::string_view, 2> observer_words = {"2", "10"};
inline constexpr std::array<std::string_view, 3> station_words = {"up", "down", "off"};
inline constexpr std::array<std::string_view, 3> shown_units = {"g", "mL", "mm"};

constexpr std::string_view unit_of_tolerance(std::string_view on) {
  for (const ToleranceUnit& known : tolerance_units) {
    if (known.on == on) return known.unit;
  }
  return {};  // an unknown word; that was told already
}

template <class V, Of<Place> D>
void fields(V& v, D& d) {
  v.text_or_none("station", d.station);
  v.text_or_none("carrier", d.carrier);
  v.text_or_none("scanned", d.scanned);
}
template <class V, Of<ToleranceData> D>
void fields(V& v, D& d) {
  v.word("on", d.on, tolerance_words);
  v.text_or_none("of", d.of);
  v.amount_or_none("low", unit_of_tolerance(d.on), d.low);
  v.amount_or_none("target", unit_of_tolerance(d.on), d.target);
  v.amount_or_none("high", unit_of_tolerance(d.on), d.high);
}
template <class V, Of<ColourTargetData> D>
void fields(V& v, D& d) {
  v.three("lab", d.lab);
  v.word_or_default("illuminant", d.illuminant, illuminant_words);
  v.word_or_default("observer", d.observer, observer_words);
  v.amount("path", "cm", d.path_cm);
  v.number("limit", d.limit);
}
template <class V, Of<RecipePublished> D>
void fields(V& v, D& d) {
  v.text("recipe", d.recipe);
  v.count("version", d.version);
  v.text_or_none("name", d.name);
  v.text("container", d.container);
  v.list("tolerances", d.tolerances);
  v.list_or_none("colours", d.colours);
  v.texts("stocks", d.stocks);
  v.share_or_none("consumer_risk", d.consumer_risk);
  v.number_or_none("value", d.value);
}
template <class V, Of<OrderPlaced> D>
void fields(V& v, D& d) {
  v.text("order", d.order);
  v.text("recipe", d.recipe);
  v.time_or_none("due", d.due);
  v.number_or_default("value", d.value);
  v.whole_or_default("priority", d.priority);
  v.count_or_default("quantity", d.quantity);
}
template <class V, Of<OrderChanged> D>
void fields(V& v, D& d) {
  v.text("order", d.order);
  v.time_or_none("due", d.due);
  v.number_or_none("value", d.value);
  v.whole_or_none("priority", d.priority);
}
template <class V, Of<OrderCancelled> D>
void fields(V& v, D& d) {
  v.text("order", d.order);
  v.text_or_none("reason", d.reason);
}
template <class V, Of<StrengthData> D>
void fields(V& v, D& d) {
  v.text("component", d.component);
  v.amount("strength", "mg/g", d.mg_per_g);
  v.amount("u", "mg/g", d.u_mg_per_g);
}
template <class V, Of<LotLoaded> D>
void fields(V& v, D& d) {
  v.text("lot", d.lot);
  v.text("stock", d.stock);
  v.text("station", d.station);
  v.time_or_none("expires", d.expires);
}
template <class V, Of<LotAssayed> D>
void fields(V& v, D& d) {
  v.text("lot", d.lot);
  v.text("stock", d.stock);
  v.list("strengths", d.strengths);
}
template <class V, Of<TankRead> D>
void fields(V& v, D& d) {
  v.text("tank", d.tank);
  v.text("instrument", d.instrument);
  v.amount("mass", "g", d.mass_g);
  v.text_or_none("dose", d.dose);
  v.flag_or_default("before", d.before);
}
template <class V, Of<TankRefilled> D>
void fields(V& v, D& d) {
  v.text("tank", d.tank);
  v.text("lot", d.lot);
  v.amount("mass", "g", d.mass_g);
}
template <class V, Of<LineFlushed> D>
void fields(V& v, D& d) {
  v.text("station", d.station);
  v.text("stock", d.stock);
}
template <class V, Of<StationState> D>
void fields(V& v, D& d) {
  v.text("station", d.station);
  v.word("state", d.state, station_words);
}
template <class V, Of<InstrumentZeroed> D>
void fields(V& v, D& d) {
  v.text("instrument", d.instrument);
}
template <class V, Of<CalibrationMade> D>
void fields(V& v, D& d) {
  v.text("instrument", d.instrument);
  v.word("unit", d.unit, shown_units);
  v.signed_amount_or_none("offset", d.unit, d.offset);
  v.amount_or_none("u_offset", d.unit, d.u_offset);
  v.signed_amount_or_none("gain", "1", d.gain);
  v.amount_or_none("u_gain", "1", d.u_gain);
}
template <class V, Of<EnvironmentRead> D>
void fields(V& v, D& d) {
  v.text("instrument", d.instrument);
  v.signed_amount_or_none("temperature", "Cel", d.celsius);
  v.amount_or_none("pressure", "hPa", d.pressure_hpa);
  v.amount_or_none("humidity", "%", d.humidity_percent);
}
template <class V, Of<VialRegistered> D>
void fields(V& v, D& d) {
  v.text("container", d.container);
}
template <class V, Of<VialInspected> D>
void fields(V& v, D& d) {
  v.flag("sound", d.sound);
  v.text_or_none("note", d.note);
}
template <class V, Of<VialBound> D>
void fields(V& v, D& d) {
  v.text_or_none("order", d.order);
  v.text("recipe", d.recipe);
  v.count("version", d.version);
}
template <class V, Of<CarrierBound> D>
void fields(V& v, D& d) {
  v.text("carrier", d.carrier);
  v.flag_or_default("released", d.released);
}
template <class V, Of<VialMoved> D>
void fields(V& v, D& d) {
  v.text_or_none("carrier", d.carrier);
  v.text("station", d.station);
}
template <class V, Of<EnergyRead> D>
void fields(V& v, D& d) {
  v.text("station", d.station);
  v.amount("energy", "kW.h", d.kwh);
}
template <class V, Of<TareRead> D>
void fields(V& v, D& d) {
  v.text("instrument", d.instrument);
  v.amount("mass", "g", d.mass_g);
  fields(v, d.place);
}
template <class V, Of<DoseCommanded> D>
void fields(V& v, D& d) {
  v.text("dose", d.dose);
  v.text("station", d.station);
  v.text("stock", d.stock);
  v.text_or_none("lot", d.lot);
  v.amount("amount", "g", d.amount_g);
  v.text_or_none("carrier", d.place.carrier);  // `station` says where
  v.text_or_none("scanned", d.place.scanned);
}
template <class V, Of<DoseMetered> D>
void fields(V& v, D& d) {
  v.text("dose", d.dose);
  v.text("instrument", d.instrument);
  v.signed_amount_or_none("mass", "g", d.mass_g);
  v.signed_amount_or_none("volume", "mL", d.volume_ml);
  v.exactly_one({{"mass", d.mass_g.has_value()}, {"volume", d.volume_ml.has_value()}});
  v.amount_or_default("counting", "s", d.counting_s);
  v.flag_or_default("aborted", d.aborted);
}
template <class V, Of<VialMixed> D>
void fields(V& v, D& d) {
  v.text_or_none("station", d.station);
  v.amount_or_default("duration", "s", d.duration_s);
}
template <class V, Of<VialCapped> D>
void fields(V& v, D& d) {
  v.text_or_none("station", d.station);
}
template <class V, Of<VialUncapped> D>
void fields(V& v, D& d) {
  v.text_or_none("station", d.station);
}
template <class V, Of<GrossRead> D>
void fields(V& v, D& d) {
  v.text("instrument", d.instrument);
  v.amount("mass", "g", d.mass_g);
  fields(v, d.place);
}
template <class V, Of<VolumeRead> D>
void fields(V& v, D& d) {
  v.text("instrument", d.instrument);
  v.amount("volume", "mL", d.volume_ml);
  fields(v, d.place);
}
template <class V, Of<LevelRead> D>
void fields(V& v, D& d) {
  v.text("instrument", d.instrument);
  v.amount("height", "mm", d.height_mm);
  fields(v, d.place);
}
template <class V, Of<SpectrumData> D>
void fields(V& v, D& d) {
  v.amount("first", "nm", d.first_nm);
  v.amount("step", "nm", d.step_nm);
  v.numbers("values", d.values);
}
template <class V, Of<ChannelData> D>
void fields(V& v, D& d) {
  v.number("raw", d.raw);
  v.number("dark", d.dark);
  v.number("blank", d.blank);
}
template <class V, Of<ColourRead> D>
void fields(V& v, D& d) {
  v.text("instrument", d.instrument);
  v.three_or_none("lab", d.lab);
  v.object_or_none("spectrum", d.spectrum);
  v.list_or_none("channels", d.channels);
  v.exactly_one({{"lab", d.lab.has_value()},
                 {"spectrum", d.spectrum.has_value()},
                 {"channels", !d.channels.empty()}});
  v.number_or_none("full_scale", d.full_scale);
  v.text_or_none("session", d.session);
  v.flag_or_default("cloudy", d.cloudy);
  fields(v, d.place);
}
template <class V, Of<DecisionMade> D>
void fields(V& v, D& d) {
  v.text("disposition", d.disposition);
  v.body("body", d.body);
}
template <class V, Of<DecisionOverruled> D>
void fields(V& v, D& d) {
  v.text("decision", d.decision);
  v.text("disposition", d.disposition);
  v.text("who", d.who);
  v.text("why", d.why);
}
template <class V, Of<TopupApplied> D>
void fields(V& v, D& d) {
  v.text("decision", d.decision);
  v.texts("doses", d.doses);
}
template <class V, Of<HoldStarted> D>
void fields(V& v, D& d) {
  v.text("place", d.place);
  v.text_or_none("reason", d.reason);
}
template <class V, Of<HoldEnded> D>
void fields(V& v, D& d) {
  v.text("place", d.place);
}
template <class V, Of<VialReleased> D>
void fields(V& v, D& d) {
  v.text_or_none("order", d.order);
}
template <class V, Of<VialScrapped> D>
void fields(V& v, D& d) {
  v.text_or_none("reason", d.reason);
}
template <class V, Of<FactCorrected> D>
void fields(V& v, D& d) {
  v.text("source", d.source);
  v.text("id", d.id);
  v.text("who", d.who);
  v.text("why", d.why);
  v.body_or_none("body", d.body);
}

}  // namespace vialwright::event
