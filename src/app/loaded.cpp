#include "app/loaded.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <iterator>

namespace vialwright::app {
namespace {

Problems one(Error error) { return Problems{std::move(error)}; }

/// "did you mean" over the ids of a list, by the member that holds the id.
template <class Things, class Id>
std::string nearest_of(const std::string& word, const Things& things, Id id) {
  std::vector<std::string_view> known;
  known.reserve(things.size());
  for (const auto& thing : things) known.push_back(id(thing));
  const std::string_view close = quantity::nearest(word, known);
  return close.empty() ? std::string() : fmt::format("did you mean '{}'?", close);
}

}  // namespace

Checked<line::LineFile> load_line(const std::string& path,
                                  const std::vector<std::string>& recipe_tables) {
  auto file = line::read_line_file(path);
  if (!file) return file;
  Problems problems;
  for (const std::string& table : recipe_tables) {
    auto recipes = line::read_recipes_csv(table, *file);
    if (!recipes) {
      std::copy(recipes.error().begin(), recipes.error().end(), std::back_inserter(problems));
      continue;
    }
    std::move(recipes->begin(), recipes->end(), std::back_inserter(file->recipes));
  }
  if (!problems.empty()) return tl::unexpected<Problems>(std::move(problems));
  return file;
}

Checked<Loaded> load(const BookArgs& args, const logbook::Logbook& book) {
  auto file = load_line(args.line, args.recipes);
  if (!file) return tl::unexpected<Problems>(std::move(file.error()));
  std::optional<quantity::Instant> as_of;
  if (!args.as_of.empty()) {
    const auto moment = quantity::parse_instant(args.as_of, "--as-of");
    if (!moment) return tl::unexpected<Problems>(one(moment.error()));
    as_of = *moment;
  }
  auto state = line::state_of(*file, book, 0, as_of);
  if (!state) return tl::unexpected<Problems>(one(state.error()));
  const auto head = book.head_at(state->position);
  if (!head) return tl::unexpected<Problems>(one(head.error()));
  return Loaded{*std::move(file), *std::move(state), logbook::hex(head->hash)};
}

Checked<Loaded> load(const BookArgs& args) {
  auto book = logbook::Logbook::open(args.logbook, logbook::Access::read);
  if (!book) return tl::unexpected<Problems>(one(book.error()));
  return load(args, *book);
}

decide::Options options_for(const line::State& state, std::vector<std::string> asked) {
  decide::Options options;
  options.contents.false_flag = state.plant.risks.false_flag;
  options.contents.sure = state.plant.risks.sure;
  options.asked = std::move(asked);
  return options;
}

Error no_such_vial(const std::string& serial, const line::State& state) {
  const std::string close = nearest_of(
      serial, state.vials, [](const auto& vial) -> std::string_view { return vial.serial; });
  return {Error::Kind::missing, fmt::format("no vial has the serial '{}'", serial),
          fmt::format("logbook up to position {}", state.position),
          close.empty() ? "list the serials with: vialwright vials" : close};
}

Error no_such_recipe(const std::string& id, const line::State& state) {
  const std::string close = nearest_of(
      id, state.recipes, [](const auto& recipe) -> std::string_view { return recipe.id; });
  return {Error::Kind::missing, fmt::format("no recipe is called '{}'", id), "--recipe",
          close.empty() ? "recipes come from the line file, --recipes tables or recipe.published"
                        : close};
}

Problems unknown_recipes(const std::vector<std::string>& asked, const line::State& state) {
  Problems problems;
  for (const std::string& id : asked) {
    if (line::find_recipe(state, id) == nullptr) problems.push_back(no_such_recipe(id, state));
  }
  return problems;
}

}  // namespace vialwright::app
