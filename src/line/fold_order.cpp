#include "line/fold_order.hpp"

#include <algorithm>
#include <queue>
#include <string_view>
#include <tuple>
#include <unordered_map>
#include <unordered_set>

namespace vialwright::line {
namespace {

bool by_sequence(const Fact* a, const Fact* b) {
  return std::tie(a->event.sequence, a->event.time, a->event.id) <
         std::tie(b->event.sequence, b->event.time, b->event.id);
}

bool by_time(const Fact* a, const Fact* b) {
  return std::tie(a->event.time, a->event.source, a->event.id) <
         std::tie(b->event.time, b->event.source, b->event.id);
}

/// Shut until the fact that others need has had its turn.
struct Gate {
  bool open = false;
  const Fact* first_provider = nullptr;  ///< by time
  std::vector<std::size_t> waiting;      ///< queues
};

/// The gates of one kind of thing, by its name.
using Gates = std::unordered_map<std::string_view, Gate>;

/// One source's facts, and how far they have been taken.
struct Queue {
  std::vector<const Fact*> facts;
  std::size_t next = 0;
};

struct Head {
  const Fact* fact;
  std::size_t queue;
};
struct Later {
  bool operator()(const Head& a, const Head& b) const { return by_time(b.fact, a.fact); }
};

class Merge {
 public:
  explicit Merge(const std::vector<const Fact*>& facts) {
    // What a source did not number is ordered by its time alone, in a queue of its own.
    std::unordered_map<std::string_view, std::size_t> numbered, unnumbered;
    for (const Fact* fact : facts) {
      auto& queue_of = fact->event.sequence > 0 ? numbered : unnumbered;
      const auto [at, is_new] = queue_of.try_emplace(fact->event.source, queues_.size());
      if (is_new) queues_.emplace_back();
      queues_[at->second].facts.push_back(fact);
      if (Gate* gate = gate_made_by(*fact)) {
        if (gate->first_provider == nullptr || by_time(fact, gate->first_provider)) {
          gate->first_provider = fact;
        }
      }
    }
    for (std::size_t q = 0; q < queues_.size(); ++q) {
      std::sort(queues_[q].facts.begin(), queues_[q].facts.end(), by_sequence);
      offer(q);
    }
    order_.reserve(facts.size());
  }

  std::vector<const Fact*> run() && {
    for (;;) {
      while (!heads_.empty()) advance();
      if (stuck_.empty()) return std::move(order_);
      release_one();
    }
  }

 private:
  /// Puts the queue's next fact among the heads; facts that came out of turn are passed over.
  void offer(std::size_t q) {
    Queue& queue = queues_[q];
    while (queue.next < queue.facts.size() && early_.count(queue.facts[queue.next]) > 0) {
      ++queue.next;
    }
    if (queue.next < queue.facts.size()) heads_.push({queue.facts[queue.next], q});
  }

  void advance() {
    const Head head = heads_.top();
    heads_.pop();
    if (Gate* gate = first_shut(*head.fact)) {
      gate->waiting.push_back(head.queue);
      stuck_.insert(head.queue);
      return;
    }
    emit(*head.fact);
    ++queues_[head.queue].next;
    offer(head.queue);
  }

  void emit(const Fact& fact) {
    order_.push_back(&fact);
    Gate* gate = gate_of(fact);
    if (gate == nullptr || gate->open) return;
    gate->open = true;
    for (const std::size_t q : gate->waiting) {
      stuck_.erase(q);
      offer(q);
    }
    gate->waiting.clear();
  }

  /// Every queue waits. The head that is first by time gets what it needs, out of turn.
  void release_one() {
    const Fact* first = nullptr;
    for (const std::size_t q : stuck_) {
      const Fact* head = queues_[q].facts[queues_[q].next];
      if (first == nullptr || by_time(head, first)) first = head;
    }
    require(first != nullptr, "a stuck queue has a head");
    // A command may itself wait for the vial's registration, which waits for nothing.
    while (Gate* gate = first_shut(*first)) first = gate->first_provider;
    early_.insert(first);
    emit(*first);
  }

  Gate* find(Gates& gates, std::string_view name) {
    const auto at = gates.find(name);
    return at == gates.end() ? nullptr : &at->second;
  }
  Gate* find_order(std::string_view name) {
    if (Gate* gate = find(orders_, name)) return gate;
    const auto slash = name.rfind('/');  // order/2 is a part of order
    return slash == std::string_view::npos ? nullptr : find(orders_, name.substr(0, slash));
  }

  Gates* gates_for(const event::Data& data, const std::string*& name, const std::string& subject) {
    if (std::holds_alternative<event::VialRegistered>(data)) return name = &subject, &vials_;
    if (const auto* dose = std::get_if<event::DoseCommanded>(&data)) {
      return name = &dose->dose, &doses_;
    }
    if (const auto* order = std::get_if<event::OrderPlaced>(&data)) {
      return name = &order->order, &orders_;
    }
    return nullptr;
  }
  Gate* gate_made_by(const Fact& fact) {
    const std::string* name = nullptr;
    Gates* gates = gates_for(fact.event.data, name, fact.event.subject);
    return gates == nullptr ? nullptr : &(*gates)[*name];
  }
  Gate* gate_of(const Fact& fact) {
    const std::string* name = nullptr;
    Gates* gates = gates_for(fact.event.data, name, fact.event.subject);
    return gates == nullptr ? nullptr : find(*gates, *name);
  }

  static Gate* if_shut(Gate* gate) { return gate == nullptr || gate->open ? nullptr : gate; }

  /// The first thing that the fact needs, that is still to come.
  Gate* first_shut(const Fact& fact) {
    const event::Data& data = fact.event.data;
    if (!fact.event.subject.empty() && !std::holds_alternative<event::VialRegistered>(data)) {
      if (Gate* gate = if_shut(find(vials_, fact.event.subject))) return gate;
    }
    if (const auto* metered = std::get_if<event::DoseMetered>(&data)) {
      return if_shut(find(doses_, metered->dose));
    }
    if (const auto* tank = std::get_if<event::TankRead>(&data)) {
      return if_shut(find(doses_, tank->dose));
    }
    if (const auto* topup = std::get_if<event::TopupApplied>(&data)) return shut_dose(*topup);
    if (const auto* bound = std::get_if<event::VialBound>(&data)) {
      return if_shut(find_order(bound->order));
    }
    if (const auto* changed = std::get_if<event::OrderChanged>(&data)) {
      return if_shut(find_order(changed->order));
    }
    if (const auto* cancelled = std::get_if<event::OrderCancelled>(&data)) {
      return if_shut(find_order(cancelled->order));
    }
    if (const auto* released = std::get_if<event::VialReleased>(&data)) {
      return if_shut(find_order(released->order));
    }
    return nullptr;
  }
  Gate* shut_dose(const event::TopupApplied& topup) {
    for (const std::string& dose : topup.doses) {
      if (Gate* gate = if_shut(find(doses_, dose))) return gate;
    }
    return nullptr;
  }

  std::vector<Queue> queues_;
  Gates vials_, doses_, orders_;
  std::priority_queue<Head, std::vector<Head>, Later> heads_;
  std::unordered_set<std::size_t> stuck_;  ///< queues that wait at a gate
  std::unordered_set<const Fact*> early_;  ///< taken out of turn
  std::vector<const Fact*> order_;
};

}  // namespace

std::vector<const Fact*> canonical_order(const std::vector<const Fact*>& facts) {
  return Merge(facts).run();
}

}  // namespace vialwright::line
