/// The names of the event types and what each says happened, in the order of the variant.
#pragma once

#include <optional>

#include "event/event.hpp"

namespace vialwright::event {

struct TypeEntry {
  std::string_view name, says;
};

[[nodiscard]] const std::array<TypeEntry, std::variant_size_v<Data>>& type_list();

/// Data of the type with that name, each field at its default; nothing where no type has it.
[[nodiscard]] std::optional<Data> empty_data(std::string_view name);

}  // namespace vialwright::event
