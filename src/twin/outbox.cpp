#include "twin/outbox.hpp"

#include <algorithm>
#include <iterator>

#include "twin/dosing.hpp"

namespace vialwright::twin {

void Outbox::put(std::vector<Happening> happenings) {
  for (Happening& happening : happenings) {
    happening.device = under_ + happening.device;
    waiting_.push_back(std::move(happening));
  }
}

void Outbox::put(std::vector<Message> travelling) {
  for (Message& message : travelling) {
    const double arrives = message.received_s;
    travelling_.emplace(arrives, std::move(message));
  }
}

std::vector<Message> Outbox::arrived_by(double t_s) {
  const auto later = std::stable_partition(waiting_.begin(), waiting_.end(),
                                           [t_s](const Happening& it) { return it.t_s <= t_s; });
  std::vector<Happening> due(std::make_move_iterator(waiting_.begin()),
                             std::make_move_iterator(later));
  waiting_.erase(waiting_.begin(), later);
  std::stable_sort(due.begin(), due.end(), [](const Happening& one, const Happening& other) {
    return one.t_s < other.t_s;
  });
  for (Happening& happening : due) {
    Message message = post_.send(std::move(happening));
    const double arrives = message.received_s;
    travelling_.emplace(arrives, std::move(message));
  }
  std::vector<Message> arrived;
  const auto end = travelling_.upper_bound(t_s);
  for (auto it = travelling_.begin(); it != end; ++it) arrived.push_back(std::move(it->second));
  travelling_.erase(travelling_.begin(), end);
  return arrived;
}

void Outbox::lower_tank(const std::string& tank, Instant after, double mass_g,
                        double resolution_g) {
  for (auto& [arrives, message] : travelling_) {
    auto* read = std::get_if<event::TankRead>(&message.event.data);
    if (read == nullptr || read->tank != tank || message.event.time < after) continue;
    read->mass_g = rounded(read->mass_g - mass_g, resolution_g);
  }
}

bool Outbox::leave_unbound(const std::string& order) {
  bool found = false;
  for (auto& [arrives, message] : travelling_) {
    auto* bound = std::get_if<event::VialBound>(&message.event.data);
    if (bound == nullptr || bound->order != order) continue;
    bound->order.clear();
    found = true;
  }
  return found;
}

}  // namespace vialwright::twin
