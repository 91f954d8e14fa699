#include "twin/crew.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace vialwright::twin {

double Crew::takes(std::size_t vial, double not_before_s) {
  Job& job = making_.jobs[vial];
  const double begins_s = std::max(not_before_s, free_s_) + 2.0;
  job.clock_s = begins_s;
  job.carrier = "R-" + job.serial;
  job.on_carrier = true;
  happen(making_, vial, job.clock_s + 0.5, "carriers", Link::polled,
         event::CarrierBound{job.carrier, false});
  job.clock_s += 1.0;
  uncap({vial, vial}, setting_, making_);
  return begins_s;
}

double Crew::doses(const PlannedDose& planned, const std::string& id, std::size_t vial,
                   Random& random) {
  Job& job = making_.jobs[vial];
  const double flow = making_.world.nozzles[at(planned.station)][at(planned.nozzle)].flow_g_per_s;
  const double length_s = 1.0 + planned.amount_g / (0.9 * flow) + 4.0;
  const double from_s = free_slot(planned.station, job.clock_s + 1.5, length_s);
  move_to(planned.station, vial, from_s, setting_, making_);
  const auto tank =
      plant::find_tank(setting_.plant, setting_.plant.stations[at(planned.station)].tank);
  if (tank) set_tank(*tank, job.clock_s);
  const double in_tank_g = tank ? making_.tank_g[at(*tank)] : 0.0;
  const double before_g = making_.bodies[vial].stock_g[at(planned.stock)];
  const DoseStep step{planned, id, 1.0, lot_at(planned, job.clock_s)};
  dose_one(step, {vial, vial}, setting_, making_, random);
  if (tank) keep_tank(*tank, job.clock_s, in_tank_g);
  auto& visits = making_.visits[at(planned.station)];
  const auto later = std::find_if(visits.begin(), visits.end(),
                                  [&](const Visit& it) { return it.from_s > from_s; });
  visits.insert(later, {from_s, job.clock_s});
  return making_.bodies[vial].stock_g[at(planned.stock)] - before_g;
}

double Crew::closes(std::size_t vial, bool weigh_on_both, Random& random) {
  Job& job = making_.jobs[vial];
  const Hands hands{vial, vial};
  job.clock_s += 4.0;
  stand(making_.bodies[vial], setting_.plant, setting_.book, making_.world, job.clock_s);
  gauge(hands, setting_, making_, random);
  look(hands, setting_, making_);
  job.clock_s += 5.0;
  read_gross(making_.scales.gross, hands, setting_, making_, true, random);
  if (weigh_on_both && making_.scales.tare != making_.scales.gross) {
    job.clock_s += 15.0;
    read_gross(making_.scales.tare, hands, setting_, making_, true, random);
  }
  if (weigh_on_both) look_at_bench(hands, setting_, making_);
  cap(hands, setting_, making_);
  free_s_ = job.clock_s + 3.0;
  for (Happening& happening : making_.happenings) happening.vial = -1;
  outbox_.put(std::exchange(making_.happenings, {}));
  return job.clock_s;
}

/// The first time from then on when the station has nobody else for so long; a lot is changed in
/// the seconds before a visit.
double Crew::free_slot(int station, double from_s, double length_s) const {
  constexpr double before_s = 5.0, after_s = 1.0;
  double t = from_s;
  for (const Visit& visit : making_.visits[at(station)]) {
    if (visit.to_s + after_s <= t) continue;
    if (visit.from_s - before_s >= t + length_s) break;
    t = visit.to_s + after_s;
  }
  return t;
}

/// The lot at the station then: that of the vial that was last due there.
LotInUse Crew::lot_at(const PlannedDose& planned, double t_s) const {
  const double since_first = t_s + 3.0 - visit_at_s(0, planned.station, setting_.plan);
  const int vial = static_cast<int>(std::floor(since_first / setting_.plan.vial_every_s));
  const int last = std::max(setting_.plan.vials - 1, 0);
  return lot_in_use(planned.stock, std::clamp(vial, 0, last), setting_, making_.faults);
}

/// What the tank holds at that time: what the making left in it, less what rework took.
void Crew::set_tank(int tank, double t_s) {
  double level = 12000.0;
  for (const TankLevel& known : making_.tank_levels[at(tank)]) {
    if (known.from_s <= t_s) level = known.mass_g;
  }
  making_.tank_g[at(tank)] = level - taken_g_[at(tank)];
}

/// Later readings of the making show what rework took.
void Crew::keep_tank(int tank, double t_s, double before_g) {
  making_.tank_levels[at(tank)].pop_back();  // the making's own levels stay
  const double taken = before_g - making_.tank_g[at(tank)];
  taken_g_[at(tank)] += taken;
  const std::string& id = setting_.plant.tanks[at(tank)].id;
  const auto scale = plant::find_instrument(setting_.plant, setting_.plant.tanks[at(tank)].scale);
  const double step = scale ? setting_.plant.instruments[at(*scale)].resolution : 0.0;
  outbox_.lower_tank(id, quantity::later_by(setting_.plan.start, t_s), taken, step);
}

}  // namespace vialwright::twin
