#include "feed/csv_row.hpp"

#include <fmt/format.h>

namespace vialwright::feed {
namespace {

std::string_view trimmed(std::string_view text) {
  const auto begin = text.find_first_not_of(" \t");
  if (begin == std::string_view::npos) return {};
  return text.substr(begin, text.find_last_not_of(" \t") - begin + 1);
}

/// Reads a quoted cell from its opening quote on. @returns false when it never closes.
bool read_quoted(std::string_view line, std::size_t& at, std::string& cell) {
  for (++at; at < line.size(); ++at) {
    if (line[at] != '"') {
      cell += line[at];
    } else if (at + 1 < line.size() && line[at + 1] == '"') {
      cell += '"';
      ++at;
    } else {
      ++at;
      return true;
    }
  }
  return false;
}

}  // namespace

Result<std::vector<std::string>> csv_row(std::string_view line, char separator,
                                         std::string_view where) {
  std::vector<std::string> cells;
  for (std::size_t at = 0;;) {
    std::string cell;
    while (at < line.size() && line[at] == ' ') ++at;
    const bool quoted = at < line.size() && line[at] == '"';
    if (quoted && !read_quoted(line, at, cell)) {
      return bad_input(fmt::format("the quote of cell {} does not close", cells.size() + 1),
                       std::string(where),
                       "close the quote on the same line; double a quote inside it");
    }
    const std::size_t end = std::min(line.find(separator, at), line.size());
    const std::string_view rest = trimmed(line.substr(at, end - at));
    if (quoted && !rest.empty()) {
      return bad_input(fmt::format("'{}' follows the quote of cell {}", rest, cells.size() + 1),
                       std::string(where), "put the whole cell in quotes");
    }
    cells.push_back(quoted ? cell : std::string(rest));
    if (end == line.size()) return cells;
    at = end + 1;
  }
}

}  // namespace vialwright::feed
