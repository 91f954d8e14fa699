/// How rows of a table become events: the mapping file (docs/formats.md). Private to the feed.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "error/error.hpp"

namespace vialwright::feed {

/// A text with columns in braces, "{vial} gross {no}".
struct Pattern {
  struct Part {
    std::string text;
    std::size_t column = 0;
    bool is_column = false;
  };
  std::vector<Part> parts;
};

struct Constant {
  std::string json;
};
struct Amount {  ///< a number in a unit
  std::size_t column = 0;
  Pattern unit;
};
struct Number {  ///< a number without unit
  std::size_t column = 0;
};
struct Flag {  ///< true where the cell holds this word
  std::size_t column = 0;
  std::string yes;
};

struct Value;
struct Member;
struct Object {
  std::vector<Member> members;
};
struct Array {
  std::vector<Value> values;
};
struct Value {
  std::variant<Pattern, Constant, Amount, Number, Flag, Object, Array> is;
};
struct Member {
  std::string key;
  Value value;
};

/// One event of each row.
struct EventMapping {
  std::string type;
  Pattern source, id, time;
  std::optional<Pattern> subject, sequence, received;
  std::optional<std::size_t> when;  ///< made only where this column is not empty
  Object data;
};

struct Mapping {
  std::vector<std::string> columns;
  char separator = ',', decimal = '.';
  std::vector<EventMapping> events;
};

/// The separator is needed before the columns can be read.
[[nodiscard]] Result<char> separator_of(std::string_view toml, const std::string& path);

/// Reads a mapping for a table with these columns.
[[nodiscard]] Result<Mapping> read_mapping(std::string_view toml, const std::string& path,
                                           std::vector<std::string> columns);

/// The events of one row as JSON.
/// @param where of the row, "shift.csv:41".
[[nodiscard]] Result<std::vector<std::string>> events_of(const Mapping& mapping,
                                                         const std::vector<std::string>& cells,
                                                         std::string_view where);

}  // namespace vialwright::feed
