/// What befalls a vial between its doses and the mixer, told to nobody but the truth. Private.
#pragma once

#include "twin/steps.hpp"

namespace vialwright::twin {

/// Something with a smooth spectrum that nobody knows. @param per_cm  its absorbance at the
/// highest.
void spill_colourant(double per_cm, const Hands& hands, const Setting& setting, Making& making,
                     Random& random);
/// Some of a stock that stuck to the carrier or the nozzle; no dose, no command.
void carry_over(int stock, double mass_g, const Hands& hands, const Setting& setting,
                Making& making);
void leave_in_light(double share, const Hands& hands, const Setting& setting, Making& making,
                    Random& random);

/// The planted ones of a job, as the shift drew them.
void befall(const Hands& hands, const Setting& setting, Making& making);

}  // namespace vialwright::twin
