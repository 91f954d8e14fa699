// Which vial is where. What disagrees is put to both vials concerned; nothing is guessed.
#include <fmt/format.h>

#include "line/fold_workings.hpp"

namespace vialwright::line {
namespace {

void put_to_both(Workings& workings, std::size_t one, std::size_t other, const std::string& what,
                 const std::vector<Origin>& between) {
  conflict(workings, one, what, between);
  if (other != one) conflict(workings, other, what, between);
}

/// Another vial that still rides on the carrier, by what is known.
const Sighting* other_rider(const Workings& workings, std::size_t vial,
                            const std::string& carrier) {
  const auto at = workings.carriers.find(carrier);
  if (at == workings.carriers.end() || at->second.vial == vial) return nullptr;
  return &at->second;
}

void check_carrier(Workings& workings, const Turn& turn, std::size_t vial,
                   const std::string& carrier) {
  if (carrier.empty()) return;
  const VialRecord& record = workings.state.vials[vial];
  if (const Sighting* rider = other_rider(workings, vial, carrier)) {
    const std::string& other = workings.state.vials[rider->vial].serial;
    put_to_both(workings, vial, rider->vial,
                fmt::format("filed under vial {}, but carrier {} was bound to vial {}",
                            record.serial, carrier, other),
                {turn.origin(), rider->origin});
    return;
  }
  if (record.carrier.empty() || record.carrier == carrier) return;
  conflict(workings, vial,
           fmt::format("vial {} is said to be on carrier {}, but is bound to carrier {}",
                       record.serial, carrier, record.carrier),
           {turn.origin()});
}

}  // namespace

void check_station(Workings& workings, const Turn& turn, std::size_t vial,
                   const std::string& station) {
  const VialRecord& record = workings.state.vials[vial];
  if (station.empty() || record.station.empty() || record.station == station) return;
  const std::string what = fmt::format("vial {} is said to be at {}, but was last moved to {}",
                                       record.serial, station, record.station);
  std::vector<Origin> between{turn.origin()};
  const auto there = workings.stations.find(station);
  const bool occupied = there != workings.stations.end() &&
                        workings.state.vials[there->second.vial].station == station;
  if (occupied) between.push_back(there->second.origin);
  put_to_both(workings, vial, occupied ? there->second.vial : vial, what, between);
}

bool place_agrees(Workings& workings, const Turn& turn, std::size_t vial,
                  const event::Place& place) {
  check_carrier(workings, turn, vial, place.carrier);
  check_station(workings, turn, vial, place.station);
  const std::string& serial = workings.state.vials[vial].serial;
  if (place.scanned.empty() || place.scanned == serial) return true;
  const std::string what = fmt::format(
      "filed under vial {}, but the code read from the vial was {}", serial, place.scanned);
  conflict(workings, vial, what, {turn.origin()});
  workings.concerning.push_back({place.scanned, {what, {turn.origin()}}});
  return false;
}

void take(Workings& workings, const Turn& turn, const event::CarrierBound& data) {
  const auto vial = vial_of(workings, turn);
  if (!vial) return;
  VialRecord& record = workings.state.vials[*vial];
  const Sighting* rider = other_rider(workings, *vial, data.carrier);
  // A vial that is finished has left its carrier, whether anyone said so or not.
  if (rider != nullptr && workings.state.vials[rider->vial].fate == Fate::open) {
    put_to_both(workings, *vial, rider->vial,
                fmt::format("carrier {} was given to vial {} while vial {} was on it", data.carrier,
                            record.serial, workings.state.vials[rider->vial].serial),
                {turn.origin(), rider->origin});
  }
  if (data.released) {
    if (rider == nullptr) workings.carriers.erase(data.carrier);
    if (record.carrier == data.carrier) record.carrier.clear();
    return;
  }
  if (!record.carrier.empty() && record.carrier != data.carrier) {
    workings.carriers.erase(record.carrier);  // lifted over to another carrier
  }
  workings.carriers[data.carrier] = {*vial, turn.origin()};
  record.carrier = data.carrier;
}

void take(Workings& workings, const Turn& turn, const event::VialMoved& data) {
  const auto vial = vial_of(workings, turn);
  if (!vial) return;
  check_carrier(workings, turn, *vial, data.carrier);
  workings.state.vials[*vial].station = data.station;
  workings.stations[data.station] = {*vial, turn.origin()};
}

}  // namespace vialwright::line
