#include "line/line_file.hpp"

#include <algorithm>
#include <filesystem>

#include "line/line_file_findings.hpp"
#include "line/line_file_keys.hpp"
#include "line/line_file_raw.hpp"
#include "line/toml_file.hpp"
#include "line/toml_syntax.hpp"

namespace vialwright::line {
namespace {

constexpr std::size_t largest_file = 2u << 20;  // a line has tens of things; ours is 20 KiB
constexpr std::size_t longest_line = 8u << 10;

template <class... Cases>
struct Overloaded : Cases... {
  using Cases::operator()...;
};
template <class... Cases>
Overloaded(Cases...) -> Overloaded<Cases...>;

/// The unit of an amount; "" where it hangs on a kind that measures no amount.
template <class T>
std::string unit_for(std::string_view unit, const T& thing) {
  if constexpr (std::is_same_v<T, RawInstrument>) {
    const std::string base(plant::unit_of(thing.kind));
    if (unit == unit_of_readings)
      return thing.kind == plant::InstrumentKind::colour_gauge ? "1" : base;
    if (unit.starts_with(unit_of_kind))
      return base.empty() ? "" : base + std::string(unit.substr(1));
  }
  return std::string(unit);
}

/// A level gauge has mm/s as the unit of its zero rate, which no meter reads and UCUM calls a
/// speed; only meters count over time.
template <class T>
bool has_no_such_amount(const Key<T>& key, const T& thing) {
  if constexpr (std::is_same_v<T, RawInstrument>) {
    if (key.of_colour_gauge && thing.kind != plant::InstrumentKind::colour_gauge) return true;
  }
  if (!key.unit.starts_with(unit_of_kind)) return false;
  const std::string unit = unit_for(key.unit, thing);
  return unit.empty() || unit == "mm/s";
}

template <class T>
void read_value(const Key<T>& key, const Given& given, T& thing, Findings& findings) {
  if (has_no_such_amount(key, thing)) {
    if constexpr (std::is_same_v<T, RawInstrument>)
      findings.add(given.path,
                   "an instrument of kind " + std::string(plant::word(thing.kind)) + " has no " +
                       std::string(key.name),
                   "delete the key, or correct the kind");
    return;
  }
  const std::string unit = unit_for(key.unit, thing);
  const auto put = [](auto& field, const auto& value) {
    if (value) field = *value;
  };
  std::visit(
      Overloaded{
          [&](std::string T::*to) { put(thing.*to, read_text(given, findings)); },
          [&](std::vector<std::string> T::*to) { put(thing.*to, read_ids(given, findings)); },
          [&](bool T::*to) { put(thing.*to, read_yes_no(given, findings)); },
          [&](int T::*to) { put(thing.*to, read_count(given, findings)); },
          [&](std::optional<double> T::*to) { put(thing.*to, read_number(given, findings)); },
          [&](const Plain<T>& to) {
            if (const auto number = read_number(given, findings))
              thing.*to.value = *number * to.factor;
          },
          [&](const Measured<T>& to) {
            const auto amount = read_amount(given, unit, findings);
            if (!amount) return;
            if (amount->u != 0.0)
              findings.add(given.path, std::string(key.name) + " takes no uncertainty",
                           "write " + std::string(key.name) + " = " + std::string(key.example));
            thing.*to.value = amount->value;
          },
          [&](const Doubted<T>& to) {
            if (const auto amount = read_amount(given, unit, findings)) {
              thing.*to.value = amount->value;
              thing.*to.u = amount->u;
            }
          },
          [&](Special<T> read) { read(given, thing, findings); },
      },
      key.into);
}

template <class T>
std::vector<std::string_view> key_names(const Section<T>& section) {
  std::vector<std::string_view> names;
  for (const Key<T>& key : section.keys) names.push_back(key.name);
  return names;
}

std::string under(const std::string& path, std::string_view key) {
  std::string joined = path;
  joined += '.';
  return joined += key;
}

/// Reads in the order of the section's keys, not of the file: an instrument's kind comes first.
template <class T>
void read_thing(const Section<T>& section, const toml::table& table, const std::string& path,
                T& thing, Findings& findings) {
  for (const Key<T>& key : section.keys) {
    const std::string key_path = under(path, key.name);
    const toml::node* node = table.get(key.name);
    if (node == nullptr) continue;
    findings.put(key_path, spot_of(node->source()));
    if (findings.is_broken(path)) continue;
    read_value(key, Given{*node, key_path, key.example}, thing, findings);
  }
  for (const auto& [key, node] : in_file_order(table)) {
    const std::string name(key->str());
    const auto known = key_names(section);
    if (std::ranges::find(known, name) != known.end()) continue;
    const std::string key_path = under(path, name);
    findings.put(key_path, spot_of(key->source()));
    findings.add(key_path, "unknown key '" + name.substr(0, 64) + "'",
                 did_you_mean(name, known, "key"));
  }
}

template <class T>
void say_what_lacks(const Section<T>& section, const toml::table& table, const std::string& path,
                    Findings& findings) {
  if (findings.is_broken(path)) return;
  for (const Key<T>& key : section.keys)
    if (key.needed && table.get(key.name) == nullptr)
      findings.add(path + "." + std::string(key.name),
                   "the key " + std::string(key.name) + " is missing",
                   "write " + std::string(key.name) + " = " + std::string(key.example));
}

/// The file on its way in. `whole` is false after a slip of syntax: then nothing is missing for
/// sure.
struct Source {
  const toml::table& root;
  bool whole;
  Findings& findings;
};

template <class T>
void read_one(const Section<T>& section, const Source& source, T& into) {
  const std::string path(section.name);
  const toml::node* node = source.root.get(section.name);
  if (node == nullptr) {
    if (source.whole && !section.many) say_what_lacks(section, {}, path, source.findings);
    return;
  }
  source.findings.put(path, spot_of(node->source()));
  const toml::table* table =
      read_table(Given{*node, path, "[" + path + "] on a line of its own"}, source.findings);
  if (table == nullptr) return;
  read_thing(section, *table, path, into, source.findings);
  if (source.whole) say_what_lacks(section, *table, path, source.findings);
}

template <class T>
T read_entry(const Section<T>& section, const toml::key& key, const toml::node& node,
             const Source& source) {
  T thing;
  thing.id = std::string(key.str());
  const std::string path = std::string(section.name) + "." + thing.id;
  source.findings.put(path, spot_of(key.source()));
  if (!is_id(thing.id))
    source.findings.add(path, "'" + thing.id.substr(0, 64) + "' is no usable id",
                        std::string(id_rule));
  const toml::table* table = node.as_table();
  if (table == nullptr) {
    source.findings.add(path, "'" + thing.id + "' is no table of keys",
                        "begin it with [" + path + "] on a line of its own");
    return thing;
  }
  read_thing(section, *table, path, thing, source.findings);
  if (source.whole) say_what_lacks(section, *table, path, source.findings);
  return thing;
}

template <class T>
void read_many(const Section<T>& section, const Source& source, std::vector<T>& into) {
  const std::string path(section.name);
  const toml::node* node = source.root.get(section.name);
  if (node == nullptr) return;
  source.findings.put(path, spot_of(node->source()));
  const toml::table* table = node->as_table();
  if (table == nullptr) {
    source.findings.add(path, path + " is not a table of things by id",
                        "begin each with its id, such as [" + path + ".one]");
    return;
  }
  for (const auto& [key, entry] : in_file_order(*table))
    into.push_back(read_entry(section, *key, *entry, source));
}

RawFile read_sections(const Source& source) {
  RawFile raw;
  read_one(head_section(), source, raw.head);
  read_many(component_section(), source, raw.components);
  read_many(stock_section(), source, raw.stocks);
  read_many(lot_section(), source, raw.lots);
  read_one(compatibility_section(), source, raw.meetings);
  read_many(instrument_section(), source, raw.instruments);
  read_many(tank_section(), source, raw.plant.tanks);
  read_many(station_section(), source, raw.plant.stations);
  read_many(container_section(), source, raw.plant.containers);
  read_one(risks_section(), source, raw.plant.risks);
  read_one(prices_section(), source, raw.plant.prices);
  read_one(holding_section(), source, raw.plant.holding);
  read_many(recipe_section(), source, raw.recipes);
  return raw;
}

void check_sections(const Source& source) {
  std::vector<std::string_view> known;
  for_each_section([&known](const auto& section) { known.push_back(section.name); });
  for (const auto& [key, node] : in_file_order(source.root)) {
    const std::string name(key->str());
    if (std::ranges::find(known, name) != known.end()) continue;
    source.findings.put(name, spot_of(key->source()));
    source.findings.add(name, "unknown section '" + name.substr(0, 64) + "'",
                        did_you_mean(name, known, "section"));
  }
}

/// A column that nothing uses is most likely a slip of its name.
void check_columns(const std::vector<NamedSpectrum>& spectra, const RawFile& raw,
                   Findings& findings) {
  if (!findings.none()) return;
  std::vector<std::string_view> known = ids_of(raw.components);
  for (const RawInstrument& it : raw.instruments) {
    for (const std::string& name : it.channel_names) {
      // A channel that names no column is told where it stands, and it may have meant any.
      if (std::ranges::find(spectra, name, &NamedSpectrum::name) == spectra.end()) return;
      known.emplace_back(name);
    }
  }
  for (const NamedSpectrum& it : spectra)
    if (std::ranges::find(known, it.name) == known.end())
      findings.add_at(it.spot, "",
                      "column '" + it.name + "' is no component, nor the channel of a camera",
                      did_you_mean(it.name, known, "name"));
}

/// The table of spectra that the line names; nothing where it cannot be used. Its problems stand in
/// another file, so they have findings of their own.
std::optional<std::vector<NamedSpectrum>> spectra_of(const RawFile& raw,
                                                     const std::string& line_path,
                                                     Findings& findings, Problems& in_the_table) {
  if (raw.head.spectra.empty()) return std::vector<NamedSpectrum>();
  const std::string path =
      (std::filesystem::path(line_path).parent_path() / raw.head.spectra).string();
  auto text = whole_file(path, largest_file);
  if (!text) {
    findings.add("line.spectra", text.error().what + ": " + path, text.error().mend);
    return std::nullopt;
  }
  Findings of_table(path);
  auto spectra = parse_spectra_csv(std::move(*text), of_table);
  check_columns(spectra, raw, of_table);
  in_the_table = of_table.in_order();
  if (!in_the_table.empty()) return std::nullopt;
  return spectra;
}

Problems all_of(Findings& findings, const Problems& more) {
  Problems all = findings.in_order();
  all.insert(all.end(), more.begin(), more.end());
  return all;
}

}  // namespace

Checked<LineFile> parse_line_file(std::string_view toml, const std::string& path) {
  Findings findings(path);
  check_bytes(toml, longest_line, findings);
  if (!findings.none()) return tl::unexpected(findings.in_order());
  const toml::table root = parse_toml(toml, findings);
  const Source source{root, findings.none(), findings};
  check_sections(source);
  RawFile raw = read_sections(source);
  if (!source.whole) return tl::unexpected(findings.in_order());
  Problems in_the_table;
  const auto spectra = spectra_of(raw, path, findings, in_the_table);
  LineFile line = resolved(std::move(raw), spectra ? &*spectra : nullptr, findings);
  // Without its spectra a line has problems that would go away with those of the table.
  if (spectra) findings.take(problems(line));
  if (!findings.none() || !in_the_table.empty())
    return tl::unexpected(all_of(findings, in_the_table));
  return line;
}

Checked<LineFile> read_line_file(const std::string& path) {
  const auto text = whole_file(path, largest_file);
  if (!text) return tl::unexpected(Problems{text.error()});
  return parse_line_file(*text, path);
}

}  // namespace vialwright::line
