/// Before dosing: the odds that an order passes on the line as it is today, and where to aim.
#pragma once

#include <string>
#include <vector>

#include "topup/topup.hpp"

namespace vialwright::making {

/// What the line has today for one order.
struct Today {
  std::vector<topup::Addition> loaded;    ///< stock, lot, station that are up; amount unused
  std::vector<int> off;                   ///< instruments that are off, indices into the plant
  int tare_scale = -1, gross_scale = -1;  ///< instruments; -1 = none
  int colour_gauge = -1;                  ///< instrument that looks at the mixed vial; -1 = none
  double air_kg_per_m3 = 1.2;
};

/// What a miss costs: below a limit something can be added, above it the vial is spoilt for it.
/// Both 0: the aim has the best odds.
struct Stakes {
  double under = 0.0, over = 0.0;  ///< unit of account, >= 0
};

struct Dose {
  topup::Addition addition;  ///< told amount
  double nominal_g = 0.0;    ///< what hits the targets on paper; 0 = they need none of that stock
  double offset = 0.0;       ///< told over nominal, less one: negative = under; 0 without nominal
};

enum class Can { yes, not_dosable, not_permitted, impossible };

struct Forecast {
  Can can = Can::yes;
  std::string because;                  ///< when it cannot
  std::vector<Dose> doses;              ///< in the order they are best made: the largest first
  conformity::Probability passes;       ///< P(all lines hold) at the advised aim
  conformity::Probability at_nominal;   ///< same, aimed at the targets
  double under = 0.0, over = 0.0;       ///< P(some line is missed low / high) at the advised aim;
                                        ///< a colour missed alone counts as low
  double proven = 0.0, u_proven = 0.0;  ///< P(the evidence then leads to release)
  double loss = 0.0, loss_at_nominal = 0.0;  ///< expected, unit of account
  double cost = 0.0;                         ///< stocks and visits
};

/// The doses that hit the targets on paper, the aim near them that costs least (loss and stocks)
/// with its mean inside every line, and what comes of it. Where what hits the contents misses the
/// colour, or there are no contents to hit, the doses are those with the best odds. One dose a
/// stock, within what its station can make. A station whose first meter is off doses by command
/// alone; `loaded` names no station that is off. `proven` is drawn, 256 vials, the same every time;
/// u_proven is its standard error.
/// @param container  index into the plant.
[[nodiscard]] Forecast forecast(const recipe::Recipe& recipe, int container, const Today& today,
                                const Stakes& stakes, const plant::Plant& plant,
                                const recipe::Book& book, const topup::Options& options = {});

/// The aim in one dimension: Gaussian error sd (relative), limits -tolerance, +tolerance (relative)
/// about the target, least expected loss. Closed form inside; for tests and teaching.
struct Aim {
  double offset = 0.0, loss = 0.0, loss_at_zero = 0.0;
};
[[nodiscard]] Aim best_offset(double sd, double tolerance, const Stakes& stakes);

}  // namespace vialwright::making
