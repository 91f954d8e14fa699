#include "plant/plant.hpp"

#include <algorithm>
#include <array>
#include <utility>

namespace vialwright::plant {
namespace {

template <class Thing>
std::optional<int> index_of(const std::vector<Thing>& things, std::string_view id) {
  const auto found = std::ranges::find(things, id, &Thing::id);
  if (found == things.end()) return std::nullopt;
  return static_cast<int>(found - things.begin());
}

constexpr std::array<std::pair<InstrumentKind, std::string_view>, 8> kinds{{
    {InstrumentKind::scale, "scale"},
    {InstrumentKind::mass_meter, "mass_meter"},
    {InstrumentKind::volume_meter, "volume_meter"},
    {InstrumentKind::tank_scale, "tank_scale"},
    {InstrumentKind::volume_gauge, "volume_gauge"},
    {InstrumentKind::level_gauge, "level_gauge"},
    {InstrumentKind::colour_gauge, "colour_gauge"},
    {InstrumentKind::climate, "climate"},
}};

}  // namespace

std::optional<int> find_instrument(const Plant& plant, std::string_view id) {
  return index_of(plant.instruments, id);
}
std::optional<int> find_station(const Plant& plant, std::string_view id) {
  return index_of(plant.stations, id);
}
std::optional<int> find_container(const Plant& plant, std::string_view id) {
  return index_of(plant.containers, id);
}
std::optional<int> find_tank(const Plant& plant, std::string_view id) {
  return index_of(plant.tanks, id);
}

std::string_view word(InstrumentKind kind) {
  for (const auto& [known, spelled] : kinds)
    if (known == kind) return spelled;
  require(false, "every kind of instrument has a word");
  return {};
}

std::optional<InstrumentKind> instrument_kind(std::string_view word) {
  for (const auto& [kind, spelled] : kinds)
    if (spelled == word) return kind;
  return std::nullopt;
}

std::string_view unit_of(InstrumentKind kind) {
  switch (kind) {
    case InstrumentKind::scale:
    case InstrumentKind::mass_meter:
    case InstrumentKind::tank_scale:
      return "g";
    case InstrumentKind::volume_meter:
    case InstrumentKind::volume_gauge:
      return "mL";
    case InstrumentKind::level_gauge:
      return "mm";
    case InstrumentKind::colour_gauge:
    case InstrumentKind::climate:
      return "";
  }
  return "";
}

bool is_meter(InstrumentKind kind) {
  return kind == InstrumentKind::mass_meter || kind == InstrumentKind::volume_meter;
}

}  // namespace vialwright::plant
