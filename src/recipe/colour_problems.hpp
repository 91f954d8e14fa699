/// What a colour in a book or a recipe may not be. Private to recipe.
#pragma once

#include "recipe/checks.hpp"

namespace vialwright::recipe {

void check_absorptivity(Problems& found, const Component& it);

/// The key of a recipe's colour: the first stands under `colour`, others under `colour.2` and on.
[[nodiscard]] std::string colour_key(int index);

void check_colour_limit(Checks& checks, const Tolerance& line, const std::string& key);
void check_colours(Checks& checks, const Recipe& recipe, const Book& book);

}  // namespace vialwright::recipe
