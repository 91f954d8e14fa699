/// The making of a shift, stage by stage. Private.
#pragma once

#include <string>
#include <vector>

#include "twin/body.hpp"
#include "twin/dosing.hpp"
#include "twin/messages.hpp"

namespace vialwright::twin {

/// What is given.
struct Setting {
  const plant::Plant& plant;
  const recipe::Book& book;
  const std::vector<recipe::Recipe>& recipes;
  const std::vector<OrderWanted>& orders;
  const ShiftPlan& plan;
};

/// What the line believes it is making on one carrier.
struct Job {
  std::string serial, carrier, order;
  int recipe = 0, container = 0;
  double clock_s = 0.0;  ///< when its last step was done
  bool on_carrier = true;
  bool weighed_twice = false;  ///< full, on the scale of the tares too
  int looks = 0;               ///< how often its colour was looked at
};

/// When a vial that is being made takes up a station.
struct Visit {
  double from_s = 0.0, to_s = 0.0;
};

/// What a tank holds from a moment on.
struct TankLevel {
  double from_s = 0.0, mass_g = 0.0;
};

/// The scales by their use; -1 = the line has none.
struct Scales {
  int tare = -1, gross = -1;
};

/// All that changes while the shift is made.
struct Making {
  World world;
  Faults faults;
  Scales scales;
  std::vector<Job> jobs;
  std::vector<Body> bodies;  ///< beside jobs: the glass that was registered for it
  std::vector<Happening> happenings;
  std::vector<VialTruth> truth;                     ///< beside bodies
  std::vector<std::vector<double>> hanging_g;       ///< [station][nozzle]: the drop there
  std::vector<double> tank_g;                       ///< beside Plant::tanks
  std::vector<std::vector<TankLevel>> tank_levels;  ///< [tank], after each dose from it
  std::vector<std::vector<Visit>> visits;           ///< [station], by time
};

[[nodiscard]] Scales scales_of(const plant::Plant& plant);

/// Everything before the first vial, and what goes on beside the vials: recipes, orders, lots,
/// calibrations, the weather, energy.
void open_shift(const Setting& setting, Making& making);

/// What a body is now, into its truth.
void tell_truth(const Body& body, const World& world, VialTruth& truth);

/// Index into World::lots of what is really in the tank, and how much of it was used by then.
struct LotInUse {
  int told = 0, real = 0;
  double used = 0.0;
};
[[nodiscard]] LotInUse lot_in_use(int stock, int vial, const Setting& setting,
                                  const Faults& faults);

[[nodiscard]] Making prepare(const Setting& setting);  ///< everything drawn, nothing made

// The stages of every vial. Each stage is made for all vials before the next one, because two vials
// may have changed places in between.
void register_and_tare(const Setting& setting, Making& making);
void dose_all(const Setting& setting, Making& making);
void weigh_and_cap(const Setting& setting, Making& making);

[[nodiscard]] double bound_at_s(int vial, const ShiftPlan& plan);               ///< nominal
[[nodiscard]] double visit_at_s(int vial, int station, const ShiftPlan& plan);  ///< nominal

/// World and truth as JSON, a vial a line, then a top-up a line where there are any.
[[nodiscard]] std::string truth_json(const Setting& setting, const Making& making,
                                     const std::vector<TopupTruth>& topups);

}  // namespace vialwright::twin
