#include "line/recipes_csv_rows.hpp"

#include <algorithm>

#include "line/line_file_amount.hpp"

namespace vialwright::line {
namespace {

/// The separator that the first line with something in it uses most.
char separator_of(std::string_view text) {
  const auto begin = std::min(text.find_first_not_of(" \r\n"), text.size());
  const std::string_view head = text.substr(begin, text.find('\n', begin) - begin);
  char best = ',';
  std::ptrdiff_t most = 0;
  for (const char candidate : {',', ';', '\t'}) {
    const auto count = std::ranges::count(head, candidate);
    if (count > most) {
      most = count;
      best = candidate;
    }
  }
  return best;
}

}  // namespace

CsvRows::CsvRows(std::string_view text) : text_(text) {
  constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
  if (text_.starts_with(byte_order_mark)) text_.remove_prefix(byte_order_mark.size());
  separator_ = separator_of(text_);
}

bool CsvRows::at_line_end() const {
  return at_ >= text_.size() || text_[at_] == '\n' || text_.substr(at_, 2) == "\r\n";
}

void CsvRows::skip_line_end() {
  if (at_ >= text_.size()) return;
  at_ += text_[at_] == '\r' ? 2 : 1;
  spot_ = {spot_.line + 1, 1};
}

Cell CsvRows::quoted_cell() {
  Cell cell{"", spot_};
  ++at_;
  ++spot_.column;
  while (true) {
    if (at_ >= text_.size()) {
      unclosed_ = true;
      return cell;
    }
    const char c = text_[at_++];
    ++spot_.column;
    if (c == '\n') spot_ = {spot_.line + 1, 1};
    if (c == '"') {
      if (at_ >= text_.size() || text_[at_] != '"') break;
      ++at_;
      ++spot_.column;
    }
    cell.text += c;
  }
  while (!at_line_end() && text_[at_] != separator_) {  // what follows a quote belongs to no cell
    cell.text += text_[at_++];
    ++spot_.column;
  }
  return cell;
}

Cell CsvRows::cell() {
  while (!at_line_end() && text_[at_] == ' ') {
    ++at_;
    ++spot_.column;
  }
  if (!at_line_end() && text_[at_] == '"') return quoted_cell();
  Cell cell{"", spot_};
  const std::size_t begin = at_;
  while (!at_line_end() && text_[at_] != separator_) ++at_;
  const std::string_view whole = text_.substr(begin, at_ - begin);
  cell.text = std::string(trimmed(whole));
  for (const char c : whole)  // a column counts characters, not the bytes that continue one
    if ((static_cast<unsigned char>(c) & 0xC0) != 0x80) ++spot_.column;
  return cell;
}

bool CsvRows::next(Row& row) {
  do {
    if (at_ >= text_.size()) return false;
    row.clear();
    while (true) {
      row.push_back(cell());
      if (at_line_end()) break;
      ++at_;  // the separator
      ++spot_.column;
    }
    skip_line_end();
  } while (std::ranges::all_of(row, [](const Cell& it) { return it.text.empty(); }));
  return true;
}

}  // namespace vialwright::line
