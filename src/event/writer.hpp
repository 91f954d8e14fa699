/// Writes the fields of one event as JSON, as fields.hpp lists them; keys in the table's order.
#pragma once

#include <initializer_list>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "event/canonical_json.hpp"
#include "event/fields.hpp"

namespace vialwright::event {

/// A visitor for fields(). What is left out when reading is left out when it holds nothing.
class Writer {
 public:
  explicit Writer(std::string& out) : out_(out) { out_ += '{'; }
  void close() { out_ += '}'; }

  void text(std::string_view key, const std::string& value) { append_text(member(key), value); }
  void text_or_none(std::string_view key, const std::string& value) {
    if (!value.empty()) text(key, value);
  }
  void word(std::string_view key, const std::string& value, std::span<const std::string_view>) {
    text(key, value);
  }
  void word_or_default(std::string_view key, const std::string& value,
                       std::span<const std::string_view>) {
    text(key, value);
  }
  void texts(std::string_view key, const std::vector<std::string>& values);

  void amount(std::string_view key, std::string_view unit, double value);
  void amount_or_none(std::string_view key, std::string_view unit,
                      const std::optional<double>& value) {
    if (value) amount(key, unit, *value);
  }
  void amount_or_default(std::string_view key, std::string_view unit, double value) {
    amount(key, unit, value);
  }
  void signed_amount_or_none(std::string_view key, std::string_view unit,
                             const std::optional<double>& value) {
    amount_or_none(key, unit, value);
  }

  void number(std::string_view key, double value) { append_number(member(key), value); }
  void numbers(std::string_view key, std::span<const double> values);
  void number_or_default(std::string_view key, double value) { append_number(member(key), value); }
  void number_or_none(std::string_view key, const std::optional<double>& value) {
    if (value) append_number(member(key), *value);
  }
  void share_or_none(std::string_view key, const std::optional<double>& value) {
    number_or_none(key, value);
  }
  void three(std::string_view key, const std::array<double, 3>& values) { numbers(key, values); }
  void three_or_none(std::string_view key, const std::optional<std::array<double, 3>>& values) {
    if (values) numbers(key, *values);
  }

  void count(std::string_view key, int value) { member(key) += std::to_string(value); }
  void count_or_default(std::string_view key, int value) { count(key, value); }
  void whole_or_default(std::string_view key, int value) { count(key, value); }
  void whole_or_none(std::string_view key, const std::optional<int>& value) {
    if (value) count(key, *value);
  }
  void flag(std::string_view key, bool value) { member(key) += value ? "true" : "false"; }
  void flag_or_default(std::string_view key, bool value) { flag(key, value); }

  void time(std::string_view key, Instant value) {
    append_text(member(key), quantity::to_text(value));
  }
  void time_or_none(std::string_view key, const std::optional<Instant>& value) {
    if (value) time(key, *value);
  }
  void sequence(std::string_view key, std::uint64_t value);

  void body(std::string_view key, const std::string& json) {
    member(key) += json.empty() ? "{}" : json;
  }
  void body_or_none(std::string_view key, const std::string& json) {
    if (!json.empty()) body(key, json);
  }

  template <class T>
  void list(std::string_view key, const std::vector<T>& values) {
    member(key) += '[';
    for (const T& value : values) {
      if (&value != &values.front()) out_ += ',';
      Writer item(out_);
      fields(item, value);
      item.close();
    }
    out_ += ']';
  }

  template <class T>
  void list_or_none(std::string_view key, const std::vector<T>& values) {
    if (!values.empty()) list(key, values);
  }
  template <class T>
  void object_or_none(std::string_view key, const std::optional<T>& value) {
    if (!value) return;
    member(key);
    Writer inner(out_);
    fields(inner, *value);
    inner.close();
  }

  void exactly_one(std::initializer_list<Given>) {}

  /// Begins a member, for what is written otherwise.
  std::string& member(std::string_view key);

 private:
  std::string& out_;
  bool first_ = true;
};

}  // namespace vialwright::event
