/// The line file: TOML that describes a line. Every key is documented in docs/formats.md.
/// Included by line.hpp.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "plant/plant.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::line {

struct LineFile {
  std::string name;  ///< "Larkmoor, line 1"
  plant::Plant plant;
  recipe::Book book;                    ///< lots may also come as events
  std::vector<recipe::Recipe> recipes;  ///< recipes may also come from CSV or as events
};

/// Reads and validates at once: every problem in one run, each with file, line, column, key, what,
/// how to mend it, and "did you mean" for unknown keys and ids.
[[nodiscard]] Checked<LineFile> read_line_file(const std::string& path);
[[nodiscard]] Checked<LineFile> parse_line_file(std::string_view toml, const std::string& path);

/// Everything wrong with a line, or with one recipe on it; `where` of each is the key as the line
/// file spells it ("station.teal.stocks"), without file and line.
[[nodiscard]] Problems problems(const LineFile& line);
[[nodiscard]] Problems problems(const recipe::Recipe& recipe, const LineFile& line);

/// Recipes from a CSV table (docs/formats.md): one row a tolerance line.
[[nodiscard]] Checked<std::vector<recipe::Recipe>> read_recipes_csv(const std::string& path,
                                                                    const LineFile& line);
[[nodiscard]] Checked<std::vector<recipe::Recipe>> parse_recipes_csv(std::string_view text,
                                                                     const std::string& path,
                                                                     const LineFile& line);

}  // namespace vialwright::line
