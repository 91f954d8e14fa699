#include <algorithm>

#include "line/line.hpp"

namespace vialwright::line {
namespace {

template <class T, class Key>
const T* find_sorted(const std::vector<T>& sorted, std::string_view key, Key T::*name) {
  const auto at =
      std::lower_bound(sorted.begin(), sorted.end(), key,
                       [&](const T& each, std::string_view wanted) { return each.*name < wanted; });
  return at == sorted.end() || (*at).*name != key ? nullptr : &*at;
}

}  // namespace

Result<std::vector<Fact>> facts_of(const logbook::Logbook& book, std::uint64_t last) {
  const std::uint64_t all = book.head().position;
  std::vector<Fact> facts;
  facts.reserve(last == 0 ? all : std::min(last, all));
  std::optional<Error> wrong;
  const auto read = book.rows(1, [&](const logbook::Row& row) {
    if (last != 0 && row.position > last) return false;
    auto event = event::parse(row.canonical, "logbook position " + std::to_string(row.position));
    if (!event) {
      wrong = event.error();
      return false;
    }
    facts.push_back({std::move(*event), row.position, row.received});
    return true;
  });
  if (!read) return tl::unexpected(read.error());
  if (wrong) return tl::unexpected(*wrong);
  return facts;
}

Result<State> state_of(const LineFile& line, const logbook::Logbook& book, std::uint64_t last,
                       std::optional<Instant> as_of) {
  auto facts = facts_of(book, last);
  if (!facts) return tl::unexpected(facts.error());
  return as_of ? fold(line, *std::move(facts), *as_of) : fold(line, *std::move(facts));
}

std::string_view word(Quality quality) {
  switch (quality) {
    case Quality::clear:
      return "clear";
    case Quality::future:
      return "from the future";
    case Quality::unsynchronised:
      return "clock not synchronised";
    case Quality::uncalibrated:
      return "calibration too old";
    case Quality::wrong_vial:
      break;
  }
  return "wrong vial";
}

const VialRecord* find_vial(const State& state, std::string_view serial) {
  return find_sorted(state.vials, serial, &VialRecord::serial);
}

const OrderRecord* find_order(const State& state, std::string_view id) {
  return find_sorted(state.orders, id, &OrderRecord::id);
}

const recipe::Recipe* find_recipe(const State& state, std::string_view id) {
  return find_sorted(state.recipes, id, &recipe::Recipe::id);
}

}  // namespace vialwright::line
