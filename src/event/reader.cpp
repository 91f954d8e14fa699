#include "event/reader.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace vialwright::event {
namespace {

/// No line holds a teragram or ten to the twelve of anything: such a number is a slip.
constexpr double largest_number = 1e12;
/// Whole numbers up to here are exact in every JSON reader (RFC 7493 section 2.2).
constexpr double largest_whole = 9007199254740991.0;

std::string_view word_of(Kind kind) {
  switch (kind) {
    case Kind::null:
      return "null";
    case Kind::boolean:
      return "true or false";
    case Kind::number:
      return "a number";
    case Kind::string:
      return "a text";
    case Kind::array:
      return "a list";
    case Kind::object:
      return "an object";
  }
  return "something else";
}

bool has_control_character(std::string_view text) {
  return std::any_of(text.begin(), text.end(), [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte < 0x20 || byte == 0x7f;
  });
}

/// A key that is right where it stands is no misspelling of another ("type" for "time").
bool is_envelope_key(std::string_view key) {
  constexpr std::array keys = {"specversion", "type", "source",   "id",
                               "subject",     "time", "sequence", "data"};
  return std::find(keys.begin(), keys.end(), key) != keys.end();
}

std::string joined(std::span<const std::string_view> words) {
  return fmt::format("{}", fmt::join(words.begin(), words.end(), ", "));
}

}  // namespace

std::string Reader::path(std::string_view key) const {
  std::string text = parent_ == nullptr ? std::string(key_) : parent_->path(key_);
  if (index_ >= 0) text += fmt::format("[{}]", index_);
  if (key.empty()) return text;
  return text.empty() ? std::string(key) : text + '.' + std::string(key);
}

std::string Reader::full_where(std::string_view key) const {
  const std::string inside = path(key);
  return inside.empty() ? std::string(where_) : fmt::format("{}, {}", where_, inside);
}

void Reader::fail(std::string_view key, std::string what, std::string mend) {
  if (wrong_) return;
  wrong_ = Error{Error::Kind::bad_input, std::move(what), full_where(key), std::move(mend)};
}

bool Reader::is_object() {
  if (nodes_[at_].kind == Kind::object) return true;
  fail({}, fmt::format("an object is wanted here, not {}", word_of(nodes_[at_].kind)),
       "see docs/events for an example of this type");
  return false;
}

const Node* Reader::find(std::string_view key) const {
  if (wrong_) return nullptr;
  for (std::size_t i = at_ + 1; i < nodes_[at_].next; i = nodes_[i].next) {
    if (nodes_[i].key == key) return &nodes_[i];
  }
  return nullptr;
}

void Reader::missing(std::string_view key) {
  if (wrong_) return;
  std::vector<std::string_view> there;
  for (std::size_t i = at_ + 1; i < nodes_[at_].next; i = nodes_[i].next) {
    const auto& key_there = nodes_[i].key;
    if (!is_envelope_key(key_there)) there.push_back(key_there);
  }
  const std::string_view close = quantity::nearest(key, there);
  fail(key, fmt::format("key '{}' is missing", key),
       close.empty() ? fmt::format("add '{}'; docs/events has an example of this type", key)
                     : fmt::format("did you mean '{}' where '{}' stands?", key, close));
}

const Node* Reader::of_kind(std::string_view key, const Node* found, Kind kind) {
  if (found == nullptr || found->kind == kind) return found;
  fail(key, fmt::format("'{}' is {}, but {} is wanted", key, word_of(found->kind), word_of(kind)),
       "see docs/events for an example of this type");
  return nullptr;
}

const Node* Reader::wanted(std::string_view key, Kind kind) {
  const Node* found = find(key);
  if (found == nullptr) missing(key);
  return of_kind(key, found, kind);
}

std::optional<Reader> Reader::inside(std::string_view key) {
  const Node* found = wanted(key, Kind::object);
  if (found == nullptr) return std::nullopt;
  return Reader(*this, place_of(*found), key, -1);
}

void Reader::read_text(std::string_view key, const Node* node, std::string& out) {
  if (node == nullptr) return;
  if (has_control_character(node->text)) {
    return fail(key, fmt::format("'{}' holds a control character", key),
                "names and remarks are one line of plain text");
  }
  out.assign(node->text);
}

void Reader::text(std::string_view key, std::string& out) {
  const Node* node = wanted(key, Kind::string);
  read_text(key, node, out);
  if (node != nullptr && node->text.empty()) {
    fail(key, fmt::format("'{}' is empty", key), "say which one is meant");
  }
}

void Reader::text_or_none(std::string_view key, std::string& out) {
  read_text(key, of_kind(key, find(key), Kind::string), out);
}

void Reader::word(std::string_view key, std::string& out, std::span<const std::string_view> known) {
  text(key, out);
  if (wrong_ || std::find(known.begin(), known.end(), out) != known.end()) return;
  const auto close = quantity::nearest(out, {known.begin(), known.end()});
  fail(key, fmt::format("'{}' is not a word for '{}'", out, key),
       close.empty() ? "write one of " + joined(known) : fmt::format("did you mean '{}'?", close));
}

