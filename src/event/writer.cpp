#include "event/writer.hpp"

namespace vialwright::event {

std::string& Writer::member(std::string_view key) {
  if (!first_) out_ += ',';
  first_ = false;
  append_text(out_, key);
  return out_ += ':';
}

void Writer::texts(std::string_view key, const std::vector<std::string>& values) {
  member(key) += '[';
  for (const std::string& value : values) {
    if (&value != &values.front()) out_ += ',';
    append_text(out_, value);
  }
  out_ += ']';
}

void Writer::amount(std::string_view key, std::string_view unit, double value) {
  member(key) += R"({"unit":)";
  append_text(out_, unit);
  out_ += R"(,"value":)";
  append_number(out_, value);
  out_ += '}';
}

void Writer::numbers(std::string_view key, std::span<const double> values) {
  member(key) += '[';
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (i > 0) out_ += ',';
    append_number(out_, values[i]);
  }
  out_ += ']';
}

void Writer::sequence(std::string_view key, std::uint64_t value) {
  if (value == 0) return;
  const bool exact = value <= 9007199254740991;  // as a number, exact in every JSON reader
  const std::string digits = std::to_string(value);
  member(key) += exact ? digits : '"' + digits + '"';
}

}  // namespace vialwright::event
