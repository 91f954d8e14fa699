/// The receive time that an event carries itself. Private to the feed.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "quantity/quantity.hpp"

namespace vialwright::feed {

/// The CloudEvents extension attribute `receivedtime`, if there is one. What is no JSON at all is
/// for the book to refuse.
[[nodiscard]] Result<std::optional<quantity::Instant>> receive_time(std::string_view json,
                                                                    const std::string& where);

}  // namespace vialwright::feed
