/// Private to topup: how the amount that a station is told relates to what falls into the vial.
#pragma once

#include <optional>

#include "topup/topup.hpp"

namespace vialwright::topup {

/// The true dose is (amount - offset) / (1 + gain), and spread about it. The first meter of the
/// station stops the dose, so the doubt about that meter is in every dose it stops. Its zero rate
/// is left out: it needs the counting time of a dose not made yet, and the station's spread, seen
/// on doses that counted, already has it.
struct Dosing {
  std::optional<int> meter;  ///< index into Plant::instruments; none = the amount is the mean
  double gain = 0.0;         ///< of the meter, less its calibrated value, mean of the belief
  double offset_g = 0.0;     ///< likewise, g
  bool by_volume = false;    ///< the meter reads mL
  double g_per_unit = 1.0;   ///< g of stock in one unit of the meter (g or mL)
  double spread_g = 0.0, spread_rel = 0.0;

  [[nodiscard]] double true_amount(double told_g) const;
  [[nodiscard]] double told_amount(double true_g) const;
  [[nodiscard]] double spread(double true_g) const;  ///< standard deviation, g
};

[[nodiscard]] Dosing dosing_of(const contents::Belief& belief, int station, int stock,
                               const plant::Plant& plant, const recipe::Book& book);

/// Does that effect of the belief speak of the instrument, by itself or by a shared source?
[[nodiscard]] bool speaks_of(const contents::Effect& effect, contents::Effect::Kind kind,
                             int instrument, const plant::Plant& plant);

/// Index of the effect in Belief::effects, or nullopt.
[[nodiscard]] std::optional<int> find_strength(const contents::Belief& belief, int lot,
                                               int component);
[[nodiscard]] std::optional<int> find_meter(const contents::Belief& belief,
                                            contents::Effect::Kind kind, int instrument,
                                            const plant::Plant& plant);

/// Mean strength of a lot as the belief has it, mg/g.
[[nodiscard]] double strength(const contents::Belief& belief, int lot, int component,
                              const recipe::Book& book);

}  // namespace vialwright::topup
