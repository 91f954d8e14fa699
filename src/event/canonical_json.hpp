/// RFC 8785 (JSON Canonicalization Scheme): one byte sequence for one JSON value.
#pragma once

#include <string>
#include <string_view>

#include "event/json_tree.hpp"

namespace vialwright::event {

/// Appends a number as ECMAScript prints it (RFC 8785 section 3.2.2.3). @pre finite.
void append_number(std::string& out, double value);

/// Appends a text in quotes, with only the escapes that RFC 8785 section 3.2.2.2 wants.
void append_text(std::string& out, std::string_view text);

/// Appends the canonical form of the value at `at`.
/// @returns the duplicate key, if there is one; `out` is of no use then.
[[nodiscard]] Result<void> append_canonical(std::string& out, const JsonTree& tree, std::size_t at,
                                            std::string_view where);

}  // namespace vialwright::event
