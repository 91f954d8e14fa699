/// A shift from its plan: draw, make, send.

#include "twin/rework.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <utility>

namespace vialwright::twin {
namespace {

/// Drift lasts from the first vial to the last, and for those that were forgotten.
double length_s(const ShiftPlan& plan) { return plan.vials * plan.vial_every_s + 600.0; }

int recipe_of(int vial, const Setting& setting) {
  const auto count = static_cast<int>(setting.recipes.size());
  if (vial >= static_cast<int>(setting.orders.size())) return vial % count;
  const std::string& wanted = setting.orders[at(vial)].recipe;
  for (int r = 0; r < count; ++r) {
    if (setting.recipes[at(r)].id == wanted) return r;
  }
  require(false, "every order names a recipe");
  return 0;
}

std::string numbered(const char* prefix, int width, int number) {
  const std::string digits = std::to_string(number);
  const auto missing =
      static_cast<std::size_t>(std::max(width - static_cast<int>(digits.size()), 0));
  return prefix + std::string(missing, '0') + digits;
}

Job job_of(int vial, const Setting& setting, const Scales& scales) {
  // A vial is on its carrier for three minutes or so.
  const int carriers =
      std::max(16, static_cast<int>(std::ceil(400.0 / setting.plan.vial_every_s)) + 1);
  Random random(setting.plan.seed, "job", static_cast<std::uint64_t>(vial));
  Job job;
  job.serial = numbered("V", 5, vial + 1);
  job.carrier = numbered("C", 2, vial % carriers + 1);
  const bool ordered = vial < static_cast<int>(setting.orders.size());
  job.order = ordered ? setting.orders[at(vial)].order : "";
  job.recipe = recipe_of(vial, setting);
  job.container =
      plant::find_container(setting.plant, setting.recipes[at(job.recipe)].container).value_or(0);
  job.clock_s = bound_at_s(vial, setting.plan) + random.between(0.0, 3.0);
  job.weighed_twice = scales.tare != scales.gross && random.happens(setting.plan.weighed_twice);
  return job;
}

void draw_vials(const Setting& setting, Making& making) {
  for (std::size_t i = 0; i < making.jobs.size(); ++i) {
    Random random(setting.plan.seed, "body", i);
    const Job& job = making.jobs[i];
    making.bodies.push_back(
        draw_body(setting.plant, setting.book, making.world, job.container, job.serial, random));
    VialTruth truth;
    truth.serial = job.serial;
    truth.order = job.order;
    truth.recipe = setting.recipes[at(job.recipe)].id;
    making.truth.push_back(std::move(truth));
  }
  for (std::size_t i = 0; i < making.jobs.size(); ++i) {
    const VialFaults& faults = making.faults.vials[i];
    if (!faults.swapped_with) continue;
    mark(making.truth[i], Fault::swapped_vials,
         std::string("with ") + making.jobs[at(*faults.swapped_with)].serial +
             (faults.swapped_before_doses ? " before the doses" : " after the doses"));
  }
}

}  // namespace

Making prepare(const Setting& setting) {
  const ShiftPlan& plan = setting.plan;
  Making making{
      .world = draw_world(setting.plant, setting.book, plan.seed, plan.hardness, length_s(plan)),
      .faults = {},
      .scales = scales_of(setting.plant),
      .jobs = {},
      .bodies = {},
      .happenings = {},
      .truth = {},
      .hanging_g = {},
      .tank_g = std::vector<double>(setting.plant.tanks.size(), 12000.0),
      .tank_levels = {},
      .visits = {}};
  making.world.dose_spread_factor = plan.dose_spread_factor;
  making.tank_levels.resize(setting.plant.tanks.size());
  making.visits.resize(setting.plant.stations.size());
  std::vector<int> containers;
  for (int i = 0; i < plan.vials; ++i) {
    making.jobs.push_back(job_of(i, setting, making.scales));
    containers.push_back(making.jobs.back().container);
  }
  making.faults = draw_faults(setting.plant, setting.book, plan, containers, making.world);
  for (const plant::Station& station : setting.plant.stations) {
    making.hanging_g.emplace_back(station.stocks.size(), 0.0);
  }
  draw_vials(setting, making);
  return making;
}

namespace {

/// What each vial is when the last one has left.
void close_truth(const Setting& setting, Making& making) {
  double end = making.world.length_s;
  for (const Job& job : making.jobs) end = std::max(end, job.clock_s);
  for (std::size_t i = 0; i < making.bodies.size(); ++i) {
    Body& body = making.bodies[i];
    stand(body, setting.plant, setting.book, making.world, end);
    tell_truth(body, making.world, making.truth[i]);
  }
}

double value_of(const VialTruth& truth, const recipe::Tolerance& line,
                const recipe::Recipe& recipe) {
  using enum recipe::ToleranceOn;
  switch (line.on) {
    case content:
      return truth.component_mg[at(line.of)] / truth.net_g;
    case component_mass:
      return truth.component_mg[at(line.of)];
    case stock_mass:
      return truth.stock_g[at(line.of)];
    case net_mass:
      return truth.net_g;
    case volume:
      return truth.volume_ml;
    case colour: {
      const recipe::ColourTarget& wanted = recipe.colours[at(line.of)];
      return colour::difference_00(colour_of(truth, wanted), wanted.lab);
    }
    case concentration:
      break;
  }
  return truth.component_mg[at(line.of)] / truth.volume_ml;
}

}  // namespace

void tell_truth(const Body& body, const World& world, VialTruth& truth) {
  truth.component_mg = body.component_mg;
  truth.stock_g = body.stock_g;
  truth.net_g = net_g(body);
  truth.volume_ml = volume_ml(body);
  truth.tare_g = body.tare_g;
  truth.evaporated_g = body.evaporated_g;
  truth.absorbance_per_cm = absorbance_per_cm(body, world);
}

std::string_view word(Fault fault) {
  using enum Fault;
  switch (fault) {
    case over_dose:
      return "over_dose";
    case under_dose:
      return "under_dose";
    case swapped_vials:
      return "swapped_vials";
    case drifting_meter:
      return "drifting_meter";
    case wrong_lot:
      return "wrong_lot";
    case gross_blunder:
      return "gross_blunder";
    case open_too_long:
      return "open_too_long";
    case contaminated:
      return "contaminated";
    case faded:
      return "faded";
    case colour_glare:
      return "colour_glare";
    case read_unmixed:
      return "read_unmixed";
    case missing_event:
      return "missing_event";
    case late_event:
      return "late_event";
    case duplicate_event:
      return "duplicate_event";
    case out_of_order:
      return "out_of_order";
    case conflicting_event:
      break;
  }
  return "conflicting_event";
}

colour::Lab colour_of(const VialTruth& truth, const recipe::ColourTarget& target) {
  return looks(transmittance(truth.absorbance_per_cm, target.path_cm), target.observer,
               target.illuminant);
}

bool meets(const VialTruth& truth, const recipe::Recipe& recipe) {
  return std::all_of(recipe.tolerances.begin(), recipe.tolerances.end(),
                     [&](const recipe::Tolerance& line) {
                       const double value = value_of(truth, line, recipe);
                       return value >= line.low && value <= line.high;
                     });
}

Shift record_shift(const plant::Plant& plant, const recipe::Book& book,
                   const std::vector<recipe::Recipe>& recipes,
                   const std::vector<OrderWanted>& orders, const ShiftPlan& plan,
                   const Adviser& adviser) {
  require(!recipes.empty() && !plant.containers.empty() && !plant.stations.empty(),
          "there is a recipe, a container and a station");
  const Setting setting{plant, book, recipes, orders, plan};
  Making making = prepare(setting);
  if (adviser) let_fade(book, plan.seed, making.world);
  open_shift(setting, making);
  register_and_tare(setting, making);
  dose_all(setting, making);
  weigh_and_cap(setting, making);
  if (!adviser) close_truth(setting, making);

  std::vector<Message> sent = messages(std::move(making.happenings), plan);
  disturb(sent, making.faults, plan, making.truth);
  std::stable_sort(sent.begin(), sent.end(), [](const Message& one, const Message& two) {
    return one.received_s < two.received_s;
  });
  if (adviser) return reworked(setting, making, std::move(sent), adviser);
  Shift shift;
  for (const Message& message : sent) {
    if (message.lost) continue;
    shift.lines.push_back(event::write(message.event));
    shift.received.push_back(quantity::later_by(plan.start, message.received_s));
  }
  shift.truth_json = truth_json(setting, making, {});
  shift.truth = std::move(making.truth);
  return shift;
}

}  // namespace vialwright::twin
