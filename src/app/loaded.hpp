/// Private to app: a line, its logbook and the state they give.
#pragma once

#include "app/commands.hpp"
#include "decide/decide.hpp"
#include "line/line.hpp"

namespace vialwright::app {

struct Loaded {
  line::LineFile line;
  line::State state;
  std::string head;  ///< hex of the chain at the newest fact
};

/// The line file and the recipe tables beside it.
[[nodiscard]] Checked<line::LineFile> load_line(const std::string& path,
                                                const std::vector<std::string>& recipe_tables);

[[nodiscard]] Checked<Loaded> load(const BookArgs& args, const logbook::Logbook& book);
[[nodiscard]] Checked<Loaded> load(const BookArgs& args);

/// The options that the line's own risks ask for.
[[nodiscard]] decide::Options options_for(const line::State& state,
                                          std::vector<std::string> asked = {});

/// An error that names the nearest serial.
[[nodiscard]] Error no_such_vial(const std::string& serial, const line::State& state);
[[nodiscard]] Error no_such_recipe(const std::string& id, const line::State& state);

/// Recipes asked for that are not on the books.
[[nodiscard]] Problems unknown_recipes(const std::vector<std::string>& asked,
                                       const line::State& state);

}  // namespace vialwright::app
