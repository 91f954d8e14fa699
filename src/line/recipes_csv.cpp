// Recipes from a table: one row a tolerance line. What belongs to the recipe as a whole stands in
// its first row and may be left out or repeated in the others.
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <utility>

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

constexpr std::size_t largest_file = 16u << 20;  // with most_recipes: read in under 300 MiB
constexpr std::size_t longest_line = 64u << 10;
constexpr std::size_t most_recipes = 200'000;

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
  c_illuminant,
  c_observer,
  c_path,
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
    {"illuminant", false},
    {"observer", false},
    {"path", false},
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

/// The columns that belong to a recipe and not to a row.
constexpr std::array whole{c_name, c_version, c_container, c_stocks, c_value, c_consumer_risk};

/// A recipe as its rows say, and where. Places are kept as numbers: as text they would outweigh the
/// table.
struct TableRecipe {
  RawRecipe raw;
  Spot spot;
  std::array<Spot, whole.size()> spots;
  std::array<std::string, whole.size()> texts;  ///< of its first row
  std::vector<Spot> lines;                      ///< beside raw.lines
  bool sound = true;                            ///< every row of it was read
};

/// What the rows said so far; recipes in the order of the table.
struct Table {
  std::vector<TableRecipe> recipes;
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
  TableRecipe* recipe_of(const Named& row, Table& table);
  void begin_recipe(const Named& row, TableRecipe& into);
  void same(const Named& row, Column column, const std::string& before, const std::string& recipe);
  void read_line(const Named& row, TableRecipe& into);
  void read_colour(const Named& row, TableRecipe& into);
  std::optional<colour::Lab> lab_in(const Named& row);
  bool refuses(const Named& row, std::initializer_list<Column> unwanted, const std::string& why);
  std::optional<double> limit(const Named& row, Column column, std::string_view unit);
  std::optional<recipe::Limits> limits(const Named& row, std::string_view unit);
  std::optional<recipe::Limits> limits_within(const Named& row, std::string_view unit);

