#include "report/columns.hpp"

#include <algorithm>
#include <cstdint>
#include <numeric>
#include <utility>

#include "error/error.hpp"

namespace vialwright::report {
namespace {

constexpr std::string_view not_text = "\uFFFD", no_break = "\u00A0";
constexpr int gap = 2;

/// One code point at the start of the text and its length; length 0 = not UTF-8.
struct Letter {
  std::uint32_t code = 0;
  std::size_t length = 0;
};

std::size_t length_by_first_byte(unsigned char first) {
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first < 0xE0) return 2;
  if (first >= 0xE0 && first < 0xF0) return 3;
  return first >= 0xF0 && first < 0xF5 ? 4 : 0;
}

Letter first_letter(std::string_view text) {
  const auto first = static_cast<unsigned char>(text.front());
  const std::size_t length = length_by_first_byte(first);
  if (length == 0 || length > text.size()) return {};
  if (length == 1) return {first, 1};
  std::uint32_t code = first & (0x7FU >> length);
  for (std::size_t i = 1; i < length; ++i) {
    const auto next = static_cast<unsigned char>(text[i]);
    if ((next & 0xC0U) != 0x80U) return {};
    code = (code << 6U) | (next & 0x3FU);
  }
  const bool overlong = (length == 3 && code < 0x800) || (length == 4 && code < 0x10000);
  const bool surrogate = code >= 0xD800 && code <= 0xDFFF;
  return overlong || surrogate || code > 0x10FFFF ? Letter{} : Letter{code, length};
}

struct Range {
  std::uint32_t first, last;
};

bool in_any(std::uint32_t code, const std::vector<Range>& ranges) {
  return std::any_of(ranges.begin(), ranges.end(),
                     [code](Range each) { return code >= each.first && code <= each.last; });
}

bool is_control(std::uint32_t code) {
  // U+202A..202E and U+2066..2069 turn the direction of what follows: a name must not.
  static const std::vector<Range> controls = {
      {0, 0x1F}, {0x7F, 0x9F}, {0x2028, 0x202E}, {0x2066, 0x2069}};
  return in_any(code, controls);
}

// Source: Unicode Standard Annex 11, East Asian Width, classes W and F, in blocks.
int columns_of(std::uint32_t code) {
  static const std::vector<Range> none = {{0x300, 0x36F}, {0x200B, 0x200F}, {0xFE00, 0xFE0F}};
  static const std::vector<Range> wide = {{0x1100, 0x115F}, {0x2E80, 0xA4CF},   {0xAC00, 0xD7A3},
                                          {0xF900, 0xFAFF}, {0xFE30, 0xFE6F},   {0xFF00, 0xFF60},
                                          {0xFFE0, 0xFFE6}, {0x1F300, 0x1FAFF}, {0x20000, 0x3FFFD}};
  if (code < 0x300) return 1;
  if (in_any(code, none)) return 0;
  return in_any(code, wide) ? 2 : 1;
}

/// "19.3 ± 0.1": the number and its doubt are one word.
std::string with_doubt_joined(std::string_view text) {
  std::string joined(text);
  constexpr std::string_view loose = " \u00B1 ", tight = "\u00A0\u00B1\u00A0";
  for (std::size_t at = joined.find(loose); at != std::string::npos; at = joined.find(loose, at)) {
    joined.replace(at, loose.size(), tight);
  }
  return joined;
}

std::vector<std::string> words_of(const std::string& text) {
  std::vector<std::string> words;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t space = std::min(text.find(' ', at), text.size());
    if (space > at) words.push_back(text.substr(at, space - at));
    at = space + 1;
  }
  return words;
}

/// Takes as many letters as fit from the front of `word`; at least one. A number is not cut where
/// a space that should not break can be broken instead: "19" at the end of a line is not 19.356.
std::string take_front(std::string& word, int width) {
  std::size_t end = 0;
  int used = 0;
  while (end < word.size()) {
    const Letter letter = first_letter(std::string_view(word).substr(end));
    const int more = columns_of(letter.code);
    if (end > 0 && used + more > width) break;
    used += more;
    end += std::max<std::size_t>(letter.length, 1);
  }
  const std::size_t space = word.rfind(no_break, end);
  if (end < word.size() && space != std::string::npos && space + no_break.size() <= end) {
    end = space + no_break.size();
  }
  std::string front = word.substr(0, end);
  word.erase(0, end);
  return front;
}

