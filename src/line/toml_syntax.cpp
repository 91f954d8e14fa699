#include "line/toml_syntax.hpp"

#include <algorithm>
#include <cctype>
#include <string>
#include <utility>

#include "line/line_file_amount.hpp"

namespace vialwright::line {
namespace {

/// Length of the UTF-8 sequence at the start, or 0 where it is none (RFC 3629: no overlong forms,
/// no surrogates, nothing above U+10FFFF).
std::size_t sequence_length(std::string_view text) {
  const auto byte = [text](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const auto follows = [&](std::size_t i, unsigned low, unsigned high) {
    return i < text.size() && byte(i) >= low && byte(i) <= high;
  };
  const unsigned first = byte(0);
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first <= 0xDF) return follows(1, 0x80, 0xBF) ? 2 : 0;
  if (first >= 0xE0 && first <= 0xEF) {
    const unsigned low = first == 0xE0 ? 0xA0 : 0x80, high = first == 0xED ? 0x9F : 0xBF;
    return follows(1, low, high) && follows(2, 0x80, 0xBF) ? 3 : 0;
  }
  if (first >= 0xF0 && first <= 0xF4) {
    const unsigned low = first == 0xF0 ? 0x90 : 0x80, high = first == 0xF4 ? 0x8F : 0xBF;
    return follows(1, low, high) && follows(2, 0x80, 0xBF) && follows(3, 0x80, 0xBF) ? 4 : 0;
  }
  return 0;
}

std::string_view trimmed_line(std::string_view text, std::size_t begin) {
  const auto end = std::min(text.find('\n', begin), text.size());
  return trimmed(text.substr(begin, end - begin));
}

std::size_t start_of_line(std::string_view text, int line) {
  std::size_t begin = 0;
  for (; line > 1; --line) {
    const auto end = text.find('\n', begin);
    if (end == std::string_view::npos) return text.size();
    begin = end + 1;
  }
  return begin;
}

/// Blanks a line; with a table's head all that belongs to it, or its keys would fall to the table
/// before.
void blank(std::string& text, int line) {
  std::size_t begin = start_of_line(text, line);
  const bool head = trimmed_line(text, begin).starts_with("[");
  do {
    const std::size_t end = std::min(text.find('\n', begin), text.size());
    std::fill(text.begin() + static_cast<std::ptrdiff_t>(begin),
              text.begin() + static_cast<std::ptrdiff_t>(end), ' ');
    begin = std::min(end + 1, text.size());
  } while (head && begin < text.size() && !trimmed_line(text, begin).starts_with("["));
}

bool has_decimal_comma(std::string_view value) {
  for (std::size_t i = 1; i + 1 < value.size(); ++i)
    if (value[i] == ',' && std::isdigit(static_cast<unsigned char>(value[i - 1])) != 0 &&
        std::isdigit(static_cast<unsigned char>(value[i + 1])) != 0)
      return true;
  return false;
}

/// How the commonest slips are mended, judged by the line itself.
std::string mend_for(std::string_view description, std::string_view line) {
  if (description.find("redefine") != std::string_view::npos ||
      description.find("already") != std::string_view::npos)
    return "it stands twice: delete one, or give one another id";
  const auto equals = line.find('=');
  const std::string_view value =
      equals == std::string_view::npos ? std::string_view() : trimmed(line.substr(equals + 1));
  if (!value.empty() && value.front() != '"' && value.front() != '[' && value.front() != '{') {
    if (has_decimal_comma(value)) return "write decimals with a point, such as 12.345";
    if (std::isdigit(static_cast<unsigned char>(value.front())) != 0)
      return "put an amount and its unit in double quotes, such as \"5 mg\"";
    return "put a text in double quotes";
  }
  if (!value.empty() && value.front() == '"' && std::ranges::count(value, '"') % 2 == 1)
    return "close the text with a double quote";
  if (line.starts_with("[")) return "write a table's head as [instrument.bench]";
  return "write key = value on a line of its own (TOML 1.0)";
}

/// @returns whether the text was changed, so that another reading may find more.
bool report_and_blank(const toml::parse_error& error, std::string_view original, std::string& text,
                      Findings& findings) {
  const Spot spot{static_cast<int>(error.source().begin.line),
                  static_cast<int>(error.source().begin.column)};
  std::string_view description = error.description();
  constexpr std::string_view opening = "Error while parsing ";
  if (const auto colon = description.find(": ");
      description.starts_with(opening) && colon != std::string_view::npos)
    description.remove_prefix(colon + 2);
  const std::string line(trimmed_line(original, start_of_line(original, spot.line)));
  findings.add_at(spot, "", "not TOML: " + std::string(description.substr(0, 200)),
                  mend_for(description, line));
  std::string blanked = text;
  blank(blanked, spot.line);
  const bool changed = blanked != text;
  text = std::move(blanked);
  return changed;
}

}  // namespace

void check_bytes(std::string_view text, std::size_t longest_line, Findings& findings) {
  Spot at{1, 1};
  std::size_t line_begin = 0;
  bool nul = false, bad = false, long_line = false;
  for (std::size_t i = 0; i < text.size() && !(nul && bad && long_line);) {
    const std::size_t length = sequence_length(text.substr(i, 4));
    if (length == 0 && !std::exchange(bad, true))
      findings.add_at(at, "", "a byte that is not UTF-8", "save the file as UTF-8");
    if (text[i] == '\0' && !std::exchange(nul, true))
      findings.add_at(at, "", "a byte 0 in the text",
                      "the file is damaged or not a text; save it as UTF-8 text");
    if (i - line_begin > longest_line && !std::exchange(long_line, true))
      findings.add_at({at.line, 1}, "",
                      "a line of more than " + std::to_string(longest_line) + " bytes",
                      "break the line; is this the right file?");
    if (text[i] == '\n') {
      at = {at.line + 1, 1};
      line_begin = i + 1;
    } else {
      ++at.column;
    }
    i += std::max<std::size_t>(length, 1);
  }
}

toml::table parse_toml(std::string_view text, Findings& findings) {
  constexpr int most_slips = 20;  // each costs another reading of the file
  std::string rest(text);
  for (int slip = 0; slip < most_slips; ++slip) {
    try {
      return toml::parse(rest);
    } catch (const toml::parse_error& error) {
      if (!report_and_blank(error, text, rest, findings)) break;
    }
  }
  return {};
}

}  // namespace vialwright::line
