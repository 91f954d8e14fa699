#include "event/type_list.hpp"

#include <algorithm>

namespace vialwright::event {
namespace {

constexpr std::size_t type_count = std::variant_size_v<Data>;

constexpr std::array<TypeEntry, type_count> types = {{
    {"vialwright.recipe.published", "A recipe, or a new version of one, is valid from now on."},
    {"vialwright.order.placed", "Vials of one recipe are wanted."},
    {"vialwright.order.changed", "An order has another due time, value or priority."},
    {"vialwright.order.cancelled", "An order is no longer wanted."},
    {"vialwright.lot.loaded", "A station doses from this lot of a stock from now on."},
    {"vialwright.lot.assayed", "The strengths of a lot were measured."},
    {"vialwright.tank.read", "A tank's load cell gave a mass."},
    {"vialwright.tank.refilled", "A mass of a lot was put into a tank."},
    {"vialwright.line.flushed", "A station's pipe was flushed with a stock."},
    {"vialwright.station.state", "A station went up, down or off."},
    {"vialwright.instrument.zeroed", "An instrument was set to zero."},
    {"vialwright.calibration.made", "An instrument's offset and gain were found by calibration."},
    {"vialwright.environment.read", "Temperature, pressure or humidity of the room was measured."},
    {"vialwright.vial.registered", "A vial came onto the line; its serial is the subject."},
    {"vialwright.vial.inspected", "A vial was looked at and found sound or not."},
    {"vialwright.vial.bound", "A vial is made for this order, by this version of the recipe."},
    {"vialwright.carrier.bound", "A vial was set on a carrier, or taken off it."},
    {"vialwright.vial.moved", "A vial arrived at a station."},
    {"vialwright.energy.read", "A station's energy meter gave a reading."},
    {"vialwright.tare.read", "The empty vial stood on a scale."},
    {"vialwright.dose.commanded", "A station was told to add an amount of a stock."},
    {"vialwright.dose.metered", "A meter gave what it counted of a dose."},
    {"vialwright.vial.mixed", "A vial was mixed."},
    {"vialwright.vial.capped", "A vial was closed."},
    {"vialwright.vial.uncapped", "A vial was opened."},
    {"vialwright.gross.read", "The vial with its contents stood on a scale."},
    {"vialwright.volume.read", "The volume of a vial's contents was measured."},
    {"vialwright.level.read", "The height of the liquid in a vial was measured."},
    {"vialwright.colour.read", "The colour of a vial's contents was measured."},
    {"vialwright.decision.made", "The engine advised what to do with a vial, and why."},
    {"vialwright.decision.overruled", "A person decided otherwise."},
    {"vialwright.topup.applied", "These doses carried out the top-up that a decision advised."},
    {"vialwright.hold.started", "A vial was put into a hold place."},
    {"vialwright.hold.ended", "A vial was taken out of a hold place."},
    {"vialwright.vial.released", "A vial left the line as good."},
    {"vialwright.vial.scrapped", "A vial was thrown away."},
    {"vialwright.fact.corrected",
     "An earlier event was wrong: what it should have said, or that it never happened."},
}};

struct Maker {
  std::string_view name;
  Data (*make)();
};

template <std::size_t... I>
std::array<Maker, type_count> makers_by_name(std::index_sequence<I...>) {
  std::array<Maker, type_count> makers = {
      {{types[I].name, [] { return Data(std::in_place_index<I>); }}...}};
  std::sort(makers.begin(), makers.end(),
            [](const Maker& a, const Maker& b) { return a.name < b.name; });
  return makers;
}

}  // namespace

const std::array<TypeEntry, type_count>& type_list() { return types; }

std::optional<Data> empty_data(std::string_view name) {
  static const auto makers = makers_by_name(std::make_index_sequence<type_count>());
  const auto found = std::lower_bound(
      makers.begin(), makers.end(), name,
      [](const Maker& maker, std::string_view wanted) { return maker.name < wanted; });
  if (found == makers.end() || found->name != name) return std::nullopt;
  return found->make();
}

std::string_view type_name(const Data& data) { return types[data.index()].name; }

const std::vector<std::string_view>& type_names() {
  static const std::vector<std::string_view> names = [] {
    std::vector<std::string_view> all;
    all.reserve(types.size());
    for (const TypeEntry& entry : types) all.push_back(entry.name);
    return all;
  }();
  return names;
}

}  // namespace vialwright::event
