/// The one table of the line file's keys. The reader, the check for unknown keys and the reference
/// in docs/formats.md are derived from it. Private to the line file.
#pragma once

#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "line/line_file_raw.hpp"
#include "line/toml_reader.hpp"

namespace vialwright::line {

/// A number without unit, times a factor: a probability, a price.
template <class T>
struct Plain {
  double T::*value;
  double factor = 1.0;
};
/// An amount in the key's unit, without or with its standard uncertainty.
template <class T>
struct Measured {
  double T::*value;
};
template <class T>
struct Doubted {
  double T::*value, T::*u;
};
/// Anything else. @returns nothing; says what is wrong to the findings.
template <class T>
using Special = void (*)(const Given&, T&, Findings&);

/// Where the value goes says how it is read.
template <class T>
using Into =
    std::variant<std::string T::*, std::vector<std::string> T::*, bool T::*, int T::*,
                 std::optional<double> T::*, Plain<T>, Measured<T>, Doubted<T>, Special<T>>;

/// Stands for g, mL or mm, as the instrument's kind says.
inline constexpr std::string_view unit_of_kind = "*";
/// The same, and for what a colour gauge gives, which has no unit.
inline constexpr std::string_view unit_of_readings = "*1";

template <class T>
struct Key {
  std::string_view name;
  Into<T> into;
  std::string_view unit;  ///< UCUM code of an amount; else ""
  bool needed;
  std::string_view written;      ///< for people: "id of a tank"; empty = said by `into` and `unit`
  std::string_view example;      ///< a right value as TOML
  std::string_view meaning;      ///< one sentence for the reference
  bool of_colour_gauge = false;  ///< no other kind of instrument has it
};

/// A table of the file: one thing each (`[instrument.bench]`), or the only one (`[risks]`).
template <class T>
struct Section {
  std::string_view name;
  bool many;
  std::string_view meaning;
  std::vector<Key<T>> keys;
};

[[nodiscard]] const Section<Head>& head_section();
[[nodiscard]] const Section<recipe::Component>& component_section();
[[nodiscard]] const Section<recipe::Stock>& stock_section();
[[nodiscard]] const Section<RawLot>& lot_section();
[[nodiscard]] const Section<RawMeetings>& compatibility_section();
[[nodiscard]] const Section<RawInstrument>& instrument_section();
[[nodiscard]] const Section<plant::Tank>& tank_section();
[[nodiscard]] const Section<plant::Station>& station_section();
[[nodiscard]] const Section<plant::Container>& container_section();
[[nodiscard]] const Section<plant::Risks>& risks_section();
[[nodiscard]] const Section<plant::Prices>& prices_section();
[[nodiscard]] const Section<plant::HoldPlaces>& holding_section();
[[nodiscard]] const Section<RawRecipe>& recipe_section();

/// Calls f with every section, in the order of the reference.
template <class F>
void for_each_section(const F& f) {
  f(head_section());
  f(component_section());
  f(stock_section());
  f(lot_section());
  f(compatibility_section());
  f(instrument_section());
  f(tank_section());
  f(station_section());
  f(container_section());
  f(risks_section());
  f(prices_section());
  f(holding_section());
  f(recipe_section());
}

// The values that need more than one line to read.
void read_kind(const Given& given, RawInstrument& into, Findings& findings);
void read_calibration_age(const Given& given, RawInstrument& into, Findings& findings);
void read_gives(const Given& given, RawInstrument& into, Findings& findings);
void read_bands(const Given& given, RawInstrument& into, Findings& findings);
void read_shows(const Given& given, RawInstrument& into, Findings& findings);
void read_illuminant(const Given& given, RawInstrument& into, Findings& findings);
void read_observer(const Given& given, RawInstrument& into, Findings& findings);
void read_strengths(const Given& given, RawLot& into, Findings& findings);
void read_expiry(const Given& given, RawLot& into, Findings& findings);
void read_meetings(const Given& given, RawMeetings& into, Findings& findings);
void read_colours(const Given& given, RawRecipe& into, Findings& findings);
template <recipe::ToleranceOn on>
void read_lines(const Given& given, RawRecipe& into, Findings& findings);

/// The reference of all keys as Markdown, as docs/formats.md must show it.
[[nodiscard]] std::string key_reference();

}  // namespace vialwright::line
