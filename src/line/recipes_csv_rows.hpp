/// Rows of a CSV table with the place of every cell. Private to the readers of tables.
/// Source: RFC 4180, with the separators that spreadsheets write: comma, semicolon, tab.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "line/line_file_findings.hpp"

namespace vialwright::line {

struct Cell {
  std::string text;  ///< less spaces outside and less quotes
  Spot spot;
};
using Row = std::vector<Cell>;

/// Takes a table apart, row by row, so that a long one is not held twice.
class CsvRows {
 public:
  explicit CsvRows(std::string_view text);

  /// The next row that is not empty; false at the end.
  bool next(Row& row);
  /// A quote was opened and the text ended before it closed.
  [[nodiscard]] bool unclosed() const { return unclosed_; }

 private:
  Cell cell();
  Cell quoted_cell();
  void skip_line_end();
  [[nodiscard]] bool at_line_end() const;

  std::string_view text_;
  std::size_t at_ = 0;
  Spot spot_{1, 1};
  char separator_ = ',';
  bool unclosed_ = false;
};

}  // namespace vialwright::line
