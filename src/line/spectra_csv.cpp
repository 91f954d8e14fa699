#include "line/spectra_csv.hpp"

#include <algorithm>

#include "line/recipes_csv_rows.hpp"
#include "line/toml_reader.hpp"
#include "line/toml_syntax.hpp"

namespace vialwright::line {
namespace {

constexpr std::size_t longest_line = 8u << 10;
constexpr std::string_view wavelengths = "nm";

/// Remarks become empty lines, so that what follows keeps its line numbers.
void blank_remarks(std::string& text) {
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    if (text[from] == '#')
      std::fill(text.begin() + static_cast<std::ptrdiff_t>(from),
                text.begin() + static_cast<std::ptrdiff_t>(end), ' ');
    from = end + 1;
  }
}

std::vector<NamedSpectrum> read_head(const Row& head, Findings& findings) {
  std::vector<NamedSpectrum> columns;
  if (head.front().text != wavelengths)
    findings.add_at(
        head.front().spot, "",
        "the first column is '" + head.front().text.substr(0, 64) + "', not the wavelengths",
        "begin the first row with nm, then a name a spectrum");
  for (std::size_t i = 1; i < head.size(); ++i) {
    const Cell& cell = head[i];
    if (!is_id(cell.text))
      findings.add_at(cell.spot, "", "'" + cell.text.substr(0, 64) + "' is no usable name",
                      std::string(id_rule));
    else if (std::ranges::find(columns, cell.text, &NamedSpectrum::name) != columns.end())
      findings.add_at(cell.spot, "", "column '" + cell.text + "' stands twice", "delete one");
    columns.push_back({cell.text, cell.spot, {}});
  }
  if (columns.empty())
    findings.add_at(head.front().spot, "", "the table has no spectrum", "add a column a spectrum");
  return columns;
}

std::optional<double> number_in(const Cell& cell, Findings& findings) {
  const auto value = quantity::parse_number(cell.text, "");
  if (value) return *value;
  findings.add_at(cell.spot, "", value.error().what, value.error().mend);
  return std::nullopt;
}

/// @returns the wavelength of the row. @param before  that of the row before, or 0.
double read_row(const Row& row, double before, std::vector<NamedSpectrum>& columns,
                Findings& findings) {
  const auto nm = number_in(row.front(), findings);
  if (nm && !(*nm > before))
    findings.add_at(
        row.front().spot, "",
        "wavelength " + row.front().text + " does not rise above " + quantity::shortest(before),
        "sort the rows so that each wavelength is longer than the one before");
  if (row.size() > columns.size() + 1)
    findings.add_at(row[columns.size() + 1].spot, "",
                    "the row has more cells than the first row has columns",
                    "write decimals with a point, and one value a column");
  for (std::size_t i = 0; i < columns.size() && i + 1 < row.size(); ++i) {
    const Cell& cell = row[i + 1];
    if (cell.text.empty()) continue;
    const auto value = number_in(cell, findings);
    if (!nm || !value) continue;
    columns[i].spectrum.nm.push_back(*nm);
    columns[i].spectrum.value.push_back(*value);
  }
  return nm.value_or(before);
}

}  // namespace

std::vector<NamedSpectrum> parse_spectra_csv(std::string text, Findings& findings) {
  check_bytes(text, longest_line, findings);
  if (!findings.none()) return {};
  blank_remarks(text);
  CsvRows rows(text);
  Row row;
  if (!rows.next(row)) {
    findings.add_at({}, "", "the table is empty", "begin with a row: nm, then a name a spectrum");
    return {};
  }
  std::vector<NamedSpectrum> columns = read_head(row, findings);
  double before = 0.0;
  while (findings.none() && rows.next(row) && !rows.unclosed())
    before = read_row(row, before, columns, findings);
  if (rows.unclosed())
    findings.add_at(row.empty() ? Spot{} : row.back().spot, "",
                    "a double quote is opened and never closed", "close it");
  return columns;
}

}  // namespace vialwright::line
