// Recipes from a table: one row a tolerance line. What belongs to the recipe as a whole stands in
// its first row and may be left out or repeated in the others.
#include <algorithm>
#include <array>
#include <map>

#include "line/line_file.hpp"
#include "line/line_file_amount.hpp"
#include "line/line_file_findings.hpp"
#include "line/line_file_raw.hpp"
#include "line/recipes_csv_rows.hpp"
#include "line/toml_file.hpp"
#include "line/toml_reader.hpp"
#include "line/toml_syntax.hpp"

namespace vialwright::line {
namespace {

constexpr std::size_t largest_file = 32u << 20;
constexpr std::size_t longest_line = 64u << 10;

enum Column : std::size_t {
  c_recipe,
  c_name,
  c_version,
  c_container,
  c_stocks,
  c_value,
  c_consumer_risk,
  c_on,
  c_of,
  c_low,
  c_target,
  c_high,
  c_within,
  c_unit,
  c_count,
};
struct ColumnName {
  std::string_view name;
  bool needed;
};
constexpr std::array<ColumnName, c_count> columns{{
    {"recipe", true},
    {"name", false},
    {"version", false},
    {"container", true},
    {"stocks", true},
    {"value", false},
    {"consumer_risk", false},
    {"on", true},
    {"of", true},
    {"low", false},
    {"target", false},
    {"high", false},
    {"within", false},
    {"unit", true},
}};

/// One row by the names of its columns.
class Named {
 public:
  Named(const Row& row, const std::array<int, c_count>& index) : row_(row), index_(index) {}
  [[nodiscard]] const std::string& text(Column column) const {
    static const std::string none;
    const Cell* cell = at(column);
    return cell == nullptr ? none : cell->text;
  }
  /// Of the cell, or of the row where the column is not there.
  [[nodiscard]] Spot spot(Column column) const {
    const Cell* cell = at(column);
    return cell == nullptr ? row_.front().spot : cell->spot;
  }
  [[nodiscard]] Spot spot() const { return {row_.front().spot.line, 1}; }

 private:
  [[nodiscard]] const Cell* at(Column column) const {
    const int index = index_[column];
    return index < 0 || index >= static_cast<int>(row_.size())
               ? nullptr
               : &row_[static_cast<std::size_t>(index)];
  }
  const Row& row_;
  const std::array<int, c_count>& index_;
};

/// What the rows said so far; recipes in the order of the table.
struct Table {
  std::vector<RawRecipe> recipes;
  std::map<std::string, std::size_t, std::less<>> index;
};

class Reader {
 public:
  explicit Reader(const std::string& path) : findings(path) {}

  bool read_head(const Row& row);
  void read_row(const Row& row, Table& table);

  Findings findings;

 private:
  void wrong(const Named& row, Column column, std::string what, std::string mend);
  void pass_on(const Named& row, Column column, const Error& error);
  std::optional<double> number(const Named& row, Column column);
  RawRecipe* recipe_of(const Named& row, Table& table);
  void begin_recipe(const Named& row, RawRecipe& into);
  void same(const Named& row, Column column, const std::string& before, const std::string& recipe);
  void read_line(const Named& row, RawRecipe& into);
  std::optional<double> limit(const Named& row, Column column, std::string_view unit);
  std::optional<recipe::Limits> limits(const Named& row, std::string_view unit);
  std::optional<recipe::Limits> limits_within(const Named& row, std::string_view unit);

