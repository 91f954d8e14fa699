#include <fmt/format.h>

#include <cmath>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "line/line.hpp"

namespace vialwright::line {
namespace {

/// Writes values one after another as JSON arrays; what stands where follows the structs.
class Writer {
 public:
  void begin() {
    comma();
    text_ += '[';
    first_ = true;
  }
  void end() {
    text_ += ']';
    first_ = false;
  }

  void put(std::string_view value) {
    comma();
    text_ += '"';
    for (const char c : value) {
      if (c == '"' || c == '\\') text_ += '\\';
      if (static_cast<unsigned char>(c) < 0x20) {
        text_ += fmt::format("\\u{:04x}", static_cast<unsigned>(c));
      } else {
        text_ += c;
      }
    }
    text_ += '"';
  }
  void put(const std::string& value) { put(std::string_view(value)); }
  void put(const char* value) { put(std::string_view(value)); }
  void put(double value) { raw(std::isfinite(value) ? quantity::shortest(value) : "null"); }
  void put(int value) { raw(std::to_string(value)); }
  void put(std::uint64_t value) { raw(std::to_string(value)); }
  void put(bool value) { raw(value ? "true" : "false"); }
  void put(Instant value) { raw(std::to_string(value.us)); }
  template <class E>
  requires std::is_enum_v<E>
  void put(E value) { put(static_cast<int>(value)); }
  template <class T>
  void put(const std::optional<T>& value) {
    if (value) return put(*value);
    raw("null");
  }
  template <class T>
  void put(const std::vector<T>& values) {
    begin();
    for (const T& value : values) put(value);
    end();
  }
  template <class K, class V>
  void put(const std::map<K, V>& values) {
    begin();
    for (const auto& [key, value] : values) list(key, value);
    end();
  }
  template <class... T>
  void list(const T&... values) {
    begin();
    (put(values), ...);
    end();
  }

  void put(const Origin& of) { list(of.source, of.id, of.time); }
  void put(const Conflict& of) { list(of.what, of.between); }
  void put(const Error& of) { list(of.kind, of.what, of.where, of.mend); }
  void put(const Climate& of) { list(of.celsius, of.pressure_hpa, of.humidity_percent); }
  void put(const MeterReading& of) {
    list(of.instrument, of.value, of.counting_s, of.quality, of.origin);
  }
  void put(const VialReading& of) {
    list(of.kind, of.instrument, of.value, of.after_doses, of.open_s, of.capped, of.climate,
         of.quality, of.origin, of.days, of.values, of.session, of.session_number, of.mixed,
         of.cloudy, of.unusable);
  }
  void put(const DoseRecord& of) {
    list(of.id, of.stock, of.lot, of.station, of.commanded_g, of.aborted, of.topup, of.metered,
         of.tank_loss, of.days, of.origin);
  }
  void put(const recipe::Tolerance& of) { list(of.on, of.of, of.low, of.target, of.high); }
  void put(const recipe::ColourTarget& of) {
    list(of.lab.l, of.lab.a, of.lab.b, of.illuminant, of.observer, of.path_cm);
  }
  void put(const recipe::Recipe& of) {
    list(of.id, of.name, of.version, of.container, of.tolerances, of.colours, of.stocks,
         of.consumer_risk, of.value);
  }
  void put(const recipe::Strength& of) { list(of.mg_per_g, of.u_mg_per_g); }
  void put(const recipe::Lot& of) { list(of.id, of.stock, of.strengths, of.expires); }
  void put(const event::DecisionOverruled& of) {
    list(of.decision, of.disposition, of.who, of.why);
  }
  void put(const AppliedTopup& of) { list(of.decision, of.advised, of.doses, of.origin); }
  void put(const HoldRecord& of) { list(of.place, of.reason, of.since, of.until); }
  void put(const VialRecord& of) {
    list(of.serial, of.container, of.sound, of.order, of.recipe, of.doses, of.readings,
         of.conflicts, of.capped, of.mixed_since_last_dose, of.open_s, of.first_dose, of.last_event,
         of.held_since, of.hold_place, of.station, of.carrier, of.fate, of.last_decision, of.topups,
         of.holds, of.ended, of.advised_order, of.overruled);
  }
  void put(const OrderRecord& of) {
    list(of.id, of.recipe, of.due, of.value, of.priority, of.state, of.vial, of.placed);
  }
  void put(const Station& of) { list(of.state, of.loaded); }
  void put(const plant::Instrument& of) {
    list(of.id, of.offset, of.u_offset, of.gain, of.u_gain, of.same_source);
  }

  std::string take() && { return std::move(text_); }

 private:
  void raw(std::string_view value) {
    comma();
    text_ += value;
  }
  void comma() {
    if (!first_) text_ += ',';
    first_ = false;
  }

  std::string text_;
  bool first_ = true;
};

}  // namespace

std::string fingerprint(const State& state) {
  Writer writer;
  writer.list(state.as_of, state.facts, state.plant.instruments, state.book.lots, state.recipes,
              state.vials, state.orders, state.stations, state.conflicts, state.unread,
              state.first_fact);
  return std::move(writer).take();
}

}  // namespace vialwright::line
