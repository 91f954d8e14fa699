/// The stages of every vial.

#include <algorithm>
#include <cmath>
#include <string>

#include "twin/shift.hpp"
#include "twin/weighing.hpp"

namespace vialwright::twin {
namespace {

/// Which glass stands on the carrier of a job.
std::size_t body_on(std::size_t job, bool swapped, const Making& making) {
  const auto& with = making.faults.vials[job].swapped_with;
  return swapped && with ? at(*with) : job;
}

/// What the scanner reads from the glass; a code is read 97 times in 100.
std::string scan(const Job& job, const Body& body, const VialFaults& faults, Random& random) {
  const bool read = random.happens(0.97);
  if (body.serial != job.serial) return faults.scanner_sees ? body.serial : "";
  return read ? body.serial : "";
}

void happen(Making& making, std::size_t job, double t_s, const std::string& device, Link link,
            event::Data data) {
  making.happenings.push_back(
      {t_s, device, making.jobs[job].serial, std::move(data), static_cast<int>(job), link});
}

const std::string& id_of(int instrument, const Setting& setting) {
  return setting.plant.instruments[at(instrument)].id;
}

void read_tare(std::size_t i, const Setting& setting, Making& making, Random& random) {
  if (making.scales.tare < 0) return;
  const Job& job = making.jobs[i];
  event::TareRead data;
  data.instrument = id_of(making.scales.tare, setting);
  data.mass_g = weighed(making.scales.tare, setting.plant, making.bodies[i], making.world,
                        job.clock_s, random);
  data.place.carrier = job.carrier;
  data.place.scanned = scan(job, making.bodies[i], making.faults.vials[i], random);
  happen(making, i, job.clock_s, data.instrument, Link::bus, data);
}

void register_one(std::size_t i, const Setting& setting, Making& making, Random& random) {
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

// ---- doses ------------------------------------------------------------------------------------

void read_tank(const plant::Station& station, std::size_t i, const std::string& dose, bool before,
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
  happen(making, i, t_s, data.instrument, Link::bus, data);
}

/// Filled up before it runs dry, between two doses.
void take_from_tank(const plant::Station& station, double mass_g, const std::string& lot,
                    double t_s, const Setting& setting, Making& making) {
  constexpr double full_g = 12000.0, low_g = 2000.0;
  const auto tank = plant::find_tank(setting.plant, station.tank);
  if (!tank) return;
  double& left = making.tank_g[at(*tank)];
  left -= mass_g;
  if (left > low_g) return;
  const double refill = rounded(full_g - left, 1.0);
  left += refill;
  making.happenings.push_back({t_s + 4.0, station.id, "",
                               event::TankRefilled{station.tank, lot, refill}, -1, Link::polled});
}

void read_meters(const PlannedDose& planned, const Dosed& dosed, const std::string& id,
                 std::size_t i, double t_s, const Setting& setting, Making& making,
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
    happen(making, i, t_s + dosed.counting_s + 0.1, meter, Link::bus, data);
  }
}

void command(const PlannedDose& planned, const std::string& id, const std::string& lot,
             std::size_t i, const Body& body, const Setting& setting, Making& making,
             Random& random) {
  const Job& job = making.jobs[i];
  event::DoseCommanded data;
  data.dose = id;
  data.station = setting.plant.stations[at(planned.station)].id;
  data.stock = setting.book.stocks[at(planned.stock)].id;
  data.lot = lot;
  data.amount_g = planned.amount_g;
  data.place.station = data.station;
  data.place.carrier = job.carrier;
  data.place.scanned = scan(job, body, making.faults.vials[i], random);
  happen(making, i, job.clock_s, data.station, Link::polled, data);
}

void mark_dose(VialTruth& truth, const std::string& id, double factor, const LotInUse& lot,
               const Setting& setting, const Making& making) {
  if (factor != 1.0) {
    mark(truth, factor > 1.0 ? Fault::over_dose : Fault::under_dose,
         id + ": times " + quantity::shortest(rounded(factor, 0.001)));
  }
  if (lot.real == lot.told) return;
  for (const WrongLot& wrong : making.faults.wrong_lots) {
    if (wrong.lot != lot.real) continue;
    mark(truth, Fault::wrong_lot,
         id + ": not " + setting.book.lots[at(lot.told)].id + ", strength times " +
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
double factor_of(const PlannedDose& planned, double factor, const Body& body,
                 const Setting& setting, const World& world) {
  const double room_ml =
      0.98 * setting.plant.containers[at(body.container)].brimful_ml - volume_ml(body);
  const double room_g = std::max(room_ml, 0.0) * world.density_g_per_ml[at(planned.stock)];
  if (factor <= 1.0 || room_g <= 0.0) return factor;
  return std::clamp(room_g / planned.amount_g, 1.0, factor);
}

void dose_one(const PlannedDose& planned, int number, double wanted_factor, std::size_t i,
              const Setting& setting, Making& making, Random& random) {
  Job& job = making.jobs[i];
  const VialFaults& faults = making.faults.vials[i];
  const std::size_t b = body_on(i, faults.swapped_before_doses, making);
  Body& body = making.bodies[b];
  const plant::Station& station = setting.plant.stations[at(planned.station)];
  const LotInUse lot = lot_in_use(planned.stock, static_cast<int>(i), setting, making.faults);
  const std::string id = job.serial + "-d" + std::to_string(number);
  const std::string& told = setting.book.lots[at(lot.told)].id;
  command(planned, id, told, i, body, setting, making, random);

  const double open_s = job.clock_s + 0.6;
  stand(body, setting.plant, setting.book, making.world, open_s);
  const double factor = factor_of(planned, wanted_factor, body, setting, making.world);
  read_tank(station, i, id, true, job.clock_s + 0.3, setting, making, random);
  const Dosed dosed = dose(planned, station, making.world, open_s, factor,
                           making.hanging_g[at(planned.station)][at(planned.nozzle)], random);
  pour(body, making.world, lot.real, lot.used, dosed.delivered_g);
  read_meters(planned, dosed, id, i, open_s, setting, making, random);
  const double done_s = open_s + dosed.counting_s;
  take_from_tank(station, dosed.passed_g, told, done_s, setting, making);
  read_tank(station, i, id, false, done_s + 0.8, setting, making, random);
  mark_dose(making.truth[b], id, factor, lot, setting, making);
  mark_runaway(making.truth[b], planned, open_s, setting, making);
  job.clock_s = done_s + 1.0;
}

void move_to(int station, std::size_t i, const Setting& setting, Making& making, Random& random) {
  Job& job = making.jobs[i];
  const double planned =
      visit_at_s(static_cast<int>(i), station, setting.plan) + random.between(0.0, 1.0);
  job.clock_s = std::max(job.clock_s + 1.5, planned);
  const std::string& id = setting.plant.stations[at(station)].id;
  happen(making, i, job.clock_s, "carriers", Link::polled, event::VialMoved{job.carrier, id});
  job.clock_s += 1.0;
}

void dose_vial(std::size_t i, const std::vector<PlannedDose>& doses, const Setting& setting,
               Making& making) {
  Random random(setting.plan.seed, "doses", i);
  const VialFaults& faults = making.faults.vials[i];
  const auto faulty =
      static_cast<std::size_t>(faults.dose_pick * static_cast<double>(doses.size()));
  int station = -1;
  for (std::size_t d = 0; d < doses.size(); ++d) {
    if (doses[d].station != station) {
      station = doses[d].station;
      move_to(station, i, setting, making, random);
    }
    dose_one(doses[d], static_cast<int>(d) + 1, d == faulty ? faults.dose_factor : 1.0, i, setting,
             making, random);
  }
}

// ---- weighing and closing ---------------------------------------------------------------------

/// A wrong digit, or something on the pan.
double blundered(double mass_g, double resolution, Random& random) {
  if (random.happens(0.5)) return rounded(mass_g + random.between(0.2, 4.0), resolution);
  const double place = std::pow(10.0, random.below(3) - 1);  // tenths, units or tens of grams
  const int digit = static_cast<int>(mass_g / place + 1e-9) % 10;
  const int other = (digit + 1 + random.below(9)) % 10;
  return rounded(mass_g + (other - digit) * place, resolution);
}

/// @param again  a second weighing by hand, on the scale of the tares: no blunder there.
void read_gross(int scale, std::size_t i, std::size_t b, const Setting& setting, Making& making,
                bool again, Random& random) {
  if (scale < 0) return;
  const Job& job = making.jobs[i];
  Body& body = making.bodies[b];
  const VialFaults& faults = making.faults.vials[i];
  stand(body, setting.plant, setting.book, making.world, job.clock_s);
  event::GrossRead data;
  data.instrument = id_of(scale, setting);
  data.mass_g = weighed(scale, setting.plant, body, making.world, job.clock_s, random);
  if (faults.gross_blunder && !again) {
    const double real = data.mass_g;
    data.mass_g = blundered(real, setting.plant.instruments[at(scale)].resolution, random);
    mark(making.truth[i], Fault::gross_blunder,
         "off by " + quantity::shortest(rounded(data.mass_g - real, 0.001)) + " g");
  }
  data.place.carrier = again || !job.on_carrier ? "" : job.carrier;
  data.place.scanned = scan(job, body, faults, random);
  happen(making, i, job.clock_s, data.instrument, Link::bus, data);
}

void gauge(std::size_t i, std::size_t b, const Setting& setting, Making& making, Random& random) {
  Job& job = making.jobs[i];
  const Body& body = making.bodies[b];
  for (int k = 0; k < static_cast<int>(setting.plant.instruments.size()); ++k) {
    const plant::InstrumentKind kind = setting.plant.instruments[at(k)].kind;
    event::Place place;
    place.carrier = job.on_carrier ? job.carrier : "";
    if (kind == plant::InstrumentKind::level_gauge) {
      const double height = level(k, setting.plant, body, making.world, random);
      happen(making, i, job.clock_s, id_of(k, setting), Link::bus,
             event::LevelRead{id_of(k, setting), height, place});
    } else if (kind == plant::InstrumentKind::volume_gauge) {
      const double amount = volume(k, setting.plant, body, making.world, random);
      happen(making, i, job.clock_s, id_of(k, setting), Link::bus,
             event::VolumeRead{id_of(k, setting), amount, place});
    }
  }
}

/// Taken off its carrier and forgotten, uncapped.
void leave_open(std::size_t i, std::size_t b, const Setting& setting, Making& making) {
  Job& job = making.jobs[i];
  const double wait = making.faults.vials[i].wait_s;
  if (job.on_carrier) {
    happen(making, i, job.clock_s + 1.0, "carriers", Link::polled,
           event::CarrierBound{job.carrier, true});
  }
  job.on_carrier = false;
  job.clock_s += wait;
  stand(making.bodies[b], setting.plant, setting.book, making.world, job.clock_s);
  mark(making.truth[b], Fault::open_too_long,
       "open for " + quantity::shortest(rounded(wait / 3600.0, 0.01)) + " h");
}

void mix(std::size_t i, Making& making) {
  Job& job = making.jobs[i];
  job.clock_s += 12.0;
  happen(making, i, job.clock_s, "mixer", Link::polled, event::VialMixed{"", 8.0});
}

void cap(std::size_t i, std::size_t b, const Setting& setting, Making& making) {
  Job& job = making.jobs[i];
  Body& body = making.bodies[b];
  job.clock_s += 5.0;
  stand(body, setting.plant, setting.book, making.world, job.clock_s);
  body.capped = true;
  happen(making, i, job.clock_s, "capper", Link::polled, event::VialCapped{""});
  if (!job.on_carrier) return;
  happen(making, i, job.clock_s + 2.0, "carriers", Link::polled,
         event::CarrierBound{job.carrier, true});
}

void finish_vial(std::size_t i, const Setting& setting, Making& making) {
  Random random(setting.plan.seed, "weighing", i);
  Job& job = making.jobs[i];
  const VialFaults& faults = making.faults.vials[i];
  const std::size_t b = body_on(i, true, making);
  mix(i, making);
  if (faults.wait_s > 0.0 && faults.wait_before_gross) leave_open(i, b, setting, making);
  job.clock_s += 4.0;
  stand(making.bodies[b], setting.plant, setting.book, making.world, job.clock_s);
  gauge(i, b, setting, making, random);
  job.clock_s += 5.0;
  read_gross(making.scales.gross, i, b, setting, making, false, random);
  if (job.weighed_twice) {
    job.clock_s += 15.0;
    read_gross(making.scales.tare, i, b, setting, making, true, random);
  }
  if (faults.wait_s > 0.0 && !faults.wait_before_gross) leave_open(i, b, setting, making);
  cap(i, b, setting, making);
}

}  // namespace

double bound_at_s(int vial, const ShiftPlan& plan) { return vial * plan.vial_every_s; }

double visit_at_s(int vial, int station, const ShiftPlan& plan) {
  return bound_at_s(vial, plan) + 20.0 + 12.0 * station;
}

Scales scales_of(const plant::Plant& plant) {
  Scales scales;
  for (int k = 0; k < static_cast<int>(plant.instruments.size()); ++k) {
    if (plant.instruments[at(k)].kind != plant::InstrumentKind::scale) continue;
    if (scales.tare < 0) scales.tare = k;
    scales.gross = k;
  }
  return scales;
}

void register_and_tare(const Setting& setting, Making& making) {
  for (std::size_t i = 0; i < making.jobs.size(); ++i) {
    Random random(setting.plan.seed, "tare", i);
    register_one(i, setting, making, random);
  }
}

void dose_all(const Setting& setting, Making& making) {
  std::vector<std::vector<PlannedDose>> doses;
  for (const recipe::Recipe& recipe : setting.recipes) {
    doses.push_back(planned_doses(recipe, setting.book, setting.plant));
  }
  for (std::size_t i = 0; i < making.jobs.size(); ++i) {
    dose_vial(i, doses[at(making.jobs[i].recipe)], setting, making);
  }
}

void weigh_and_cap(const Setting& setting, Making& making) {
  for (std::size_t i = 0; i < making.jobs.size(); ++i) finish_vial(i, setting, making);
}

}  // namespace vialwright::twin
