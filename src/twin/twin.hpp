/// The simulated line. A *world* is one draw of all its hidden errors; a shift is a recording made
/// in that world. The physics differ in form from the estimator's on purpose (a world built like
/// the estimator proves nothing); this module never includes contents, mixing or instruments.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "event/event.hpp"
#include "plant/plant.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::twin {

using quantity::Instant;

/// Kinds of trouble that can be planted.
enum class Fault {
  over_dose,
  under_dose,
  swapped_vials,
  drifting_meter,
  wrong_lot,
  gross_blunder,
  open_too_long,
  missing_event,
  late_event,
  duplicate_event,
  out_of_order,
  conflicting_event,
};
[[nodiscard]] std::string_view word(Fault fault);

struct FaultRates {  ///< probability per vial; drifting_meter and wrong_lot: count in the shift
  double over_dose = 0.0, under_dose = 0.0, swapped_vials = 0.0, gross_blunder = 0.0,
         open_too_long = 0.0, missing_event = 0.0, late_event = 0.0, duplicate_event = 0.0,
         out_of_order = 0.0, conflicting_event = 0.0;
  int drifting_meter = 0, wrong_lot = 0;
};

struct ShiftPlan {
  std::uint64_t seed = 1;  ///< everything drawn comes from it
  int vials = 600;
  Instant start;
  double vial_every_s = 40.0;
  FaultRates faults;
  double hardness = 1.0;  ///< scales the departures from the estimator's form; 0 = none of them
  double weighed_twice = 0.1;             ///< share of vials weighed full on the tares' scale too
  std::string source = "larkmoor/line1";  ///< what every event source begins with
};

struct OrderWanted {
  std::string order, recipe;
  Instant due;
  double value = 0.0;
  int priority = 0;
};

/// What really happened to one vial; never seen by the engine.
struct VialTruth {
  std::string serial;
  std::string order, recipe;                  ///< what the line bound it to; order may be empty
  std::vector<double> component_mg, stock_g;  ///< book order, at the end of the shift
  double net_g = 0.0, volume_ml = 0.0, tare_g = 0.0, evaporated_g = 0.0;
  std::vector<Fault> faults;
  std::vector<std::string> notes;  ///< beside `faults`: which dose or event, and by how much
};

struct Shift {
  std::vector<std::string> lines;  ///< events as JSON text, in the order they arrive
  std::vector<Instant> received;   ///< beside `lines`
  std::vector<VialTruth> truth;
  std::string truth_json;  ///< world and truth, for a separate file
};

/// Does it really hold every line of the recipe?
[[nodiscard]] bool meets(const VialTruth& truth, const recipe::Recipe& recipe);

/// Records a shift. Same arguments, same bytes.
/// Vial i is made for order i; vials beyond the orders go round the recipes and are bound to none.
/// Tares are read on the first scale of the plant and gross weights on the last; where these are
/// two, a share of the vials is weighed full on both.
/// @pre plant, book and recipes have no problems; a recipe is there; every stock that a recipe
///      permits has a lot and a station; every order names a recipe.
[[nodiscard]] Shift record_shift(const plant::Plant& plant, const recipe::Book& book,
                                 const std::vector<recipe::Recipe>& recipes,
                                 const std::vector<OrderWanted>& orders, const ShiftPlan& plan);

}  // namespace vialwright::twin
