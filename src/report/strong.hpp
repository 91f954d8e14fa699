/// Private to report: emphasis in a terminal that can show it.
#pragma once

#include <string>

#include "report/report.hpp"

namespace vialwright::report {

/// Bold where the look allows it; the words alone carry the meaning. Trailing newlines stay last.
[[nodiscard]] inline std::string strong(std::string text, const Look& look) {
  if (!look.colour) return text;
  const std::size_t end = text.find_last_not_of('\n') + 1;
  return "\033[1m" + text.substr(0, end) + "\033[0m" + text.substr(end);
}

}  // namespace vialwright::report
