/// Private to report: files of src/report/assets, embedded by the build.
#pragma once

#include <string_view>

namespace vialwright::report {

/// The bytes of one file ("look.css"), or empty when there is none of that name.
[[nodiscard]] std::string_view asset(std::string_view name);

}  // namespace vialwright::report