void Reader::word_or_default(std::string_view key, std::string& out,
                             std::span<const std::string_view> known) {
  if (find(key) != nullptr) word(key, out, known);
}

void Reader::texts(std::string_view key, std::vector<std::string>& out) {
  const Node* array = wanted(key, Kind::array);
  if (array == nullptr) return;
  for (std::size_t i = place_of(*array) + 1; i < array->next; i = nodes_[i].next) {
    Reader item(*this, i, key, static_cast<int>(out.size()));
    if (nodes_[i].kind != Kind::string || nodes_[i].text.empty()) {
      return item.fail({}, "a name is wanted here", R"(list names as texts: ["rose", "teal"])");
    }
    item.read_text({}, &nodes_[i], out.emplace_back());
  }
}

void Reader::read_number(std::string_view key, const Node* node, double& out) {
  if (node == nullptr) return;
  if (std::abs(node->number) > largest_number) {
    return fail(key, fmt::format("{} is beyond 1e12", node->text), "is a decimal point missing?");
  }
  out = node->number;
}

void Reader::read_amount(std::string_view key, std::string_view unit, const Node& node, Sign sign,
                         double& out) {
  Reader inner(*this, place_of(node), key, -1);
  const Node* value = inner.wanted("value", Kind::number);
  const Node* code = inner.wanted("unit", Kind::string);
  inner.read_number("value", value, out);
  if (wrong_) return;
  if (code->text != unit) {
    const auto converted = quantity::convert(out, code->text, unit, {});
    if (!converted) {
      return inner.fail("unit", converted.error().what, converted.error().mend);
    }
    out = *converted;
  }
  if (std::abs(out) > largest_number) {
    return inner.fail("value",
                      fmt::format("{} {} is beyond 1e12 {}", value->text, code->text, unit),
                      "is a decimal point missing?");
  }
  if (sign == Sign::at_least_zero && out < 0.0) {
    inner.fail("value", fmt::format("{} {} is below zero", value->text, code->text),
               "this amount is zero or more; check the sign and the zero of the instrument");
  }
}

void Reader::amount(std::string_view key, std::string_view unit, double& out) {
  const Node* node = wanted(key, Kind::object);
  if (node != nullptr) read_amount(key, unit, *node, Sign::at_least_zero, out);
}

void Reader::amount_or_none(std::string_view key, std::string_view unit,
                            std::optional<double>& out) {
  const Node* node = of_kind(key, find(key), Kind::object);
  if (node != nullptr) read_amount(key, unit, *node, Sign::at_least_zero, out.emplace());
}

void Reader::amount_or_default(std::string_view key, std::string_view unit, double& out) {
  const Node* node = of_kind(key, find(key), Kind::object);
  if (node != nullptr) read_amount(key, unit, *node, Sign::at_least_zero, out);
}

void Reader::signed_amount_or_none(std::string_view key, std::string_view unit,
                                   std::optional<double>& out) {
  const Node* node = of_kind(key, find(key), Kind::object);
  if (node != nullptr) read_amount(key, unit, *node, Sign::any, out.emplace());
}

void Reader::number(std::string_view key, double& out) {
  read_number(key, wanted(key, Kind::number), out);
}

void Reader::numbers(std::string_view key, std::vector<double>& out) {
  const Node* array = wanted(key, Kind::array);
  if (array == nullptr) return;
  for (std::size_t i = place_of(*array) + 1; i < array->next; i = nodes_[i].next) {
    Reader item(*this, i, key, static_cast<int>(out.size()));
    if (nodes_[i].kind != Kind::number)
      return item.fail({}, "a number is wanted here", "list numbers: [0.132, 0.127]");
    item.read_number({}, &nodes_[i], out.emplace_back());
  }
}

void Reader::number_or_none(std::string_view key, std::optional<double>& out) {
  const Node* node = of_kind(key, find(key), Kind::number);
  if (node != nullptr) read_number(key, node, out.emplace());
}

void Reader::number_or_default(std::string_view key, double& out) {
  read_number(key, of_kind(key, find(key), Kind::number), out);
}

void Reader::share_or_none(std::string_view key, std::optional<double>& out) {
  number_or_none(key, out);
  if (!wrong_ && out && !(*out > 0.0 && *out < 1.0)) {
    fail(key, fmt::format("'{}' is {}, not between 0 and 1", key, *out),
         "write a share such as 0.05 for 5 %");
  }
}

void Reader::three(std::string_view key, std::array<double, 3>& out) {
  read_three(key, wanted(key, Kind::array), out);
}

void Reader::three_or_none(std::string_view key, std::optional<std::array<double, 3>>& out) {
  const Node* array = of_kind(key, find(key), Kind::array);
  if (array != nullptr) read_three(key, array, out.emplace());
}

