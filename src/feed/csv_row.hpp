/// One row of a CSV table. Private to the feed.
/// Source: RFC 4180, less line breaks inside quotes.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "error/error.hpp"

namespace vialwright::feed {

/// The cells of a line, less quotes and less spaces outside them.
[[nodiscard]] Result<std::vector<std::string>> csv_row(std::string_view line, char separator,
                                                       std::string_view where);

}  // namespace vialwright::feed
