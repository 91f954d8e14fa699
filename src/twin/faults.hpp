/// Which vials get which trouble, drawn before the shift. Private.
#pragma once

#include <optional>
#include <vector>

#include "twin/twin.hpp"
#include "twin/world.hpp"

namespace vialwright::twin {

struct VialFaults {
  double dose_factor = 1.0;         ///< of one of its doses
  double dose_pick = 0.0;           ///< which: a share of the number of doses
  std::optional<int> swapped_with;  ///< the vial whose carrier it is put on
  bool swapped_before_doses = false;
  bool scanner_sees = false;  ///< the swap, where a code is read
  bool gross_blunder = false;
  double wait_s = 0.0;  ///< stands open
  bool wait_before_gross = false;
  bool contaminated = false, carried_over = false;  ///< the second: by a stock of the line
  double mishap_size = 0.0;                         ///< of either, 0 to 1
  double faded = 0.0;                               ///< share of the dyes that light took
  bool colour_glare = false, read_unmixed = false;
  bool missing = false, late = false, duplicate = false, out_of_order = false, conflicting = false;
};

struct WrongLot {
  int stock = 0;
  int from_vial = 0, to_vial = 0;  ///< from <= vial < to
  double factor = 1.0;             ///< of the strengths of what does not evaporate
  int lot = -1;                    ///< index into World::lots
};

struct Faults {
  std::vector<VialFaults> vials;
  std::vector<WrongLot> wrong_lots;
  std::vector<int> runaway_meters;  ///< indices of instruments; the ramp is in the world
};

/// @param containers  of each vial: only vials of one kind are taken for one another.
[[nodiscard]] Faults draw_faults(const plant::Plant& plant, const recipe::Book& book,
                                 const ShiftPlan& plan, const std::vector<int>& containers,
                                 World& world);

/// A lot of other strengths that nobody was told of. @returns its index in World::lots.
int add_wrong_lot(int lot, double factor, const recipe::Book& book, World& world);

void mark(VialTruth& truth, Fault fault, std::string note);

}  // namespace vialwright::twin
