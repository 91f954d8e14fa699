#include "line/fold_workings.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace vialwright::line {

Workings::Workings(const LineFile& line) : calibrated(line.plant.instruments.size()) {
  state.plant = line.plant;
  state.book = line.book;
  state.stations.resize(line.plant.stations.size());
  for (const recipe::Recipe& recipe : line.recipes) recipes[recipe.id].push_back(recipe);
}

void unread(Workings& workings, const Turn& turn, std::string what, std::string mend) {
  workings.state.unread.push_back(
      {Error::Kind::missing, std::move(what), named(turn.fact.event), std::move(mend)});
}

std::optional<int> known_instrument(Workings& workings, const Turn& turn, const std::string& id) {
  const auto found = plant::find_instrument(workings.state.plant, id);
  if (!found) {
    unread(workings, turn, fmt::format("instrument '{}' is not in the line file", id),
           mend_for(id, workings.state.plant.instruments, "add the instrument to the line file"));
  }
  return found;
}

std::optional<int> known_station(Workings& workings, const Turn& turn, const std::string& id) {
  const auto found = plant::find_station(workings.state.plant, id);
  if (!found) {
    unread(workings, turn, fmt::format("station '{}' is not in the line file", id),
           mend_for(id, workings.state.plant.stations, "add the station to the line file"));
  }
  return found;
}

std::optional<int> known_stock(Workings& workings, const Turn& turn, const std::string& id) {
  const auto found = recipe::find_stock(workings.state.book, id);
  if (!found) {
    unread(workings, turn, fmt::format("stock '{}' is not in the line file", id),
           mend_for(id, workings.state.book.stocks, "add the stock to the line file"));
  }
  return found;
}

std::optional<int> known_lot(Workings& workings, const Turn& turn, const std::string& id,
                             int stock) {
  const auto found = recipe::find_lot(workings.state.book, id);
  if (!found) {
    unread(workings, turn, fmt::format("the strengths of lot '{}' are not known", id),
           mend_for(id, workings.state.book.lots,
                    "add the lot to the line file or record its lot.assayed"));
    return std::nullopt;
  }
  const auto& lot = workings.state.book.lots[static_cast<std::size_t>(*found)];
  if (lot.stock == stock) return found;
  const auto& stocks = workings.state.book.stocks;
  unread(workings, turn,
         fmt::format("lot '{}' is a lot of '{}', not of '{}'", id,
                     stocks[static_cast<std::size_t>(lot.stock)].id,
                     stocks[static_cast<std::size_t>(stock)].id),
         "correct the lot or the stock of the event");
  return std::nullopt;
}

double days_at(const VialRecord& vial, Instant time) {
  constexpr double day_s = 86'400.0;
  if (!vial.first_dose) return 0.0;
  return std::max(0.0, quantity::seconds_between(*vial.first_dose, time) / day_s);
}

std::optional<int> instrument_for(Workings& workings, const Turn& turn, const std::string& id,
                                  plant::InstrumentKind kind, std::string_view reading) {
  const auto found = known_instrument(workings, turn, id);
  if (!found) return std::nullopt;
  const auto is = workings.state.plant.instruments[static_cast<std::size_t>(*found)].kind;
  if (is == kind) return found;
  unread(
      workings, turn, fmt::format("'{}' is a {} and gives no {}", id, plant::word(is), reading),
      fmt::format("name a {} or change the kind of '{}' in the line file", plant::word(kind), id));
  return std::nullopt;
}

std::optional<std::size_t> vial_of(Workings& workings, const Turn& turn) {
  const auto at = workings.vials.find(turn.subject());
  if (at == workings.vials.end()) {
    unread(workings, turn,
           turn.subject().empty() ? "the event names no vial"
                                  : fmt::format("vial '{}' was never registered", turn.subject()),
           "record its vial.registered, or correct the serial");
    return std::nullopt;
  }
  VialRecord& vial = workings.state.vials[at->second];
  vial.last_event = std::max(vial.last_event.value_or(turn.time), turn.time);
  return at->second;
}

void conflict(Workings& workings, std::size_t vial, std::string what, std::vector<Origin> between) {
  workings.state.vials[vial].conflicts.push_back({std::move(what), std::move(between)});
}

Quality quality_of(const Workings& workings, const Turn& turn, int instrument) {
  if (turn.quality != Quality::clear) return turn.quality;
  const auto i = static_cast<std::size_t>(instrument);
  const double oldest_s = workings.state.plant.instruments[i].oldest_calibration_s;
  const Instant since = workings.calibrated[i].value_or(workings.record_start);
  return quantity::seconds_between(since, turn.time) > oldest_s ? Quality::uncalibrated
                                                                : Quality::clear;
}

double open_s_at(const Workings& workings, std::size_t vial, Instant time) {
  const double before = workings.state.vials[vial].open_s;
  const std::optional<Instant>& since = workings.open_since[vial];
  // Clocks of two sources may disagree a little; time never runs backwards for vapour.
  return since ? before + std::max(0.0, quantity::seconds_between(*since, time)) : before;
}

}  // namespace vialwright::line
