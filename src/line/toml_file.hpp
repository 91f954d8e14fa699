/// A small file as one text. Private to the readers of files.
#pragma once

#include <string>

#include "error/error.hpp"

namespace vialwright::line {

/// Reads a file of at most `largest` bytes. A larger one is refused before it is held in memory; a
/// directory, a missing or an unreadable file is an error of kind missing or unavailable.
[[nodiscard]] Result<std::string> whole_file(const std::string& path, std::size_t largest);

}  // namespace vialwright::line
