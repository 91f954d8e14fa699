/// TOML values to plain values, each problem put in its place. Private to the line file.
#pragma once

#include <toml++/toml.h>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "line/line_file_amount.hpp"
#include "line/line_file_findings.hpp"

namespace vialwright::line {

[[nodiscard]] Spot spot_of(const toml::source_region& region);

/// One value on its way into the line: what it is, where it stands, what would be right.
struct Given {
  const toml::node& node;
  std::string path;
  std::string_view example;  ///< a right value as TOML
};

// Each returns nothing where the value does not fit, after saying so to the findings.
[[nodiscard]] std::optional<std::string> read_text(const Given& given, Findings& findings);
[[nodiscard]] std::optional<std::string> read_id(const Given& given, Findings& findings);
[[nodiscard]] std::optional<std::vector<std::string>> read_ids(const Given& given,
                                                               Findings& findings);
[[nodiscard]] std::optional<bool> read_yes_no(const Given& given, Findings& findings);
[[nodiscard]] std::optional<int> read_count(const Given& given, Findings& findings);
[[nodiscard]] std::optional<double> read_number(const Given& given, Findings& findings);
[[nodiscard]] std::optional<Amount> read_amount(const Given& given, std::string_view unit,
                                                Findings& findings);
[[nodiscard]] std::optional<recipe::Limits> read_limits(const Given& given, std::string_view unit,
                                                        Findings& findings);
[[nodiscard]] std::optional<quantity::Instant> read_moment(const Given& given, Findings& findings);
[[nodiscard]] const toml::table* read_table(const Given& given, Findings& findings);

/// Letters, digits and any other UTF-8, but no spaces, control characters or , ; " ' / \ |.
[[nodiscard]] bool is_id(std::string_view text);
inline constexpr std::string_view id_rule =
    "use letters, digits, '-', '_' and '.', at most 64 bytes, without spaces";

/// The entries of a table in the order of the file (the library sorts them by name).
[[nodiscard]] std::vector<std::pair<const toml::key*, const toml::node*>> in_file_order(
    const toml::table& table);

}  // namespace vialwright::line