int natural_width(const Table& table, std::size_t column) {
  int widest = columns(table.columns[column].head);
  for (const auto& row : table.rows) {
    widest = std::max(widest, columns(with_doubt_joined(clean(row[column]))));
  }
  return std::max(widest, 2);
}

std::vector<int> widths_within(const Table& table, int room) {
  std::vector<int> widths;
  for (std::size_t i = 0; i < table.columns.size(); ++i) {
    widths.push_back(natural_width(table, i));
  }
  int over = std::accumulate(widths.begin(), widths.end(), 0) - room;
  for (; over > 0; --over) {
    auto widest = std::max_element(widths.begin(), widths.end());
    require(*widest > 2, "a table fits its width");
    --*widest;
  }
  return widths;
}

std::string padded(const std::string& text, int width, bool right) {
  const std::string fill(static_cast<std::size_t>(std::max(width - columns(text), 0)), ' ');
  return right ? fill + text : text + fill;
}

std::string row_text(const Table& table, const std::vector<std::string>& cells,
                     const std::vector<int>& widths, std::string_view indent) {
  std::vector<std::vector<std::string>> lines;
  std::size_t height = 1;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    lines.push_back(wrapped(cells[i], widths[i]));
    height = std::max(height, lines.back().size());
  }
  std::string text;
  for (std::size_t at = 0; at < height; ++at) {
    std::string line(indent);
    for (std::size_t i = 0; i < cells.size(); ++i) {
      const std::string cell = at < lines[i].size() ? lines[i][at] : std::string();
      line += (i > 0 ? std::string(gap, ' ') : std::string()) +
              padded(cell, widths[i], table.columns[i].right);
    }
    line.erase(line.find_last_not_of(' ') + 1);
    text += line + '\n';
  }
  return text;
}

}  // namespace

std::string clean(std::string_view text) {
  std::string kept;
  kept.reserve(text.size());
  while (!text.empty()) {
    const Letter letter = first_letter(text);
    const bool good = letter.length > 0 && !is_control(letter.code);
    kept += good ? text.substr(0, letter.length) : not_text;
    text.remove_prefix(std::max<std::size_t>(letter.length, 1));
  }
  return kept;
}

int columns(std::string_view text) {
  int width = 0;
  while (!text.empty()) {
    const Letter letter = first_letter(text);
    width += columns_of(letter.code);
    text.remove_prefix(std::max<std::size_t>(letter.length, 1));
  }
  return width;
}

std::vector<std::string> wrapped(std::string_view text, int width) {
  require(width >= 2, "a line holds the widest letter");
  std::vector<std::string> lines;
  std::string line;
  for (std::string word : words_of(with_doubt_joined(clean(text)))) {
    const bool fits = columns(line) + (line.empty() ? 0 : 1) + columns(word) <= width;
    if (!line.empty() && !fits) lines.push_back(std::exchange(line, {}));
    while (line.empty() && columns(word) > width) lines.push_back(take_front(word, width));
    if (word.empty()) continue;
    line += (line.empty() ? "" : " ") + word;
  }
  if (!line.empty() || lines.empty()) lines.push_back(line);
  return lines;
}

std::string paragraph(std::string_view text, int width, std::string_view first,
                      std::string_view rest) {
  const int room = width - std::max(columns(first), columns(rest));
  std::string all;
  for (const std::string& line : wrapped(text, std::max(room, 2))) {
    all += std::string(all.empty() ? first : rest) + line + '\n';
  }
  return all;
}

std::string as_text(const Table& table, int width, std::string_view indent) {
  const int gaps = gap * static_cast<int>(table.columns.size() - 1) + columns(indent);
  const std::vector<int> widths = widths_within(table, width - gaps);
  std::vector<std::string> heads;
  for (const Column& column : table.columns) heads.push_back(column.head);
  std::string text = row_text(table, heads, widths, indent);
  const int ruled = std::accumulate(widths.begin(), widths.end(), gaps - columns(indent));
  text += std::string(indent);
  for (int i = 0; i < ruled; ++i) text += "\u2500";
  text += '\n';
  for (const auto& row : table.rows) text += row_text(table, row, widths, indent);
  return text;
}

}  // namespace vialwright::report
