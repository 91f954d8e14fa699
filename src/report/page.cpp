#include <fmt/format.h>

#include "report/html.hpp"
#include "report/report.hpp"

namespace vialwright::report {

std::string shift_page(const decide::Shift& shift, const line::State& state,
                       const std::string& line_name) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"/><title>{}"
      "</title></head><body><pre>{}</pre></body></html>\n",
      escaped(line_name), escaped(shift_summary(shift, state, {})));
}

}  // namespace vialwright::report
