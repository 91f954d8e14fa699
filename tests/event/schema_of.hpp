/// JSON Schemas (2020-12) of the event types, made from the same table that reads and writes them.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <span>
#include <string>
#include <variant>

#include "event/fields.hpp"
#include "event/type_list.hpp"

namespace vialwright::support {

using Json = nlohmann::ordered_json;

/// A visitor for event::fields() that writes down what it is shown.
class SchemaOf {
 public:
  void text(std::string_view key, const std::string&) {
    need(key, {{"type", "string"}, {"minLength", 1}});
  }
  void text_or_none(std::string_view key, const std::string&) { may(key, {{"type", "string"}}); }
  void word(std::string_view key, const std::string&, std::span<const std::string_view> known) {
    need(key, {{"enum", Json(known)}});
  }
  void word_or_default(std::string_view key, const std::string&,
                       std::span<const std::string_view> known) {
    may(key, {{"enum", Json(known)}});
  }
  void texts(std::string_view key, const std::vector<std::string>&) {
    need(key, {{"type", "array"}, {"items", {{"type", "string"}, {"minLength", 1}}}});
  }
  void amount(std::string_view key, std::string_view unit, double) {
    need(key, amount_in(unit, 0));
  }
  void amount_or_none(std::string_view key, std::string_view unit, const std::optional<double>&) {
    may(key, amount_in(unit, 0));
  }
  void amount_or_default(std::string_view key, std::string_view unit, double) {
    may(key, amount_in(unit, 0));
  }
  void signed_amount_or_none(std::string_view key, std::string_view unit,
                             const std::optional<double>&) {
    may(key, amount_in(unit, {}));
  }
  void number_or_none(std::string_view key, const std::optional<double>&) {
    may(key, {{"type", "number"}});
  }
  void number(std::string_view key, double) { need(key, {{"type", "number"}}); }
  void numbers(std::string_view key, const std::vector<double>&) {
    need(key, {{"type", "array"}, {"items", {{"type", "number"}}}});
  }
  void number_or_default(std::string_view key, double) { may(key, {{"type", "number"}}); }
  void share_or_none(std::string_view key, const std::optional<double>&) {
    may(key, {{"type", "number"}, {"exclusiveMinimum", 0}, {"exclusiveMaximum", 1}});
  }
  void three(std::string_view key, const std::array<double, 3>&) { need(key, three_numbers()); }
  void three_or_none(std::string_view key, const std::optional<std::array<double, 3>>&) {
    may(key, three_numbers());
  }
  void count(std::string_view key, int) { need(key, {{"type", "integer"}, {"minimum", 1}}); }
  void count_or_default(std::string_view key, int) {
    may(key, {{"type", "integer"}, {"minimum", 1}});
  }
  void whole_or_none(std::string_view key, const std::optional<int>&) {
    may(key, {{"type", "integer"}});
  }
  void whole_or_default(std::string_view key, int) { may(key, {{"type", "integer"}}); }
  void flag(std::string_view key, bool) { need(key, {{"type", "boolean"}}); }
  void flag_or_default(std::string_view key, bool) { may(key, {{"type", "boolean"}}); }
  void time_or_none(std::string_view key, const std::optional<event::Instant>&) {
    may(key, {{"type", "string"}, {"format", "date-time"}});
  }
  void body(std::string_view key, const std::string&) { need(key, {{"type", "object"}}); }
  void body_or_none(std::string_view key, const std::string&) { may(key, {{"type", "object"}}); }
  template <class T>
  void list(std::string_view key, const std::vector<T>&) {
    need(key, {{"type", "array"}, {"items", object_of<T>()}});
  }
  template <class T>
  void list_or_none(std::string_view key, const std::vector<T>&) {
    may(key, {{"type", "array"}, {"items", object_of<T>()}});
  }
  template <class T>
  void object_or_none(std::string_view key, const std::optional<T>&) {
    may(key, object_of<T>());
  }
  void exactly_one(std::initializer_list<event::Given> given) {
    one_of_ = Json::array();
    for (const event::Given& each : given) one_of_.push_back({{"required", {each.key}}});
  }

  Json object() const {
    Json made = {{"type", "object"}, {"properties", properties_}, {"required", required_}};
    if (!one_of_.is_null()) made["oneOf"] = one_of_;
    return made;
  }

 private:
  void may(std::string_view key, Json schema) { properties_[std::string(key)] = std::move(schema); }
  void need(std::string_view key, Json schema) {
    may(key, std::move(schema));
    required_.push_back(key);
  }
  template <class T>
  static Json object_of() {
    SchemaOf item;
    const T empty{};
    event::fields(item, empty);
    return item.object();
  }
  static Json three_numbers() {
    return {{"type", "array"}, {"items", {{"type", "number"}}}, {"minItems", 3}, {"maxItems", 3}};
  }
  /// Any unit of the same dimension; an empty `unit` depends on another key.
  static Json amount_in(std::string_view unit, std::optional<int> least) {
    Json value = {{"type", "number"}}, code = {{"type", "string"}};
    if (least) value["minimum"] = *least;
    if (!unit.empty()) {
      code = {{"enum", Json::array()}};
      for (const std::string_view known : quantity::known_units()) {
        if (quantity::convert(1.0, known, unit, "")) code["enum"].push_back(known);
      }
    }
    return {{"type", "object"},
            {"properties", {{"value", value}, {"unit", code}}},
            {"required", {"value", "unit"}}};
  }

  Json properties_ = Json::object(), required_ = Json::array(), one_of_;
};

/// The schema of one type: the envelope with its data.
inline Json schema_of(const event::TypeEntry& type) {
  SchemaOf data;
  std::visit([&data](const auto& typed) { event::fields(data, typed); },
             *event::empty_data(type.name));
  const Json name = {{"type", "string"}, {"minLength", 1}};
  const Json time = {{"type", "string"}, {"format", "date-time"}};
  return {{"$schema", "https://json-schema.org/draft/2020-12/schema"},
          {"title", type.name},
          {"description", type.says},
          {"type", "object"},
          {"properties",
           {{"specversion", {{"const", "1.0"}}},
            {"type", {{"const", type.name}}},
            {"source", name},
            {"id", name},
            {"subject", {{"type", "string"}}},
            {"time", time},
            {"receivedtime", time},
            {"sequence",
             {{"oneOf", Json::array({{{"type", "integer"}, {"minimum", 1}},
                                     {{"type", "string"}, {"pattern", "^[1-9][0-9]*$"}}})}}},
            {"data", data.object()}}},
          {"required", {"specversion", "type", "source", "id", "time", "data"}}};
}

}  // namespace vialwright::support
