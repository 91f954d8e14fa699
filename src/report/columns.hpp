/// Private to report: text that stands in columns of a terminal. Widths are columns, not bytes.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace vialwright::report {

/// Valid UTF-8 without control characters: names come from outside and could steer a terminal.
/// Whatever is not text becomes U+FFFD.
[[nodiscard]] std::string clean(std::string_view text);

/// Columns that clean text takes: 0 for combining marks, 2 for wide East Asian letters, else 1.
[[nodiscard]] int columns(std::string_view text);

/// Lines of at most `width` columns, broken at spaces; a word too long for a line is broken where
/// the line ends. "±" stays with its numbers. @pre width >= 2
[[nodiscard]] std::vector<std::string> wrapped(std::string_view text, int width);

/// The same, joined, each line after `first` or, from the second on, `rest`; ends in a newline.
[[nodiscard]] std::string paragraph(std::string_view text, int width, std::string_view first = "",
                                    std::string_view rest = "");

struct Column {
  std::string head;
  bool right = false;  ///< numbers stand right
};

/// A table as rows of cells, one a column; for the terminal and for the page.
struct Table {
  std::vector<Column> columns;
  std::vector<std::vector<std::string>> rows;
};

/// The table in at most `width` columns: cells wrap, the widest columns give way first.
/// @pre width leaves each column two columns and the gaps
[[nodiscard]] std::string as_text(const Table& table, int width, std::string_view indent = "");

}  // namespace vialwright::report