  std::array<int, c_count> index_{};
  std::map<std::string, std::array<std::string, c_count>, std::less<>> first_;
  bool sound_ = true;  ///< of the row in hand
};

void Reader::wrong(const Named& row, Column column, std::string what, std::string mend) {
  sound_ = false;
  findings.add_at(row.spot(column), "column " + std::string(columns[column].name), std::move(what),
                  std::move(mend));
}

void Reader::pass_on(const Named& row, Column column, const Error& error) {
  wrong(row, column, error.what, error.mend);
}

bool Reader::read_head(const Row& row) {
  index_.fill(-1);
  std::vector<std::string_view> names;
  for (const ColumnName& column : columns) names.push_back(column.name);
  for (std::size_t i = 0; i < row.size(); ++i) {
    const Cell& cell = row[i];
    const auto found = std::ranges::find(names, cell.text);
    if (found == names.end()) {
      findings.add_at(cell.spot, "", "unknown column '" + cell.text.substr(0, 64) + "'",
                      did_you_mean(cell.text, names, "column"));
      continue;
    }
    int& at = index_[static_cast<std::size_t>(found - names.begin())];
    if (at >= 0)
      findings.add_at(cell.spot, "", "column '" + cell.text + "' stands twice", "delete one");
    at = static_cast<int>(i);
  }
  for (std::size_t c = 0; c < c_count; ++c)
    if (columns[c].needed && index_[c] < 0)
      findings.add_at(row.front().spot, "",
                      "column '" + std::string(columns[c].name) + "' is missing",
                      "add it to the first row");
  return findings.none();
}

std::optional<double> Reader::number(const Named& row, Column column) {
  if (row.text(column).empty()) return std::nullopt;
  const auto value = quantity::parse_number(row.text(column), "");
  if (value) return *value;
  pass_on(row, column, value.error());
  return std::nullopt;
}

void Reader::begin_recipe(const Named& row, RawRecipe& into) {
  const std::string path = "recipe." + into.id;
  findings.put(path, row.spot());
  for (const Column column : {c_version, c_container, c_stocks, c_value, c_consumer_risk})
    findings.put(path + "." + std::string(columns[column].name), row.spot(column));
  into.name = row.text(c_name);
  into.container = row.text(c_container);
  if (const auto version = number(row, c_version)) {
    if (*version >= 1.0 && *version <= 1e9 && *version == static_cast<int>(*version))
      into.version = static_cast<int>(*version);
    else
      wrong(row, c_version, "version '" + row.text(c_version) + "' is no whole number from 1",
            "count versions from 1");
  }
  into.consumer_risk = number(row, c_consumer_risk);
  into.value = number(row, c_value).value_or(0.0);
  const std::string& list = row.text(c_stocks);
  for (std::size_t at = 0; at < list.size();) {
    const auto end = std::min(list.find(' ', at), list.size());
    if (end > at) into.stocks.push_back(list.substr(at, end - at));
    at = end + 1;
  }
}

void Reader::same(const Named& row, Column column, const std::string& before,
                  const std::string& recipe) {
  if (row.text(column).empty() || row.text(column) == before) return;
  wrong(row, column,
        "'" + row.text(column) + "' differs from '" + before + "' in the first row of recipe '" +
            recipe + "'",
        "leave it empty or repeat it; another version goes into another table");
}

/// The row's recipe, begun when it is new; nullptr when it has no usable id.
RawRecipe* Reader::recipe_of(const Named& row, Table& table) {
  constexpr std::array whole{c_name, c_version, c_container, c_stocks, c_value, c_consumer_risk};
  const std::string& id = row.text(c_recipe);
  if (!is_id(id)) {
    wrong(row, c_recipe, "'" + id.substr(0, 64) + "' is no usable id", std::string(id_rule));
    return nullptr;
  }
  const auto [entry, is_new] = table.index.try_emplace(id, table.recipes.size());
  if (is_new) {
    table.recipes.push_back({});
    table.recipes.back().id = id;
    auto& cells = first_[id];
    for (const Column column : whole) cells[column] = row.text(column);
    begin_recipe(row, table.recipes.back());
  } else {
    const auto& cells = first_.find(id)->second;
    for (const Column column : whole) same(row, column, cells[column], id);
  }
  return &table.recipes[entry->second];
}

std::optional<double> Reader::limit(const Named& row, Column column, std::string_view unit) {
  const auto written = number(row, column);
  if (!written) return std::nullopt;
  const auto converted = quantity::convert(*written, row.text(c_unit), unit, "");
  if (converted) return *converted;
  pass_on(row, c_unit, converted.error());
  return std::nullopt;
}

std::optional<recipe::Limits> Reader::limits_within(const Named& row, std::string_view unit) {
  if (row.text(c_target).empty() || !row.text(c_low).empty() || !row.text(c_high).empty()) {
    wrong(row, c_within, "within stands beside a target, and not beside low or high",
          "give target and within, or low and high");
    return std::nullopt;
  }
  if (!number(row, c_target)) return std::nullopt;
  std::string width = row.text(c_within);
  if (quantity::parse_number(width, "")) width += " " + row.text(c_unit);
  const auto read =
      read_limits(row.text(c_target) + " " + row.text(c_unit) + " \u00b1 " + width, unit, "");
  if (read) return *read;
  pass_on(row, c_within, read.error());
  return std::nullopt;
}

std::optional<recipe::Limits> Reader::limits(const Named& row, std::string_view unit) {
  // Once for the unit, so that a wrong one is said once and not for every limit.
  if (const auto known = quantity::convert(1.0, row.text(c_unit), unit, ""); !known) {
    pass_on(row, c_unit, known.error());
    return std::nullopt;
  }
  if (!row.text(c_within).empty()) return limits_within(row, unit);
  recipe::Limits read;
  read.low = limit(row, c_low, unit);
  read.target = limit(row, c_target, unit);
  read.high = limit(row, c_high, unit);
  return read;
}

void Reader::read_line(const Named& row, RawRecipe& into) {
  const auto on = recipe::tolerance_on(row.text(c_on));
  if (!on) {
    wrong(row, c_on, "'" + row.text(c_on).substr(0, 64) + "' is nothing that a line can be on",
          did_you_mean(
              row.text(c_on),
              {"content", "concentration", "component_mass", "stock_mass", "net_mass", "volume"},
              "word"));
    return;
  }
  const bool whole = recipe::subject_of(*on) == recipe::Subject::whole;
  if (whole != row.text(c_of).empty()) {
    wrong(row, c_of,
          whole ? "a line on " + row.text(c_on) + " is of the whole vial, not of '" +
                      row.text(c_of) + "'"
                : "the line does not say what it is of",
          whole ? "leave the cell empty" : "name a component, or a stock for stock_mass");
    return;
  }
  const auto read = limits(row, recipe::unit_of(*on));
  if (!read) return;
  const std::string key = row.text(c_on) + (whole ? "" : "." + row.text(c_of));
  RawLine line{*on, row.text(c_of), "recipe." + into.id + "." + key, *read};
  findings.put(line.path, row.spot(c_on));
  into.lines.push_back(std::move(line));
}

void Reader::read_row(const Row& row, Table& table) {
  sound_ = true;
  const Named named(row, index_);
  if (row.size() > static_cast<std::size_t>(*std::ranges::max_element(index_)) + 1) {
    sound_ = false;
    const Cell& extra = row[static_cast<std::size_t>(*std::ranges::max_element(index_)) + 1];
    findings.add_at(extra.spot, "", "the row has more cells than the first row has columns",
                    "put a text that holds the separator in double quotes; write decimals with a "
                    "point");
  }
  RawRecipe* recipe = recipe_of(named, table);
  if (recipe == nullptr) return;
  if (sound_) read_line(named, *recipe);
  if (!sound_) findings.broken("recipe." + recipe->id);
}

Checked<std::vector<recipe::Recipe>> judged(const Table& table, Reader& reader,
                                            const LineFile& line) {
  std::vector<recipe::Recipe> recipes;
  for (const RawRecipe& raw : table.recipes) {
    recipes.push_back(resolved(raw, line.book, reader.findings));
    reader.findings.take(problems(recipes.back(), line));
  }
  if (!reader.findings.none()) return tl::unexpected(reader.findings.in_order());
  return recipes;
}

}  // namespace

Checked<std::vector<recipe::Recipe>> parse_recipes_csv(std::string_view text,
                                                       const std::string& path,
                                                       const LineFile& line) {
  Reader reader(path);
  check_bytes(text, longest_line, reader.findings);
  if (!reader.findings.none()) return tl::unexpected(reader.findings.in_order());
  CsvRows rows(text);
  Row row;
  Table table;
  if (!rows.next(row))
    reader.findings.add_at({}, "", "the table is empty",
                           "begin with a row of column names (docs/formats.md)");
  else if (reader.read_head(row))
    while (!reader.findings.full() && rows.next(row) && !rows.unclosed())
      reader.read_row(row, table);
  if (rows.unclosed())
    reader.findings.add_at(row.empty() ? Spot{} : row.back().spot, "",
                           "a double quote is opened and never closed", "close it");
  if (reader.findings.none() && table.recipes.empty())
    reader.findings.add_at({}, "", "the table has no recipe", "add a row a tolerance line");
  return judged(table, reader, line);
}

Checked<std::vector<recipe::Recipe>> read_recipes_csv(const std::string& path,
                                                      const LineFile& line) {
  const auto text = whole_file(path, largest_file);
  if (!text) return tl::unexpected(Problems{text.error()});
  return parse_recipes_csv(*text, path, line);
}

}  // namespace vialwright::line
