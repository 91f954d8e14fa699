/// What happened later than the rest was made, on its way into the record. Private.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "twin/messages.hpp"

namespace vialwright::twin {

/// Happenings wait for their time to be numbered and stamped, then for their arrival. Time only
/// goes forward.
class Outbox {
 public:
  /// @param under  put before the name of every device, so that its numbering is its own.
  Outbox(const ShiftPlan& plan, std::string_view stream, std::string under)
      : post_(plan, stream), under_(std::move(under)) {}

  void put(std::vector<Happening> happenings);
  void put(std::vector<Message> travelling);

  /// What arrives by then, in the order of arrival; each message once.
  [[nodiscard]] std::vector<Message> arrived_by(double t_s);

  /// Readings of a tank after that time, not told yet, show it emptier.
  void lower_tank(const std::string& tank, Instant after, double mass_g, double resolution_g);

  /// A vial that would have been bound to that order is bound to none. @returns whether one was
  /// still to be told of.
  bool leave_unbound(const std::string& order);

 private:
  Post post_;
  std::string under_;
  std::vector<Happening> waiting_;
  std::multimap<double, Message> travelling_;  ///< by arrival; first come, first out
};

}  // namespace vialwright::twin
