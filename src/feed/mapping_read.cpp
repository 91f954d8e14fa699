#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <cmath>

#include "event/event.hpp"
#include "feed/mapping.hpp"

namespace vialwright::feed {
namespace {

using Columns = std::vector<std::string>;

/// Where a value stands: "map.toml:7, event 1.data.mass".
struct Place {
  std::string file, key;
  [[nodiscard]] std::string at(const toml::node& node) const {
    return fmt::format("{}:{}, {}", file, node.source().begin.line, key);
  }
  [[nodiscard]] Place inside(std::string_view name) const {
    return {file, fmt::format("{}.{}", key, name)};
  }
};

/// Remembers the first thing wrong; reading goes on with nothing after it.
struct Reading {
  const Columns& columns;
  std::optional<Error> wrong;

  void fail(std::string what, std::string where, std::string mend) {
    if (wrong) return;
    wrong = Error{Error::Kind::bad_input, std::move(what), std::move(where), std::move(mend)};
  }
};

std::string one_of(std::string_view word, const std::vector<std::string_view>& known,
                   std::string_view kind) {
  const std::string_view near = quantity::nearest(word, known);
  if (!near.empty()) return fmt::format("did you mean '{}'?", near);
  return fmt::format("the {} are: {}", kind, fmt::join(known, ", "));
}

std::size_t column(Reading& reading, std::string_view name, const std::string& where) {
  const auto found = std::find(reading.columns.begin(), reading.columns.end(), name);
  if (found != reading.columns.end()) {
    return static_cast<std::size_t>(found - reading.columns.begin());
  }
  const std::vector<std::string_view> known(reading.columns.begin(), reading.columns.end());
  reading.fail(fmt::format("the table has no column '{}'", name), where,
               one_of(name, known, "columns"));
  return 0;
}

Pattern pattern(Reading& reading, std::string_view text, const std::string& where) {
  Pattern read;
  while (!text.empty()) {
    const std::size_t open = text.find('{');
    if (open > 0) read.parts.push_back({std::string(text.substr(0, open)), 0, false});
    if (open == std::string_view::npos) break;
    const std::size_t close = text.find('}', open);
    if (close == std::string_view::npos) {
      reading.fail("a brace opens and does not close", where,
                   "write the name of a column in braces, such as \"{vial}\"");
      break;
    }
    const auto name = text.substr(open + 1, close - open - 1);
    read.parts.push_back({"", column(reading, name, where), true});
    text.remove_prefix(close + 1);
  }
  return read;
}

void check_unit(Reading& reading, std::string_view unit, const std::string& where) {
  if (unit.find('{') != std::string_view::npos) return;  // each row says its own
  const auto known = quantity::convert(1.0, unit, unit, where);
  if (!known && !reading.wrong) reading.wrong = known.error();
}

void check_keys(Reading& reading, const toml::table& table,
                const std::vector<std::string_view>& known, const Place& place) {
  for (const auto& [key, node] : table) {
    if (std::find(known.begin(), known.end(), key.str()) != known.end()) continue;
    reading.fail(fmt::format("key '{}' is not known", key.str()), place.inside(key.str()).at(node),
                 one_of(key.str(), known, "keys here"));
  }
}

std::optional<std::string> text(Reading& reading, const toml::table& table, std::string_view key,
                                const Place& place) {
  const toml::node* node = table.get(key);
  if (node == nullptr) return std::nullopt;
  auto value = node->value_exact<std::string>();
  if (!value) {
    reading.fail("not a text", place.inside(key).at(*node), "write a text in quotes");
  }
  return value;
}

std::string needed(Reading& reading, const toml::table& table, std::string_view key,
                   const Place& place, std::string_view example) {
  const auto value = text(reading, table, key, place);
  if (value && !value->empty()) return *value;
  reading.fail(fmt::format("'{}' is missing", key), place.at(table),
               fmt::format("add {} = \"{}\"", key, example));
  return "";
}

Value from_column(Reading& reading, const toml::table& table, const Place& place) {
  check_keys(reading, table, {"column", "unit", "yes"}, place);
  const std::string name = needed(reading, table, "column", place, "gross");
  const std::size_t index = column(reading, name, place.at(table));
  const auto unit = text(reading, table, "unit", place);
  const auto yes = text(reading, table, "yes", place);
  if (unit && yes) {
    reading.fail("a value is either an amount or yes or no", place.at(table),
                 "leave out 'unit' or 'yes'");
  }
  if (yes) return {Flag{index, *yes}};
  if (!unit) return {Number{index}};
  const std::string where = place.inside("unit").at(*table.get("unit"));
  check_unit(reading, *unit, where);
  return {Amount{index, pattern(reading, *unit, where)}};
}

Object object(Reading& reading, const toml::table& table, const Place& place);

Value value(Reading& reading, const toml::node& node, const Place& place) {
  if (const auto* table = node.as_table()) {
    if (table->contains("column")) return from_column(reading, *table, place);
    return {object(reading, *table, place)};
  }
  if (const auto* array = node.as_array()) {
    Array values;
    for (const toml::node& each : *array) {
      values.values.push_back(
          value(reading, each, place.inside(std::to_string(values.values.size() + 1))));
    }
    return {std::move(values)};
  }
  if (const auto text = node.value_exact<std::string>()) {
    return {pattern(reading, *text, place.at(node))};
  }
  if (const auto number = node.value_exact<std::int64_t>())
    return {Constant{fmt::to_string(*number)}};
  if (const auto number = node.value_exact<double>()) {
    if (std::isfinite(*number)) return {Constant{quantity::shortest(*number)}};
  }
  if (const auto flag = node.value_exact<bool>()) return {Constant{*flag ? "true" : "false"}};
  reading.fail("not a value that an event can hold", place.at(node),
               "write a text, a number, true or false, or { column = \"...\" }");
  return {Constant{"null"}};
}

Object object(Reading& reading, const toml::table& table, const Place& place) {
  Object read;
  for (const auto& [key, node] : table) {
    const std::string name(key.str());
    read.members.push_back({name, value(reading, node, place.inside(name))});
  }
  return read;
}

Pattern needed_pattern(Reading& reading, const toml::table& table, std::string_view key,
                       const Place& place, std::string_view example) {
  return pattern(reading, needed(reading, table, key, place, example), place.inside(key).at(table));
}

std::optional<Pattern> pattern_if(Reading& reading, const toml::table& table, std::string_view key,
                                  const Place& place) {
  const auto given = text(reading, table, key, place);
  if (!given) return std::nullopt;
  return pattern(reading, *given, place.inside(key).at(table));
}

bool names_a_column(const Pattern& pattern) {
  return std::any_of(pattern.parts.begin(), pattern.parts.end(),
                     [](const Pattern::Part& part) { return part.is_column; });
}

void check_type(Reading& reading, const std::string& type, const std::string& where) {
  const auto& known = event::type_names();
  if (type.empty() || std::find(known.begin(), known.end(), type) != known.end()) return;
  const auto near = quantity::nearest(type, known);
  reading.fail(
      fmt::format("event type '{}' is not known", type), where,
      near.empty() ? "docs/events lists the types" : fmt::format("did you mean '{}'?", near));
}

EventMapping event_mapping(Reading& reading, const toml::table& table, const Place& place) {
  check_keys(reading, table,
             {"type", "source", "id", "subject", "time", "sequence", "received", "when", "data"},
             place);
  EventMapping read;
  read.type = needed(reading, table, "type", place, "vialwright.gross.read");
  check_type(reading, read.type, place.inside("type").at(table));
  read.source = needed_pattern(reading, table, "source", place, "bench");
  read.id = needed_pattern(reading, table, "id", place, "gross {vial} {read at}");
  if (!names_a_column(read.id)) {
    reading.fail("every row would have the same id", place.inside("id").at(table),
                 "build the id from columns, such as \"gross {vial} {read at}\"");
  }
  read.time = needed_pattern(reading, table, "time", place, "{read at}");
  read.subject = pattern_if(reading, table, "subject", place);
  read.sequence = pattern_if(reading, table, "sequence", place);
  read.received = pattern_if(reading, table, "received", place);
  if (const auto when = text(reading, table, "when", place)) {
    read.when = column(reading, *when, place.inside("when").at(table));
  }
  const toml::node* data = table.get("data");
  if (data != nullptr && data->is_table()) {
    read.data = object(reading, *data->as_table(), place.inside("data"));
  } else {
    reading.fail("the event has no [event.data]", place.at(table),
                 "add [event.data] with what the event holds");
  }
  return read;
}

Result<toml::table> parsed(std::string_view toml, const std::string& path) {
  try {
    return toml::parse(toml);
  } catch (const toml::parse_error& error) {
    return bad_input(std::string(error.description()),
                     fmt::format("{}:{}", path, error.source().begin.line),
                     "write TOML 1.0, as docs/formats.md shows under \"Mapping file\"");
  }
}

char one_character(Reading& reading, const toml::table& table, std::string_view key, char otherwise,
                   std::string_view allowed) {
  const auto given = text(reading, table, key, {"", ""});
  if (!given) return otherwise;
  if (given->size() == 1 && allowed.find(given->front()) != std::string_view::npos) {
    return given->front();
  }
  reading.fail(
      fmt::format("{} '{}' is not one that tables have", key, *given), "",
      "use " + std::string(allowed == ".," ? "\".\" or \",\"" : "\",\", \";\" or \"\\t\""));
  return otherwise;
}

}  // namespace

Result<char> separator_of(std::string_view toml, const std::string& path) {
  const auto table = parsed(toml, path);
  if (!table) return tl::unexpected(table.error());
  const Columns none;
  Reading reading{none, {}};
  const char separator = one_character(reading, *table, "separator", ',', ",;\t");
  if (!reading.wrong) return separator;
  reading.wrong->where = path + ", separator";
  return tl::unexpected(*reading.wrong);
}

Result<Mapping> read_mapping(std::string_view toml, const std::string& path, Columns columns) {
  const auto table = parsed(toml, path);
  if (!table) return tl::unexpected(table.error());
  Mapping mapping;
  mapping.columns = std::move(columns);
  Reading reading{mapping.columns, {}};
  const Place place{path, "mapping"};
  check_keys(reading, *table, {"separator", "decimal", "event"}, place);
  mapping.separator = one_character(reading, *table, "separator", ',', ",;\t");
  mapping.decimal = one_character(reading, *table, "decimal", '.', ".,");
  if (mapping.decimal == mapping.separator) {
    reading.fail("the decimal sign is also the separator", path + ", decimal",
                 "say separator = \";\" if the table has semicolons");
  }
  const toml::node* events = table->get("event");
  if (events == nullptr || !events->is_array_of_tables()) {
    reading.fail("the mapping makes no event", path, "add an [[event]] for what each row tells");
  } else {
    for (const toml::node& each : *events->as_array()) {
      const std::string name = fmt::format("event {}", mapping.events.size() + 1);
      mapping.events.push_back(event_mapping(reading, *each.as_table(), {path, name}));
    }
  }
  if (!reading.wrong) return mapping;
  if (reading.wrong->where.empty()) reading.wrong->where = path + ", decimal";
  return tl::unexpected(*reading.wrong);
}

}  // namespace vialwright::feed
