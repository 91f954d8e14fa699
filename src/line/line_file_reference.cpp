// The reference of all keys, derived from the one table of keys.
#include <cmath>

#include "line/line_file_keys.hpp"

namespace vialwright::line {
namespace {

template <class... Cases>
struct Overloaded : Cases... {
  using Cases::operator()...;
};
template <class... Cases>
Overloaded(Cases...) -> Overloaded<Cases...>;

std::string unit_in_words(std::string_view unit) {
  if (unit == unit_of_kind) return "g, mL or mm";
  if (unit == unit_of_readings) return "g, mL or mm; of a colour gauge 1";
  if (unit == "*/s") return "g/s or mL/s";
  return unit == "1" ? "1 or %" : std::string(unit);
}

/// How the value is written.
template <class T>
std::string written(const Key<T>& key) {
  if (!key.written.empty()) return std::string(key.written);
  std::string amount = "amount in " + unit_in_words(key.unit);
  return std::visit(Overloaded{
                        [](std::string T::*) { return std::string("text"); },
                        [](std::vector<std::string> T::*) { return std::string("list of ids"); },
                        [](bool T::*) { return std::string("true or false"); },
                        [](int T::*) { return std::string("whole number"); },
                        [](std::optional<double> T::*) { return std::string("number"); },
                        [](const Plain<T>&) { return std::string("number"); },
                        [&](const Measured<T>&) { return amount; },
                        [&](const Doubted<T>&) { return amount + ", with u"; },
                        [](Special<T>) { return std::string(); },
                    },
                    key.into);
}

std::string number_or_none(double value, std::string_view unit) {
  if (std::isinf(value)) return "no limit";
  const bool bare = unit.empty() || unit == "1" || unit.starts_with("*") || value == 0.0;
  return quantity::shortest(value) + (bare ? "" : " " + std::string(unit));
}

/// What holds where the key is left out: what a thing has that nothing was read into.
template <class T>
std::string otherwise(const Key<T>& key) {
  if (key.needed) return "**needed**";
  static const T fresh{};
  return std::visit(
      Overloaded{
          [](std::string T::*to) { return (fresh.*to).empty() ? std::string("none") : fresh.*to; },
          [](std::vector<std::string> T::*) { return std::string("none"); },
          [](bool T::*to) { return std::string(fresh.*to ? "true" : "false"); },
          [](int T::*to) { return std::to_string(fresh.*to); },
          [](std::optional<double> T::*) { return std::string("none"); },
          [](const Plain<T>& to) { return number_or_none(fresh.*to.value / to.factor, ""); },
          [&](const Measured<T>& to) { return number_or_none(fresh.*to.value, key.unit); },
          [&](const Doubted<T>& to) { return number_or_none(fresh.*to.value, key.unit); },
          [](Special<T>) { return std::string("none"); },
      },
      key.into);
}

template <class T>
std::string table_of(const Section<T>& section) {
  const std::string name(section.name);
  std::string text = "### `[" + name + (section.many ? ".ID]`" : "]`") + "\n\n";
  text += std::string(section.meaning) + "\n\n";
  text += "| key | written as | left out | example | meaning |\n|---|---|---|---|---|\n";
  for (const Key<T>& key : section.keys)
    text += "| `" + std::string(key.name) + "` | " + written(key) + " | " + otherwise(key) +
            " | `" + std::string(key.example) + "` | " + std::string(key.meaning) + " |\n";
  return text;
}

}  // namespace

std::string key_reference() {
  std::string text;
  for_each_section(
      [&text](const auto& section) { text += (text.empty() ? "" : "\n") + table_of(section); });
  return text;
}

}  // namespace vialwright::line
