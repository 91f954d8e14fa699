/// The hands that rework vials, one at a time, at stations where others are being made. Private.
#pragma once

#include <string>
#include <vector>

#include "twin/outbox.hpp"
#include "twin/steps.hpp"

namespace vialwright::twin {

/// The record that a vial stands in and the glass are one by now: the printed code says which.
class Crew {
 public:
  Crew(const Setting& setting, Making& making, Outbox& outbox)
      : setting_(setting),
        making_(making),
        outbox_(outbox),
        taken_g_(setting.plant.tanks.size(), 0.0) {}

  /// Onto a carrier of its own and uncapped, once the crew is free. @returns when they begin.
  double takes(std::size_t vial, double not_before_s);
  /// A dose in the next free time of its station. @returns what reached the vial, g.
  double doses(const PlannedDose& planned, const std::string& id, std::size_t vial, Random& random);
  /// Gauged, weighed, capped, off its carrier; all of it goes into the outbox. @returns when.
  double closes(std::size_t vial, bool weigh_on_both, Random& random);

 private:
  [[nodiscard]] double free_slot(int station, double from_s, double length_s) const;
  [[nodiscard]] LotInUse lot_at(const PlannedDose& planned, double t_s) const;
  void set_tank(int tank, double t_s);
  void keep_tank(int tank, double t_s, double before_g);

  const Setting& setting_;
  Making& making_;
  Outbox& outbox_;
  std::vector<double> taken_g_;  ///< [tank]
  double free_s_ = -1e18;
};

}  // namespace vialwright::twin
