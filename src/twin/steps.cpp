#include "twin/steps.hpp"

#include <algorithm>
#include <cmath>

#include "twin/weighing.hpp"

namespace vialwright::twin {
namespace {

const std::string& id_of(int instrument, const Setting& setting) {
  return setting.plant.instruments[at(instrument)].id;
}

// ---- doses ------------------------------------------------------------------------------------

void read_tank(const plant::Station& station, std::size_t job, const std::string& dose, bool before,
               double t_s, const Setting& setting, Making& making, Random& random) {
  const auto tank = plant::find_tank(setting.plant, station.tank);
  if (!tank) return;
  const auto scale = plant::find_instrument(setting.plant, setting.plant.tanks[at(*tank)].scale);
  if (!scale) return;
  event::TankRead data;
  data.tank = station.tank;
  data.instrument = id_of(*scale, setting);
  data.mass_g =
      tank_weighed(*scale, setting.plant, making.tank_g[at(*tank)], making.world, t_s, random);
  data.dose = dose;
  data.before = before;
  happen(making, job, t_s, data.instrument, Link::bus, data);
}

/// Filled up before it runs dry, between two doses.
void take_from_tank(const plant::Station& station, double mass_g, const std::string& lot,
                    double t_s, const Setting& setting, Making& making) {
  constexpr double full_g = 12000.0, low_g = 2000.0;
  const auto tank = plant::find_tank(setting.plant, station.tank);
  if (!tank) return;
  double& left = making.tank_g[at(*tank)];
  left -= mass_g;
  if (left <= low_g) {
    const double refill = rounded(full_g - left, 1.0);
    left += refill;
    making.happenings.push_back({t_s + 4.0, station.id, "",
                                 event::TankRefilled{station.tank, lot, refill}, -1, Link::polled});
  }
  making.tank_levels[at(*tank)].push_back({t_s, left});
}

void read_meters(const PlannedDose& planned, const Dosed& dosed, const std::string& id,
                 std::size_t job, double t_s, const Setting& setting, Making& making,
                 Random& random) {
  const plant::Station& station = setting.plant.stations[at(planned.station)];
  for (const std::string& meter : station.meters) {
    const auto index = plant::find_instrument(setting.plant, meter);
    if (!index) continue;
    const double seen =
        metered(*index, setting.plant, dosed, planned.stock, making.world, t_s, random);
    event::DoseMetered data;
    data.dose = id;
    data.instrument = meter;
    const bool by_volume =
        setting.plant.instruments[at(*index)].kind == plant::InstrumentKind::volume_meter;
    (by_volume ? data.volume_ml : data.mass_g) = seen;
    data.counting_s = dosed.counting_s;
    happen(making, job, t_s + dosed.counting_s + 0.1, meter, Link::bus, data);
  }
}

void command(const DoseStep& step, const Hands& hands, const Setting& setting, Making& making,
             Random& random) {
  const Job& job = making.jobs[hands.job];
  event::DoseCommanded data;
  data.dose = step.id;
  data.station = setting.plant.stations[at(step.planned.station)].id;
  data.stock = setting.book.stocks[at(step.planned.stock)].id;
  data.lot = setting.book.lots[at(step.lot.told)].id;
  data.amount_g = step.planned.amount_g;
  data.place.station = data.station;
  data.place.carrier = job.carrier;
  data.place.scanned = scan(hands, making, random);
  happen(making, hands.job, job.clock_s, data.station, Link::polled, data);
}

void mark_dose(VialTruth& truth, const DoseStep& step, double factor, const Setting& setting,
               const Making& making) {
  if (factor != 1.0) {
    mark(truth, factor > 1.0 ? Fault::over_dose : Fault::under_dose,
         step.id + ": times " + quantity::shortest(rounded(factor, 0.001)));
  }
  if (step.lot.real == step.lot.told) return;
  for (const WrongLot& wrong : making.faults.wrong_lots) {
    if (wrong.lot != step.lot.real) continue;
    mark(truth, Fault::wrong_lot,
         step.id + ": not " + setting.book.lots[at(step.lot.told)].id + ", strength times " +
             quantity::shortest(rounded(wrong.factor, 0.001)));
  }
}

void mark_runaway(VialTruth& truth, const PlannedDose& planned, double t_s, const Setting& setting,
                  const Making& making) {
  for (const int meter : making.faults.runaway_meters) {
    const std::string& id = id_of(meter, setting);
    const auto& meters = setting.plant.stations[at(planned.station)].meters;
    if (std::find(meters.begin(), meters.end(), id) == meters.end()) continue;
    const double off = making.world.instruments[at(meter)].runaway.at(t_s);
    if (std::abs(off) < 2.0 * setting.plant.instruments[at(meter)].u_gain || off == 0.0) continue;
    mark(truth, Fault::drifting_meter,
         id + ": gain off by " + quantity::shortest(rounded(off, 0.0001)));
  }
}

/// An over-dose that would run over stops where the vial is full.
double factor_of(const DoseStep& step, const Body& body, const Setting& setting,
                 const World& world) {
  const double room_ml =
      0.98 * setting.plant.containers[at(body.container)].brimful_ml - volume_ml(body);
  const double room_g = std::max(room_ml, 0.0) * world.density_g_per_ml[at(step.planned.stock)];
  if (step.factor <= 1.0 || room_g <= 0.0) return step.factor;
  return std::clamp(room_g / step.planned.amount_g, 1.0, step.factor);
}

void read_tare(std::size_t i, const Setting& setting, Making& making, Random& random) {
  if (making.scales.tare < 0) return;
  const Job& job = making.jobs[i];
  event::TareRead data;
  data.instrument = id_of(making.scales.tare, setting);
  data.mass_g = weighed(making.scales.tare, setting.plant, making.bodies[i], making.world,
                        job.clock_s, random);
  data.place.carrier = job.carrier;
  data.place.scanned = scan({i, i}, making, random);
  happen(making, i, job.clock_s, data.instrument, Link::bus, data);
}

/// A wrong digit, or something on the pan.
double blundered(double mass_g, double resolution, Random& random) {
  if (random.happens(0.5)) return rounded(mass_g + random.between(0.2, 4.0), resolution);
  const double place = std::pow(10.0, random.below(3) - 1);  // tenths, units or tens of grams
  const int digit = static_cast<int>(mass_g / place + 1e-9) % 10;
  const int other = (digit + 1 + random.below(9)) % 10;
  return rounded(mass_g + (other - digit) * place, resolution);
}

}  // namespace

void happen(Making& making, std::size_t job, double t_s, const std::string& device, Link link,
            event::Data data) {
  making.happenings.push_back(
      {t_s, device, making.jobs[job].serial, std::move(data), static_cast<int>(job), link});
}

std::string scan(const Hands& hands, const Making& making, Random& random) {
  const std::string& printed = making.bodies[hands.body].serial;
  const bool read = random.happens(0.97);
  if (printed != making.jobs[hands.job].serial) {
    return making.faults.vials[hands.job].scanner_sees ? printed : "";
  }
  return read ? printed : "";
}

void register_vial(std::size_t i, const Setting& setting, Making& making, Random& random) {
  Job& job = making.jobs[i];
  const recipe::Recipe& recipe = setting.recipes[at(job.recipe)];
  const std::string& container = setting.plant.containers[at(job.container)].id;
  const double t = job.clock_s;
  happen(making, i, t, "carriers", Link::polled, event::VialRegistered{container});
  happen(making, i, t + 0.5, "carriers", Link::polled, event::CarrierBound{job.carrier, false});
  if (!job.order.empty()) {
    happen(making, i, t + 1.0, "orders", Link::office,
           event::VialBound{job.order, recipe.id, recipe.version});
  }
  job.clock_s = t + 6.0;
  read_tare(i, setting, making, random);
}

void move_to(int station, std::size_t job_index, double not_before_s, const Setting& setting,
             Making& making) {
  Job& job = making.jobs[job_index];
  job.clock_s = std::max(job.clock_s + 1.5, not_before_s);
  const std::string& id = setting.plant.stations[at(station)].id;
  happen(making, job_index, job.clock_s, "carriers", Link::polled,
         event::VialMoved{job.carrier, id});
  job.clock_s += 1.0;
}

void dose_one(const DoseStep& step, const Hands& hands, const Setting& setting, Making& making,
              Random& random) {
  Job& job = making.jobs[hands.job];
  Body& body = making.bodies[hands.body];
  const PlannedDose& planned = step.planned;
  const plant::Station& station = setting.plant.stations[at(planned.station)];
  command(step, hands, setting, making, random);

  const double open_s = job.clock_s + 0.6;
  stand(body, setting.plant, setting.book, making.world, open_s);
  const double factor = factor_of(step, body, setting, making.world);
  read_tank(station, hands.job, step.id, true, job.clock_s + 0.3, setting, making, random);
  const Dosed dosed = dose(planned, station, making.world, open_s, factor,
                           making.hanging_g[at(planned.station)][at(planned.nozzle)], random);
  pour(body, making.world, step.lot.real, step.lot.used, dosed.delivered_g);
  read_meters(planned, dosed, step.id, hands.job, open_s, setting, making, random);
  const double done_s = open_s + dosed.counting_s;
  take_from_tank(station, dosed.passed_g, setting.book.lots[at(step.lot.told)].id, done_s, setting,
                 making);
  read_tank(station, hands.job, step.id, false, done_s + 0.8, setting, making, random);
  mark_dose(making.truth[hands.body], step, factor, setting, making);
  mark_runaway(making.truth[hands.body], planned, open_s, setting, making);
  job.clock_s = done_s + 1.0;
}

void mix(std::size_t job_index, Making& making) {
  Job& job = making.jobs[job_index];
  job.clock_s += 12.0;
  happen(making, job_index, job.clock_s, "mixer", Link::polled, event::VialMixed{"", 8.0});
}

void gauge(const Hands& hands, const Setting& setting, Making& making, Random& random) {
  const Job& job = making.jobs[hands.job];
  const Body& body = making.bodies[hands.body];
  for (int k = 0; k < static_cast<int>(setting.plant.instruments.size()); ++k) {
    const plant::InstrumentKind kind = setting.plant.instruments[at(k)].kind;
    event::Place place;
    place.carrier = job.on_carrier ? job.carrier : "";
    if (kind == plant::InstrumentKind::level_gauge) {
      const double height = level(k, setting.plant, body, making.world, random);
      happen(making, hands.job, job.clock_s, id_of(k, setting), Link::bus,
             event::LevelRead{id_of(k, setting), height, place});
    } else if (kind == plant::InstrumentKind::volume_gauge) {
      const double amount = volume(k, setting.plant, body, making.world, random);
      happen(making, hands.job, job.clock_s, id_of(k, setting), Link::bus,
             event::VolumeRead{id_of(k, setting), amount, place});
    }
  }
}

void read_gross(int scale, const Hands& hands, const Setting& setting, Making& making, bool by_hand,
                Random& random) {
  if (scale < 0) return;
  const Job& job = making.jobs[hands.job];
  Body& body = making.bodies[hands.body];
  stand(body, setting.plant, setting.book, making.world, job.clock_s);
  event::GrossRead data;
  data.instrument = id_of(scale, setting);
  data.mass_g = weighed(scale, setting.plant, body, making.world, job.clock_s, random);
  if (making.faults.vials[hands.job].gross_blunder && !by_hand) {
    const double real = data.mass_g;
    data.mass_g = blundered(real, setting.plant.instruments[at(scale)].resolution, random);
    mark(making.truth[hands.job], Fault::gross_blunder,
         "off by " + quantity::shortest(rounded(data.mass_g - real, 0.001)) + " g");
  }
  data.place.carrier = by_hand || !job.on_carrier ? "" : job.carrier;
  data.place.scanned = scan(hands, making, random);
  happen(making, hands.job, job.clock_s, data.instrument, Link::bus, data);
}

void cap(const Hands& hands, const Setting& setting, Making& making) {
  Job& job = making.jobs[hands.job];
  Body& body = making.bodies[hands.body];
  job.clock_s += 5.0;
  stand(body, setting.plant, setting.book, making.world, job.clock_s);
  body.capped = true;
  happen(making, hands.job, job.clock_s, "capper", Link::polled, event::VialCapped{""});
  if (!job.on_carrier) return;
  happen(making, hands.job, job.clock_s + 2.0, "carriers", Link::polled,
         event::CarrierBound{job.carrier, true});
}

void uncap(const Hands& hands, const Setting& setting, Making& making) {
  Job& job = making.jobs[hands.job];
  Body& body = making.bodies[hands.body];
  if (!body.capped) return;
  stand(body, setting.plant, setting.book, making.world, job.clock_s);
  body.capped = false;
  happen(making, hands.job, job.clock_s, "capper", Link::polled, event::VialUncapped{""});
}

PlannedDose planned_of(const Told& told, const Setting& setting) {
  const auto stock = recipe::find_stock(setting.book, told.stock);
  const auto station = plant::find_station(setting.plant, told.station);
  require(stock && station, "advice names stocks and stations of the line");
  const std::vector<std::string>& stocks = setting.plant.stations[at(*station)].stocks;
  const auto nozzle = std::find(stocks.begin(), stocks.end(), told.stock);
  require(nozzle != stocks.end(), "the station doses the stock");
  return {*stock, *station, static_cast<int>(nozzle - stocks.begin()), told.amount_g};
}

}  // namespace vialwright::twin
