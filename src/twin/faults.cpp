#include "twin/faults.hpp"

#include <algorithm>
#include <cmath>

namespace vialwright::twin {
namespace {

/// Sometimes both are drawn for one vial; then the first holds.
double draw_dose_factor(const FaultRates& rates, Random& random) {
  const bool over = random.happens(rates.over_dose);
  const bool under = random.happens(rates.under_dose);
  const double size = random.between(0.04, 0.40);
  if (over) return 1.0 + size;
  return under ? 1.0 - size : 1.0;
}

void draw_colour_faults(const FaultRates& rates, VialFaults& faults, Random& random) {
  faults.contaminated = random.happens(rates.contaminated);
  faults.carried_over = random.happens(0.5);
  faults.mishap_size = random.uniform();
  const bool fades = random.happens(rates.faded);
  const double share = random.between(0.05, 0.30);
  faults.faded = fades ? share : 0.0;
  faults.colour_glare = random.happens(rates.colour_glare);
  faults.read_unmixed = random.happens(rates.read_unmixed);
}

VialFaults draw_vial(const FaultRates& rates, Random& random) {
  VialFaults faults;
  faults.dose_factor = draw_dose_factor(rates, random);
  faults.dose_pick = random.uniform();
  faults.gross_blunder = random.happens(rates.gross_blunder);
  const bool waits = random.happens(rates.open_too_long);
  const double hours = random.between(2.0, 9.0);
  faults.wait_s = waits ? hours * 3600.0 : 0.0;
  faults.wait_before_gross = random.happens(0.5);
  faults.missing = random.happens(rates.missing_event);
  faults.late = random.happens(rates.late_event);
  faults.duplicate = random.happens(rates.duplicate_event);
  faults.out_of_order = random.happens(rates.out_of_order);
  faults.conflicting = random.happens(rates.conflicting_event);
  draw_colour_faults(rates, faults, random);
  return faults;
}

/// Neighbours of one kind change places. The rate is per vial, and a swap touches two.
void swap_neighbours(double rate, std::uint64_t seed, const std::vector<int>& containers,
                     std::vector<VialFaults>& vials) {
  for (std::size_t i = 0; i + 1 < vials.size(); ++i) {
    Random random(seed, "swap", i);
    if (!random.happens(rate / 2.0)) continue;
    if (vials[i].swapped_with || containers[i] != containers[i + 1]) continue;
    vials[i].swapped_with = static_cast<int>(i + 1);
    vials[i + 1].swapped_with = static_cast<int>(i);
    vials[i].swapped_before_doses = vials[i + 1].swapped_before_doses = random.happens(0.5);
    vials[i].scanner_sees = random.happens(0.5);
    vials[i + 1].scanner_sees = vials[i].scanner_sees;
  }
}

bool looks_at_colour(const plant::Plant& plant) {
  return std::any_of(plant.instruments.begin(), plant.instruments.end(),
                     [](const plant::Instrument& it) { return it.colour.has_value(); });
}

FaultRates without_colour(FaultRates rates) {
  rates.contaminated = rates.faded = rates.colour_glare = rates.read_unmixed = 0.0;
  return rates;
}

bool colours(const recipe::Book& book, const LotTruth& lot) {
  for (std::size_t k = 0; k < book.components.size(); ++k) {
    if (!book.components[k].evaporates && lot.mg_per_g[k] > 0.0) return true;
  }
  return false;
}

/// A stock whose strength matters, or nothing where there is none.
std::optional<int> draw_lot_to_mistake(const recipe::Book& book, const World& world,
                                       Random& random) {
  std::vector<int> fit;
  for (std::size_t l = 0; l < book.lots.size(); ++l) {
    if (colours(book, world.lots[l])) fit.push_back(static_cast<int>(l));
  }
  if (fit.empty()) return std::nullopt;
  return fit[at(random.below(static_cast<int>(fit.size())))];
}

WrongLot mistake_lot(int lot, const recipe::Book& book, int vials, World& world, Random& random) {
  WrongLot wrong;
  wrong.stock = world.lots[at(lot)].stock;
  wrong.from_vial = static_cast<int>(vials * random.between(0.2, 0.8));
  wrong.to_vial = std::min(wrong.from_vial + 12 + random.below(13), vials);
  const double size = random.between(0.05, 0.15);
  wrong.factor = random.happens(0.5) ? 1.0 + size : 1.0 - size;
  wrong.lot = add_wrong_lot(lot, wrong.factor, book, world);
  return wrong;
}

/// Up to 2 to 6 % at the end of the shift.
Ramp draw_ramp(double length_s, Random& random) {
  Ramp ramp;
  ramp.from_s = length_s * random.between(0.2, 0.6);
  const double reached = random.between(0.02, 0.06);
  const double sign = random.happens(0.5) ? 1.0 : -1.0;
  ramp.per_s = sign * reached / (length_s - ramp.from_s);
  return ramp;
}

std::vector<int> meters_of(const plant::Plant& plant) {
  std::vector<int> meters;
  for (const plant::Station& station : plant.stations) {
    for (const std::string& id : station.meters) {
      const auto found = plant::find_instrument(plant, id);
      if (found && std::find(meters.begin(), meters.end(), *found) == meters.end()) {
        meters.push_back(*found);
      }
    }
  }
  return meters;
}

std::vector<int> let_meters_run_away(const plant::Plant& plant, const ShiftPlan& plan,
                                     World& world) {
  std::vector<int> left = meters_of(plant), chosen;
  Random random(plan.seed, "runaway");
  for (int k = 0; k < plan.faults.drifting_meter && !left.empty(); ++k) {
    const int pick = random.below(static_cast<int>(left.size()));
    const int meter = left[at(pick)];
    left.erase(left.begin() + pick);
    world.instruments[at(meter)].runaway = draw_ramp(world.length_s, random);
    chosen.push_back(meter);
  }
  return chosen;
}

}  // namespace

Faults draw_faults(const plant::Plant& plant, const recipe::Book& book, const ShiftPlan& plan,
                   const std::vector<int>& containers, World& world) {
  Faults faults;
  const FaultRates rates = looks_at_colour(plant) ? plan.faults : without_colour(plan.faults);
  for (int i = 0; i < plan.vials; ++i) {
    Random random(plan.seed, "faults", static_cast<std::uint64_t>(i));
    faults.vials.push_back(draw_vial(rates, random));
  }
  swap_neighbours(plan.faults.swapped_vials, plan.seed, containers, faults.vials);
  Random random(plan.seed, "wrong lot");
  for (int k = 0; k < plan.faults.wrong_lot; ++k) {
    const auto lot = draw_lot_to_mistake(book, world, random);
    if (lot) faults.wrong_lots.push_back(mistake_lot(*lot, book, plan.vials, world, random));
  }
  faults.runaway_meters = let_meters_run_away(plant, plan, world);
  return faults;
}

int add_wrong_lot(int lot, double factor, const recipe::Book& book, World& world) {
  LotTruth real = world.lots[at(lot)];
  for (std::size_t k = 0; k < real.mg_per_g.size(); ++k) {
    if (!book.components[k].evaporates) real.mg_per_g[k] *= factor;
  }
  world.lots.push_back(std::move(real));
  return static_cast<int>(world.lots.size()) - 1;
}

void mark(VialTruth& truth, Fault fault, std::string note) {
  if (std::find(truth.faults.begin(), truth.faults.end(), fault) != truth.faults.end() &&
      std::find(truth.notes.begin(), truth.notes.end(), note) != truth.notes.end()) {
    return;
  }
  truth.faults.push_back(fault);
  truth.notes.push_back(std::move(note));
}

}  // namespace vialwright::twin
