// What may not be in a plant. One function a kind of thing; `where` is the key as the line file
// spells it, so that the reader of the file can turn it into a line and a column.
#include <algorithm>
#include <cmath>
#include <set>
#include <utility>

#include "plant/checks.hpp"
#include "plant/gauge_problems.hpp"

namespace vialwright::plant {
namespace {

using quantity::shortest;

std::string list_of(const auto& things) {
  std::string list;
  for (const auto& thing : things) list += (list.empty() ? "" : ", ") + thing.id;
  return list.empty() ? "none is described" : list;
}

/// @returns the sentence that helps with a reference to nothing.
std::string known(std::string_view id, const auto& things, std::string_view kind) {
  std::vector<std::string_view> ids;
  ids.reserve(things.size());
  for (const auto& thing : things) ids.emplace_back(thing.id);
  if (const auto near = quantity::nearest(id, ids); !near.empty())
    return "did you mean '" + std::string(near) + "'?";
  return "name one of the " + std::string(kind) + "s (" + list_of(things) + ")";
}

void check_ids(Problems& found, const auto& things, const std::string& kind) {
  std::set<std::string_view> seen;
  for (const auto& thing : things) {
    Checks checks(found, kind + "." + thing.id);
    if (thing.id.empty()) checks.wrong("", "one " + kind + " has no id", "give each an id");
    if (!seen.insert(thing.id).second)
      checks.wrong("", kind + " '" + thing.id + "' is described twice",
                   "give one of the two another id, or delete it");
  }
}

bool measures(InstrumentKind kind) { return !unit_of(kind).empty(); }

void check_noise(Checks& checks, const Instrument& it, std::string_view unit) {
  const bool rep = checks.not_negative("repeatability", it.repeatability, unit);
  const bool res = checks.not_negative("resolution", it.resolution, unit);
  checks.between("repeatability_rel", it.repeatability_rel, 0.0, 1.0, "");
  if (rep && res && measures(it.kind) && it.repeatability == 0.0 && it.resolution == 0.0)
    checks.wrong("repeatability", "by its description the instrument never errs",
                 "give its repeatability (standard deviation of one reading) or its resolution");
}

void check_instrument(Problems& found, const Instrument& it) {
  Checks checks(found, "instrument." + it.id);
  const std::string_view unit = unit_of(it.kind);
  check_noise(checks, it, unit);
  check_colour_gauge(checks, it);
  checks.between("offset", it.offset, -1e9, 1e9, unit);
  checks.not_negative("u of offset", it.u_offset, unit);
  checks.between("gain", it.gain, -0.5, 0.5, "");
  checks.between("u of gain", it.u_gain, 0.0, 0.5, "");
  checks.not_negative("zero_stability", it.u_zero_rate, std::string(unit) + "/s");
  if (it.u_zero_rate > 0.0 && !is_meter(it.kind))
    checks.wrong("zero_stability",
                 "a " + std::string(word(it.kind)) +
                     " does not count over time, so it has no zero stability",
                 "delete the key, or use offset; zero stability belongs to a mass or volume meter");
  checks.odds("fault_odds", it.fault_odds, 0.5);
  checks.not_negative("blunder", it.blunder, unit);
  if (!(it.oldest_calibration_s > 0.0))
    checks.wrong("oldest_calibration", "the longest age of a calibration is not above zero",
                 "give a time such as \"90 d\", or delete the key if it never expires");
}

/// Instruments of one source share one unknown, and one unknown has one prior.
void check_sources(Problems& found, const std::vector<Instrument>& instruments) {
  for (std::size_t i = 0; i < instruments.size(); ++i) {
    const Instrument& it = instruments[i];
    if (it.same_source.empty()) continue;
    const auto first = std::ranges::find(instruments, it.same_source, &Instrument::same_source);
    if (&*first == &it) continue;
    const auto shared = [](const Instrument& one) {
      return std::make_tuple(one.kind, one.offset, one.u_offset, one.gain, one.u_gain,
                             one.u_zero_rate);
    };
    if (shared(*first) == shared(it)) continue;
    Checks(found, "instrument." + it.id)
        .wrong("same_source",
               "it shares source '" + it.same_source + "' with '" + first->id +
                   "', yet their kind, offset, gain or zero rate differ",
               "one source has one systematic error: give both the same kind, offset, gain and "
               "zero_stability, each with the same u");
  }
}

void check_meters(Checks& checks, const Station& station, const Plant& plant) {
  std::set<std::string_view> seen;
  for (const std::string& meter : station.meters) {
    const auto at = find_instrument(plant, meter);
    if (!at) {
      checks.wrong("meters", "there is no instrument '" + meter + "'",
                   known(meter, plant.instruments, "instrument"));
    } else if (const auto kind = plant.instruments[static_cast<std::size_t>(*at)].kind;
               !is_meter(kind)) {
      checks.wrong("meters", "'" + meter + "' is a " + std::string(word(kind)) + ", not a meter",
                   "name a mass_meter or volume_meter; a tank's scale goes under the tank");
    }
    if (!seen.insert(meter).second)
      checks.wrong("meters", "'" + meter + "' is named twice", "name each meter once");
  }
}

void check_tank_of(Checks& checks, const Station& station, const Plant& plant) {
  if (station.tank.empty()) return;
  const auto at = find_tank(plant, station.tank);
  if (!at) {
    checks.wrong("tank", "there is no tank '" + station.tank + "'",
                 known(station.tank, plant.tanks, "tank"));
    return;
  }
  const Tank& tank = plant.tanks[static_cast<std::size_t>(*at)];
  if (std::ranges::find(station.stocks, tank.stock) == station.stocks.end())
    checks.wrong(
        "tank",
        "tank '" + tank.id + "' holds '" + tank.stock + "', which this station does not dose",
        "add '" + tank.stock + "' to its stocks, or name another tank");
}

void check_station(Problems& found, const Station& station, const Plant& plant) {
  Checks checks(found, "station." + station.id);
  if (station.stocks.empty())
    checks.wrong("stocks", "the station doses nothing", "name the stocks that it can dose");
  std::set<std::string_view> seen;
  for (const std::string& stock : station.stocks)
    if (!seen.insert(stock).second)
      checks.wrong("stocks", "'" + stock + "' is named twice", "name each stock once");
  check_meters(checks, station, plant);
  check_tank_of(checks, station, plant);
  if (checks.positive("least_dose", station.least_dose_g, "g") &&
      !(station.largest_dose_g >= station.least_dose_g))
    checks.wrong("largest_dose",
                 "the largest dose " + shortest(station.largest_dose_g) +
                     " g is below the least dose " + shortest(station.least_dose_g) + " g",
                 "give a largest dose of at least the least one");
  const bool absolute = checks.not_negative("spread", station.spread_g, "g");
  const bool relative = checks.between("spread_rel", station.spread_rel, 0.0, 1.0, "");
  if (absolute && relative && station.spread_g == 0.0 && station.spread_rel == 0.0)
    checks.wrong("spread", "by its description the station never misses its command",
                 "give the standard deviation of its doses as spread, spread_rel or both");
  checks.odds("fault_odds", station.fault_odds, 0.5);
}

void check_fill(Checks& checks, const Container& it) {
  const bool brimful = checks.positive("brimful", it.brimful_ml, "mL");
  if (checks.positive("largest_fill", it.largest_fill_ml, "mL") && brimful &&
      it.largest_fill_ml > it.brimful_ml)
    checks.wrong("largest_fill",
                 "the largest fill " + shortest(it.largest_fill_ml) +
                     " mL is more than the brimful volume " + shortest(it.brimful_ml) + " mL",
                 "give at most the brimful volume, less the headspace");
  if (!(it.largest_fill_g > 0.0))
    checks.wrong("largest_fill_mass", "the largest fill by mass is not above zero",
                 "give a mass such as \"24 g\", or delete the key");
}

/// What in the plant needs the container's width.
struct Width {
  bool level = false, colour = false;
};

void check_shape(Checks& checks, const Container& it, Width wanted) {
  checks.not_negative("inner_diameter", it.inner_diameter_mm, "mm");
  checks.not_negative("u of inner_diameter", it.u_inner_diameter_mm, "mm");
  checks.not_negative("floor_volume", it.floor_volume_ml, "mL");
  checks.not_negative("u of floor_volume", it.u_floor_volume_ml, "mL");
  if ((wanted.level || wanted.colour) && it.inner_diameter_mm == 0.0)
    checks.wrong("inner_diameter",
                 std::string(wanted.level ? "a level gauge reads this container"
                                          : "a colour gauge looks through this container") +
                     ", yet its width is unknown",
                 "give the inner diameter, such as \"20.0 mm, u 0.1 mm\"");
}

void check_container(Problems& found, const Container& it, Width wanted) {
  Checks checks(found, "container." + it.id);
  if (checks.positive("tare", it.tare_g, "g") && !(it.u_tare_g > 0.0 && it.u_tare_g < it.tare_g))
    checks.wrong("tare",
                 "no two empty containers weigh the same, yet u of the tare is " +
                     shortest(it.u_tare_g) + " g",
                 "give the spread of the empty mass, such as tare = \"14.80 g, u 0.15 g\"");
  checks.not_negative("cap", it.cap_g, "g");
  checks.not_negative("u of cap", it.u_cap_g, "g");
  checks.between("density", it.density_g_per_ml, 0.5, 25.0, "g/mL");
  check_fill(checks, it);
  check_shape(checks, it, wanted);
  checks.not_negative("open_loss", it.open_loss_g_per_h, "g/h");
  checks.not_negative("u of open_loss", it.u_open_loss_g_per_h, "g/h");
  checks.not_negative("capped_loss", it.capped_loss_g_per_h, "g/h");
}

void check_tank(Problems& found, const Tank& tank, const Plant& plant) {
  Checks checks(found, "tank." + tank.id);
  if (tank.stock.empty()) checks.wrong("stock", "the tank holds nothing", "name its stock");
  if (tank.scale.empty()) return;
  const auto at = find_instrument(plant, tank.scale);
  if (!at) {
    checks.wrong("scale", "there is no instrument '" + tank.scale + "'",
                 known(tank.scale, plant.instruments, "instrument"));
  } else if (const auto kind = plant.instruments[static_cast<std::size_t>(*at)].kind;
             kind != InstrumentKind::tank_scale) {
    checks.wrong("scale", "'" + tank.scale + "' is a " + std::string(word(kind)),
                 "name an instrument of kind tank_scale");
  }
}

void check_risks(Problems& found, const Risks& risks) {
  Checks checks(found, "risks");
  checks.odds("consumer", risks.consumer, 0.5);
  checks.odds("producer", risks.producer, 0.5);
  checks.odds("false_flag", risks.false_flag, 0.5);
  if (!(risks.sure > 0.5 && risks.sure < 1.0))
    checks.wrong("sure", "sure = " + shortest(risks.sure) + " is no usable probability",
                 "give a number above 0.5 and below 1");
  checks.positive("advice_lasts", risks.advice_lasts_s, "s");
  checks.not_negative("future", risks.future_s, "s");
}

void check_prices(Problems& found, const Prices& prices) {
  Checks checks(found, "prices");
  if (prices.unit.empty())
    checks.wrong("unit", "the unit of account has no name", "name it, such as \"mk\"");
  checks.not_negative("vial", prices.vial, prices.unit);
  checks.not_negative("good", prices.good, prices.unit);
  checks.not_negative("scrap", prices.scrap, prices.unit);
  checks.not_negative("reading", prices.reading, prices.unit);
  checks.not_negative("visit", prices.visit, prices.unit);
  checks.not_negative("making", prices.making, prices.unit);
  checks.not_negative("late_per_hour", prices.late_per_h, prices.unit);
  checks.not_negative("energy_per_kwh", prices.energy_per_kwh, prices.unit);
}

void check_holding(Problems& found, const HoldPlaces& holding, const std::string& unit) {
  constexpr int most_places = 10'000;
  Checks checks(found, "holding");
  if (holding.places < 0 || holding.places > most_places)
    checks.wrong("places", "places = " + std::to_string(holding.places) + " is not in its range",
                 "give a whole number from 0 to " + std::to_string(most_places));
  checks.not_negative("cost_per_day", holding.cost_per_day, unit);
  checks.positive("longest", holding.longest_days, "d");
  checks.not_negative("switching", holding.switching, unit);
  checks.not_negative("making_time", holding.making_h, "h");
  checks.positive("demand_half_life", holding.demand_half_life_days, "d");
}

}  // namespace

Problems problems(const Plant& plant) {
  Problems found;
  check_ids(found, plant.instruments, "instrument");
  check_ids(found, plant.stations, "station");
  check_ids(found, plant.containers, "container");
  check_ids(found, plant.tanks, "tank");
  for (const Instrument& it : plant.instruments) check_instrument(found, it);
  check_sources(found, plant.instruments);
  for (const Station& it : plant.stations) check_station(found, it, plant);
  Width wanted;
  wanted.level = std::ranges::any_of(
      plant.instruments, [](const auto& it) { return it.kind == InstrumentKind::level_gauge; });
  wanted.colour = vial_is_looked_through(plant);
  for (const Container& it : plant.containers) check_container(found, it, wanted);
  for (const Tank& it : plant.tanks) check_tank(found, it, plant);
  check_risks(found, plant.risks);
  check_prices(found, plant.prices);
  check_holding(found, plant.holding, plant.prices.unit);
  return found;
}

}  // namespace vialwright::plant