  std::array<int, c_count> index_{};
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
  names.reserve(columns.size());
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

std::vector<std::string> words_of(const std::string& list) {
  std::vector<std::string> words;
  for (std::size_t at = 0; at < list.size();) {
    const auto end = std::min(list.find(' ', at), list.size());
    if (end > at) words.push_back(list.substr(at, end - at));
    at = end + 1;
  }
  return words;
}

void Reader::begin_recipe(const Named& row, TableRecipe& into) {
  into.spot = row.spot();
  for (std::size_t i = 0; i < whole.size(); ++i) {
    into.spots[i] = row.spot(whole[i]);
    into.texts[i] = row.text(whole[i]);
  }
  RawRecipe& raw = into.raw;
  raw.name = row.text(c_name);
  raw.container = row.text(c_container);
  raw.stocks = words_of(row.text(c_stocks));
  raw.consumer_risk = number(row, c_consumer_risk);
  raw.value = number(row, c_value).value_or(0.0);
  const auto version = number(row, c_version);
  if (!version) return;
  if (*version >= 1.0 && *version <= 1e9 && *version == std::floor(*version))
    raw.version = static_cast<int>(*version);
  else
    wrong(row, c_version, "version '" + row.text(c_version) + "' is no whole number from 1",
          "count versions from 1");
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
TableRecipe* Reader::recipe_of(const Named& row, Table& table) {
  const std::string& id = row.text(c_recipe);
  if (!is_id(id)) {
    wrong(row, c_recipe, "'" + id.substr(0, 64) + "' is no usable id", std::string(id_rule));
    return nullptr;
  }
  if (table.recipes.size() >= most_recipes && !table.index.contains(id)) {
    wrong(row, c_recipe, "the table holds more than " + std::to_string(most_recipes) + " recipes",
          "split it");
    return nullptr;
  }
  const auto [entry, is_new] = table.index.try_emplace(id, table.recipes.size());
  if (is_new) {
    table.recipes.emplace_back();
    table.recipes.back().raw.id = id;
    begin_recipe(row, table.recipes.back());
  }
  TableRecipe& recipe = table.recipes[entry->second];
  if (!is_new)
    for (std::size_t i = 0; i < whole.size(); ++i) same(row, whole[i], recipe.texts[i], id);
  return &recipe;
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

/// @returns whether one of the cells that must be empty is not.
bool Reader::refuses(const Named& row, std::initializer_list<Column> unwanted,
                     const std::string& why) {
  for (const Column column : unwanted) {
    if (row.text(column).empty()) continue;
    wrong(row, column, std::string(columns[column].name) + " " + why, "leave the cell empty");
    return true;
  }
  return false;
}

std::optional<colour::Lab> Reader::lab_in(const Named& row) {
  std::array<double, 3> axes{};
  const auto words = words_of(row.text(c_target));
  bool sound = words.size() == axes.size();
  for (std::size_t i = 0; sound && i < axes.size(); ++i) {
    const auto axis = quantity::parse_number(words[i], "");
    sound = axis.has_value();
    if (sound) axes[i] = *axis;
  }
  if (sound) return colour::Lab{axes[0], axes[1], axes[2]};
  wrong(row, c_target, "'" + row.text(c_target).substr(0, 64) + "' is no colour",
        "write L*, a* and b* with spaces between, such as 86.9 -56.7 50.8");
  return std::nullopt;
}

/// A line on colour: target holds L*, a*, b*, high the limit.
void Reader::read_colour(const Named& row, TableRecipe& into) {
  if (refuses(row, {c_of, c_low, c_within}, "does not belong to a line on colour")) return;
  if (!row.text(c_unit).empty() && row.text(c_unit) != "1")
    wrong(row, c_unit, "a colour difference has no unit '" + row.text(c_unit) + "'",
          "write 1, or leave the cell empty");
  recipe::ColourTarget wanted;
  const auto lab = lab_in(row);
  if (lab) wanted.lab = *lab;
  const auto limit = number(row, c_high);
  if (row.text(c_high).empty())
    wrong(row, c_high, "the colour has no limit",
          "give the largest CIEDE2000 difference under high");
  const auto path = read_amount(row.text(c_path), "cm", "");
  if (path) wanted.path_cm = path->value;
  if (!path)
    wrong(row, c_path, "'" + row.text(c_path).substr(0, 64) + "' is no thickness of a layer",
          "write the path that the colour is meant for, such as 2 cm");
  if (!row.text(c_illuminant).empty()) {
    if (const auto illuminant = colour::illuminant(row.text(c_illuminant)))
      wanted.illuminant = *illuminant;
    else
      wrong(row, c_illuminant, "'" + row.text(c_illuminant).substr(0, 64) + "' is no illuminant",
            did_you_mean(row.text(c_illuminant), {"A", "D50", "D65"}, "word"));
  }
  if (!row.text(c_observer).empty()) {
    if (const auto observer = colour::observer(row.text(c_observer)))
      wanted.observer = *observer;
    else
      wrong(row, c_observer, "'" + row.text(c_observer).substr(0, 64) + "' is no observer",
            did_you_mean(row.text(c_observer), {"2", "10"}, "word"));
  }
  if (!sound_ || !limit) return;
  add_colour(into.raw, wanted, *limit);
  into.lines.push_back(row.spot(c_on));
}

void Reader::read_line(const Named& row, TableRecipe& into) {
  const auto on = recipe::tolerance_on(row.text(c_on));
  if (!on) {
    wrong(row, c_on, "'" + row.text(c_on).substr(0, 64) + "' is nothing that a line can be on",
          did_you_mean(row.text(c_on),
                       {"content", "concentration", "component_mass", "stock_mass", "net_mass",
                        "volume", "colour"},
                       "word"));
    return;
  }
  if (*on == recipe::ToleranceOn::colour) return read_colour(row, into);
  if (refuses(row, {c_illuminant, c_observer, c_path}, "belongs to a line on colour")) return;
  const bool on_whole = recipe::subject_of(*on) == recipe::Subject::whole;
  if (on_whole != row.text(c_of).empty()) {
    wrong(row, c_of,
          on_whole ? "a line on " + row.text(c_on) + " is of the whole vial, not of '" +
                         row.text(c_of) + "'"
                   : "the line does not say what it is of",
          on_whole ? "leave the cell empty" : "name a component, or a stock for stock_mass");
    return;
  }
  const auto read = limits(row, recipe::unit_of(*on));
  if (!read) return;
  into.raw.lines.push_back({*on, row.text(c_of), "", *read, -1});
  into.lines.push_back(row.spot(c_on));
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
  TableRecipe* recipe = recipe_of(named, table);
  if (recipe == nullptr) return;
  if (sound_) read_line(named, *recipe);
  recipe->sound = recipe->sound && sound_;
}

/// Tells the findings where a recipe stands, and the lines their paths.
void place(TableRecipe& recipe, Findings& findings) {
  const std::string path = "recipe." + recipe.raw.id;
  findings.put(path, recipe.spot);
  for (std::size_t i = 0; i < whole.size(); ++i)
    findings.put(path + "." + std::string(columns[whole[i]].name), recipe.spots[i]);
  for (std::size_t i = 0; i < recipe.raw.lines.size(); ++i) {
    RawLine& line = recipe.raw.lines[i];
    line.path = path + "." + std::string(recipe::word(line.on));
    if (!line.of.empty()) line.path += "." + line.of;
    if (line.colour > 0) line.path += "." + std::to_string(line.colour + 1);
    findings.put(line.path, recipe.lines[i]);
  }
}

Checked<std::vector<recipe::Recipe>> judged(Table table, Findings& findings, const LineFile& line) {
  table.index.clear();
  std::vector<recipe::Recipe> recipes;
  recipes.reserve(table.recipes.size());
  for (TableRecipe& it : table.recipes) {
    if (findings.overflowed()) break;
    findings.begin_anew();
    place(it, findings);
    if (!it.sound) findings.broken("recipe." + it.raw.id);
    recipes.push_back(resolved(it.raw, line.book, findings));
    findings.take(problems(recipes.back(), line));
    it = TableRecipe();  // a long table is not held twice
  }
  if (!findings.none()) return tl::unexpected(findings.in_order());
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
    while (!reader.findings.overflowed() && rows.next(row) && !rows.unclosed())
      reader.read_row(row, table);
  if (rows.unclosed())
    reader.findings.add_at(row.empty() ? Spot{} : row.back().spot, "",
                           "a double quote is opened and never closed", "close it");
  if (reader.findings.none() && table.recipes.empty())
    reader.findings.add_at({}, "", "the table has no recipe", "add a row a tolerance line");
  return judged(std::move(table), reader.findings, line);
}

Checked<std::vector<recipe::Recipe>> read_recipes_csv(const std::string& path,
                                                      const LineFile& line) {
  const auto text = whole_file(path, largest_file);
  if (!text) return tl::unexpected(Problems{text.error()});
  return parse_recipes_csv(*text, path, line);
}

}  // namespace vialwright::line
