/// Single steps of a vial on the line; each adds what the line hears of it to Making::happenings.
/// Private.
#pragma once

#include <string>

#include "twin/shift.hpp"

namespace vialwright::twin {

/// Whose step the line believes it to be, and which glass it is made with; they differ after a
/// swap.
struct Hands {
  std::size_t job = 0, body = 0;
};

/// One dose as it is to be made.
struct DoseStep {
  const PlannedDose& planned;
  std::string id;
  double factor = 1.0;  ///< of a planted fault
  LotInUse lot;
};

void happen(Making& making, std::size_t job, double t_s, const std::string& device, Link link,
            event::Data data);

/// What the scanner reads from the glass; a code is read 97 times in 100.
[[nodiscard]] std::string scan(const Hands& hands, const Making& making, Random& random);

/// Put on its carrier, bound to the job's order where there is one, tared.
void register_vial(std::size_t job, const Setting& setting, Making& making, Random& random);
/// On the job's carrier, at the job's clock, which goes on.
void move_to(int station, std::size_t job, double not_before_s, const Setting& setting,
             Making& making);
void dose_one(const DoseStep& step, const Hands& hands, const Setting& setting, Making& making,
              Random& random);
void mix(std::size_t job, Making& making);
void gauge(const Hands& hands, const Setting& setting, Making& making, Random& random);
/// The colour gauges of the line: all but the last of several, which is the bench's.
void look(const Hands& hands, const Setting& setting, Making& making);
/// The same before the mixer, where layers stand one on the other.
void look_unmixed(const Hands& hands, const Setting& setting, Making& making);
/// The bench's gauge, where there are several; takes a quarter of a minute.
void look_at_bench(const Hands& hands, const Setting& setting, Making& making);
/// @param by_hand  a second weighing, on the scale of the tares: no blunder there.
void read_gross(int scale, const Hands& hands, const Setting& setting, Making& making, bool by_hand,
                Random& random);
void cap(const Hands& hands, const Setting& setting, Making& making);
void uncap(const Hands& hands, const Setting& setting, Making& making);

/// What a told addition is on this line. @pre the station doses the stock.
[[nodiscard]] PlannedDose planned_of(const Told& told, const Setting& setting);

}  // namespace vialwright::twin
