/// The stages of every vial.

#include <algorithm>
#include <string>

#include "twin/mishaps.hpp"

namespace vialwright::twin {
namespace {

/// Which glass stands on the carrier of a job.
std::size_t body_on(std::size_t job, bool swapped, const Making& making) {
  const auto& with = making.faults.vials[job].swapped_with;
  return swapped && with ? at(*with) : job;
}

void dose_vial(std::size_t i, const std::vector<PlannedDose>& doses, const Setting& setting,
               Making& making) {
  Random random(setting.plan.seed, "doses", i);
  Job& job = making.jobs[i];
  const VialFaults& faults = making.faults.vials[i];
  const Hands hands{i, body_on(i, faults.swapped_before_doses, making)};
  const auto faulty =
      static_cast<std::size_t>(faults.dose_pick * static_cast<double>(doses.size()));
  int station = -1;
  for (std::size_t d = 0; d < doses.size(); ++d) {
    if (doses[d].station != station) {
      station = doses[d].station;
      const double nominal_s = visit_at_s(static_cast<int>(i), station, setting.plan);
      move_to(station, i, nominal_s + random.between(0.0, 1.0), setting, making);
      making.visits[at(station)].push_back({nominal_s, job.clock_s});
    }
    const DoseStep step{doses[d], job.serial + "-d" + std::to_string(d + 1),
                        d == faulty ? faults.dose_factor : 1.0,
                        lot_in_use(doses[d].stock, static_cast<int>(i), setting, making.faults)};
    dose_one(step, hands, setting, making, random);
    making.visits[at(station)].back().to_s = job.clock_s;
  }
}

/// Taken off its carrier and forgotten, uncapped.
void leave_open(const Hands& hands, const Setting& setting, Making& making) {
  Job& job = making.jobs[hands.job];
  const double wait = making.faults.vials[hands.job].wait_s;
  if (job.on_carrier) {
    happen(making, hands.job, job.clock_s + 1.0, "carriers", Link::polled,
           event::CarrierBound{job.carrier, true});
  }
  job.on_carrier = false;
  job.clock_s += wait;
  stand(making.bodies[hands.body], setting.plant, setting.book, making.world, job.clock_s);
  mark(making.truth[hands.body], Fault::open_too_long,
       "open for " + quantity::shortest(rounded(wait / 3600.0, 0.01)) + " h");
}

void finish_vial(std::size_t i, const Setting& setting, Making& making) {
  Random random(setting.plan.seed, "weighing", i);
  Job& job = making.jobs[i];
  const VialFaults& faults = making.faults.vials[i];
  const Hands hands{i, body_on(i, true, making)};
  befall(hands, setting, making);
  if (faults.read_unmixed) look_unmixed(hands, setting, making);
  mix(i, making);
  if (faults.wait_s > 0.0 && faults.wait_before_gross) leave_open(hands, setting, making);
  job.clock_s += 4.0;
  stand(making.bodies[hands.body], setting.plant, setting.book, making.world, job.clock_s);
  gauge(hands, setting, making, random);
  if (!faults.read_unmixed) look(hands, setting, making);
  job.clock_s += 5.0;
  read_gross(making.scales.gross, hands, setting, making, false, random);
  if (job.weighed_twice) {
    job.clock_s += 15.0;
    read_gross(making.scales.tare, hands, setting, making, true, random);
  }
  Random bench(setting.plan.seed, "bench colour", i);
  if (bench.happens(setting.plan.bench_colour)) look_at_bench(hands, setting, making);
  if (faults.wait_s > 0.0 && !faults.wait_before_gross) leave_open(hands, setting, making);
  cap(hands, setting, making);
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
    register_vial(i, setting, making, random);
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
