#include <fmt/format.h>

#include <algorithm>

#include "feed/mapping.hpp"
#include "quantity/quantity.hpp"

namespace vialwright::feed {
namespace {

void append_text(std::string& out, std::string_view text) {
  out += '"';
  for (const char c : text) {
    const auto code = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      out += '\\';
      out += c;
    } else if (code < 0x20) {
      out += fmt::format("\\u{:04x}", static_cast<unsigned>(code));
    } else {
      out += c;
    }
  }
  out += '"';
}

/// Makes the JSON of one row. What a row leaves empty is left out of the event.
class RowWriter {
 public:
  RowWriter(const Mapping& mapping, const std::vector<std::string>& cells, std::string_view where)
      : mapping_(mapping), cells_(cells), where_(where) {}

  Result<std::string> event(const EventMapping& mapped) {
    out_ = "{\"specversion\":\"1.0\",\"type\":";
    append_text(out_, mapped.type);
    attribute("source", mapped.source, true);
    attribute("id", mapped.id, true);
    attribute("time", mapped.time, true);
    if (mapped.subject) attribute("subject", *mapped.subject, false);
    if (mapped.sequence) attribute("sequence", *mapped.sequence, false);
    if (mapped.received) attribute("receivedtime", *mapped.received, false);
    out_ += ",\"data\":";
    if (!object(mapped.data)) out_ += "{}";
    out_ += '}';
    if (wrong_) return tl::unexpected(*wrong_);
    return std::move(out_);
  }

 private:
  [[nodiscard]] std::string where_of(std::size_t column) const {
    return fmt::format("{}, column {}", where_, mapping_.columns[column]);
  }

  void attribute(std::string_view name, const Pattern& pattern, bool needed) {
    const auto text = filled(pattern, needed);
    if (!text) return;
    out_ += fmt::format(",\"{}\":", name);
    append_text(out_, *text);
  }

  /// The text, or nothing where a cell of it is empty.
  std::optional<std::string> filled(const Pattern& pattern, bool needed) {
    std::string text;
    for (const Pattern::Part& part : pattern.parts) {
      if (part.is_column && cells_[part.column].empty()) {
        if (needed) {
          fail({Error::Kind::bad_input, "the cell is empty", where_of(part.column),
                "fill the cell, or say with 'when' which rows to leave out"});
        }
        return std::nullopt;
      }
      text += part.is_column ? cells_[part.column] : part.text;
    }
    return text;
  }

  void fail(Error error) {
    if (!wrong_) wrong_ = std::move(error);
  }

  double number(std::size_t column) {
    std::string text = cells_[column];
    if (mapping_.decimal == ',') {
      // A point would be read as a decimal sign where it stood for thousands.
      std::replace(text.begin(), text.end(), '.', '\'');
      std::replace(text.begin(), text.end(), ',', '.');
    }
    const auto number = quantity::parse_number(text, where_of(column));
    if (number) return *number;
    Error error = number.error();
    error.what = fmt::format("'{}' is not a number", cells_[column]);
    if (mapping_.decimal == ',') error.mend = "write a decimal comma, such as 12,345";
    fail(std::move(error));
    return 0.0;
  }

  // Each appends a value. @returns false, and appends nothing, where there is none.
  bool append(const Pattern& pattern) {
    const auto text = filled(pattern, false);
    if (text) append_text(out_, *text);
    return text.has_value();
  }
  bool append(const Constant& constant) {
    out_ += constant.json;
    return true;
  }
  bool append(const Amount& amount) {
    if (cells_[amount.column].empty()) return false;
    out_ += "{\"value\":" + quantity::shortest(number(amount.column)) + ",\"unit\":";
    append_text(out_, filled(amount.unit, true).value_or(""));
    out_ += '}';
    return true;
  }
  bool append(const Number& of) {
    if (cells_[of.column].empty()) return false;
    out_ += quantity::shortest(number(of.column));
    return true;
  }
  bool append(const Flag& flag) {
    if (cells_[flag.column].empty()) return false;
    out_ += cells_[flag.column] == flag.yes ? "true" : "false";
    return true;
  }
  bool append(const Object& of) { return object(of); }
  bool append(const Array& array) {
    const std::size_t start = out_.size();
    bool any = false;
    out_ += '[';
    for (const Value& each : array.values) {
      const std::size_t before = out_.size();
      if (any) out_ += ',';
      if (value(each)) {
        any = true;
      } else {
        out_.resize(before);
      }
    }
    out_ += ']';
    if (!any) out_.resize(start);
    return any;
  }
  bool object(const Object& of) {
    const std::size_t start = out_.size();
    bool any = false;
    out_ += '{';
    for (const Member& member : of.members) {
      const std::size_t before = out_.size();
      if (any) out_ += ',';
      append_text(out_, member.key);
      out_ += ':';
      if (value(member.value)) {
        any = true;
      } else {
        out_.resize(before);
      }
    }
    out_ += '}';
    if (!any) out_.resize(start);
    return any;
  }
  bool value(const Value& of) {
    return std::visit([this](const auto& each) { return append(each); }, of.is);
  }

  const Mapping& mapping_;
  const std::vector<std::string>& cells_;
  std::string_view where_;
  std::string out_;
  std::optional<Error> wrong_;
};

}  // namespace

Result<std::vector<std::string>> events_of(const Mapping& mapping,
                                           const std::vector<std::string>& cells,
                                           std::string_view where) {
  if (cells.size() != mapping.columns.size()) {
    return bad_input(
        fmt::format("the row has {} cells, the head has {}", cells.size(), mapping.columns.size()),
        std::string(where), "give every row one cell a column");
  }
  std::vector<std::string> events;
  for (const EventMapping& mapped : mapping.events) {
    if (mapped.when && cells[*mapped.when].empty()) continue;
    auto event = RowWriter(mapping, cells, where).event(mapped);
    if (!event) return tl::unexpected(event.error());
    events.push_back(std::move(*event));
  }
  return events;
}

}  // namespace vialwright::feed