void Reader::read_three(std::string_view key, const Node* array, std::array<double, 3>& out) {
  if (array == nullptr) return;
  std::size_t count = 0;
  for (std::size_t i = place_of(*array) + 1; i < array->next; i = nodes_[i].next, ++count) {
    if (count < 3 && nodes_[i].kind == Kind::number) read_number(key, &nodes_[i], out[count]);
    if (count == 3 || nodes_[i].kind != Kind::number) {
      count = 0;
      break;
    }
  }
  if (count != 3) {
    fail(key, fmt::format("'{}' is not three numbers", key),
         "write L*, a*, b* as [71.2, 4.0, 18.5]");
  }
}

void Reader::read_whole(std::string_view key, const Node* node, int least, int& out) {
  if (node == nullptr) return;
  if (node->number != std::trunc(node->number) || std::abs(node->number) > 1e9) {
    return fail(key, fmt::format("'{}' is {}, not a whole number", key, node->text),
                "write a whole number up to 1,000,000,000, without separators");
  }
  if (node->number < least) {
    return fail(key, fmt::format("'{}' is {}, below {}", key, node->text, least),
                fmt::format("write {} or more", least));
  }
  out = static_cast<int>(node->number);
}

void Reader::count(std::string_view key, int& out) {
  read_whole(key, wanted(key, Kind::number), 1, out);
}

void Reader::count_or_default(std::string_view key, int& out) {
  read_whole(key, of_kind(key, find(key), Kind::number), 1, out);
}

void Reader::whole_or_none(std::string_view key, std::optional<int>& out) {
  const Node* node = of_kind(key, find(key), Kind::number);
  if (node != nullptr) read_whole(key, node, -1'000'000'000, out.emplace());
}

void Reader::whole_or_default(std::string_view key, int& out) {
  read_whole(key, of_kind(key, find(key), Kind::number), -1'000'000'000, out);
}

void Reader::flag(std::string_view key, bool& out) {
  const Node* node = wanted(key, Kind::boolean);
  if (node != nullptr) out = node->truth;
}

void Reader::flag_or_default(std::string_view key, bool& out) {
  const Node* node = of_kind(key, find(key), Kind::boolean);
  if (node != nullptr) out = node->truth;
}

void Reader::read_time(std::string_view key, const Node* node, Instant& out) {
  if (node == nullptr) return;
  const auto instant = quantity::parse_instant(node->text, {});
  if (!instant) return fail(key, instant.error().what, instant.error().mend);
  out = *instant;
}

void Reader::time(std::string_view key, Instant& out) {
  read_time(key, wanted(key, Kind::string), out);
}

void Reader::time_or_none(std::string_view key, std::optional<Instant>& out) {
  const Node* node = of_kind(key, find(key), Kind::string);
  if (node != nullptr) read_time(key, node, out.emplace());
}

void Reader::sequence(std::string_view key, std::uint64_t& out) {
  const Node* node = find(key);
  if (node == nullptr) return;
  const std::string_view text = node->text;
  const bool exact = node->kind == Kind::string || node->number <= largest_whole;
  if (node->kind == Kind::string || node->kind == Kind::number) {
    const auto [end, problem] = std::from_chars(text.data(), text.data() + text.size(), out);
    // The logbook counts in signed 64-bit numbers.
    const bool fits = out >= 1 && out <= (std::uint64_t{1} << 62);
    if (exact && problem == std::errc() && end == text.data() + text.size() && fits) return;
  }
  out = 0;
  fail(
      key, fmt::format("'{}' is not a count from 1", key),
      "number the events of each source 1, 2, 3, ...; beyond 9007199254740991 as a text of digits");
}

void Reader::read_body(const Node& node, std::string& out) {
  out.clear();
  const auto done = append_canonical(out, tree_, place_of(node), where_);
  if (!done && !wrong_) wrong_ = done.error();
}

void Reader::body(std::string_view key, std::string& out) {
  const Node* node = wanted(key, Kind::object);
  if (node != nullptr) read_body(*node, out);
}

void Reader::body_or_none(std::string_view key, std::string& out) {
  const Node* node = of_kind(key, find(key), Kind::object);
  if (node != nullptr) read_body(*node, out);
}

void Reader::exactly_one(std::initializer_list<Given> given) {
  const auto there =
      std::count_if(given.begin(), given.end(), [](auto& it) { return it.is_there; });
  if (there == 1) return;
  std::string keys;
  for (const Given& each : given) {
    keys += keys.empty() ? "" : &each == given.end() - 1 ? " and " : ", ";
    keys += fmt::format("'{}'", each.key);
  }
  const bool pair = given.size() == 2;
  fail({},
       there == 0 ? fmt::format("{} of {} is given", pair ? "neither" : "none", keys)
                  : fmt::format("{} of {} are given", pair ? "both" : "more than one", keys),
       "give exactly one of them: what the instrument shows");
}

}  // namespace vialwright::event
