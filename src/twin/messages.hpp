/// From what happened to what arrives: sources number and stamp it, links carry it. Private.
#pragma once

#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "twin/faults.hpp"

namespace vialwright::twin {

/// How long a link takes. Devices on the line's own bus, controllers that are polled, offices.
enum class Link { bus, polled, office };

struct Happening {
  double t_s = 0.0;    ///< true time since the start of the shift
  std::string device;  ///< its source is the plan's, "/" and this
  std::string subject;
  event::Data data;
  int vial = -1;  ///< index, for planting faults of messages
  Link link = Link::bus;
};

/// A message on its way.
struct Message {
  event::Event event;
  double received_s = 0.0;
  int vial = -1;
  bool lost = false;
  bool touched = false;  ///< has a planted fault already
};

/// Sources that number and stamp what happened at them; one link each.
class Post {
 public:
  Post(const ShiftPlan& plan, std::string_view stream) : plan_(plan), random_(plan.seed, stream) {}

  /// @pre happenings of one device come in the order of their times.
  [[nodiscard]] Message send(Happening happening);

 private:
  struct Source {
    double clock_offset_s = 0.0, clock_drift = 0.0;
    std::uint64_t sent = 0;
    double last_received_s = -1e18;
  };
  const ShiftPlan& plan_;
  Random random_;
  std::map<std::string, Source> sources_;
};

/// Numbers each source's events by its time, stamps them with its clock, and lets them arrive in
/// the order of their source.
[[nodiscard]] std::vector<Message> messages(std::vector<Happening> happenings,
                                            const ShiftPlan& plan);

/// Plants the faults of messages, a fault to a vial's message, and notes each in the truth.
void disturb(std::vector<Message>& messages, const Faults& faults, const ShiftPlan& plan,
             std::vector<VialTruth>& truth);

}  // namespace vialwright::twin
