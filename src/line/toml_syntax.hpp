/// TOML text to a tree, with every slip of syntax in one run. Private to the line file.
#pragma once

#include <toml++/toml.h>
#include <string_view>

#include "line/line_file_findings.hpp"

namespace vialwright::line {

/// Checks bytes that no text file may hold: NUL, bad UTF-8, lines over 8 KiB (which would let a key
/// nest thousands deep). Says what it finds, at most one of each. Source: TOML 1.0.0, "Spec";
/// RFC 3629 for UTF-8.
void check_bytes(std::string_view text, std::size_t longest_line, Findings& findings);

/// Parses as much as can be parsed: a line that breaks the syntax is reported, blanked and the rest
/// read again. With a finding the tree is partial: what it lacks may stand in a blanked line.
[[nodiscard]] toml::table parse_toml(std::string_view text, Findings& findings);

}  // namespace vialwright::line
