#include "twin/messages.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <utility>

namespace vialwright::twin {
namespace {

double mean_latency_s(Link link) {
  switch (link) {
    case Link::bus:
      return 0.005;
    case Link::polled:
      return 0.050;
    case Link::office:
      break;
  }
  return 0.200;
}

Instant instant(const ShiftPlan& plan, double t_s) {
  const auto ms = static_cast<std::int64_t>(std::llround(t_s * 1000.0));
  return Instant{plan.start.us + ms * 1000};
}

/// 30 % jitter; a link cannot be faster than a third of its mean.
double latency_s(Link link, const ShiftPlan& plan, Random& random) {
  const double mean = mean_latency_s(link);
  return std::max(mean * (1.0 + 0.3 * random.error(plan.hardness)), mean / 3.0);
}

bool is_reading(const event::Data& data) {
  return std::holds_alternative<event::TareRead>(data) ||
         std::holds_alternative<event::GrossRead>(data) ||
         std::holds_alternative<event::DoseMetered>(data);
}

void change(double& value, Random& random) {
  const double share = random.between(0.01, 0.10);
  value = std::round(value * (1.0 + share) * 1000.0) / 1000.0 + 0.001;
}

void change_body(event::Data& data, Random& random) {
  if (auto* tare = std::get_if<event::TareRead>(&data)) change(tare->mass_g, random);
  if (auto* gross = std::get_if<event::GrossRead>(&data)) change(gross->mass_g, random);
  if (auto* dose = std::get_if<event::DoseMetered>(&data)) {
    if (dose->mass_g) change(*dose->mass_g, random);
    if (dose->volume_ml) change(*dose->volume_ml, random);
  }
}

class Disturbance {
 public:
  Disturbance(std::vector<Message>& messages, std::vector<VialTruth>& truth)
      : messages_(messages), truth_(truth) {
    std::map<std::string, std::size_t> last;
    next_.assign(messages.size(), none);
    for (std::size_t m = 0; m < messages.size(); ++m) {
      const auto [before, first] = last.try_emplace(messages[m].event.source, m);
      if (!first) next_[before->second] = m;
      before->second = m;
      if (messages[m].vial >= 0) of_vial_[messages[m].vial].push_back(m);
    }
  }

  void lose(int vial, Random& random) {
    const std::size_t m = pick(vial, random, [this](std::size_t k) { return reading(k); });
    if (m == none) return;
    messages_[m].lost = true;
    note(m, Fault::missing_event, "never sent");
  }

  void delay(int vial, Random& random) {
    const std::size_t m = pick(vial, random, [this](std::size_t k) { return reading(k); });
    if (m == none) return;
    const double seconds = random.between(600.0, 7200.0);
    messages_[m].received_s += seconds;
    note(m, Fault::late_event, std::to_string(static_cast<int>(seconds)) + " s late");
  }

  void repeat(int vial, Random& random) {
    const std::size_t m = pick(vial, random, [](std::size_t) { return true; });
    if (m == none) return;
    Message copy = messages_[m];
    copy.received_s += random.between(0.05, 30.0);
    note(m, Fault::duplicate_event, "sent twice");
    more_.push_back(std::move(copy));
  }

  /// Overtaken by the next message of its source.
  void overtake(int vial, Random& random) {
    const std::size_t m = pick(vial, random, [this](std::size_t k) {
      return next_[k] != none && !messages_[next_[k]].touched;
    });
    if (m == none) return;
    messages_[m].received_s = messages_[next_[m]].received_s + random.between(0.01, 2.0);
    messages_[next_[m]].touched = true;  // stays where it is, or the order would be right again
    note(m, Fault::out_of_order, "overtaken by the next of its source");
  }

  void contradict(int vial, Random& random) {
    const std::size_t m = pick(vial, random, [this](std::size_t k) { return reading(k); });
    if (m == none) return;
    Message other = messages_[m];
    change_body(other.event.data, random);
    other.received_s += random.between(1.0, 60.0);
    note(m, Fault::conflicting_event, "sent again with another body");
    more_.push_back(std::move(other));
  }

  void finish() {
    for (Message& message : more_) messages_.push_back(std::move(message));
  }

 private:
  static constexpr std::size_t none = static_cast<std::size_t>(-1);

  [[nodiscard]] bool reading(std::size_t m) const { return is_reading(messages_[m].event.data); }

  std::size_t pick(int vial, Random& random, const std::function<bool(std::size_t)>& fits) {
    std::vector<std::size_t> fit;
    for (const std::size_t m : of_vial_[vial]) {
      if (!messages_[m].touched && fits(m)) fit.push_back(m);
    }
    return fit.empty() ? none : fit[at(random.below(static_cast<int>(fit.size())))];
  }

  void note(std::size_t m, Fault fault, const std::string& what) {
    messages_[m].touched = true;
    const event::Event& event = messages_[m].event;
    mark(truth_[at(messages_[m].vial)], fault,
         event.source + " " + event.id + " (" + std::string(event::type_name(event.data)) +
             "): " + what);
  }

  std::vector<Message>& messages_;
  std::vector<VialTruth>& truth_;
  std::vector<Message> more_;
  std::vector<std::size_t> next_;  ///< the next message of the same source
  std::map<int, std::vector<std::size_t>> of_vial_;
};

}  // namespace

Message Post::send(Happening happening) {
  const auto [found, fresh] = sources_.try_emplace(happening.device);
  Source& source = found->second;
  if (fresh) {
    Random clock(plan_.seed, "clock " + happening.device);
    source.clock_offset_s = plan_.hardness * clock.between(0.0, 0.050);
    source.clock_drift = plan_.hardness * clock.between(-2e-6, 2e-6);  // kept in step
  }
  const double arrives = happening.t_s + latency_s(happening.link, plan_, random_);
  source.last_received_s = std::max(source.last_received_s + 0.001, arrives);
  const double shown_s = happening.t_s + source.clock_offset_s + source.clock_drift * happening.t_s;
  const std::uint64_t sequence = ++source.sent;
  Message message;
  message.event = {happening.device + "-" + std::to_string(sequence),
                   plan_.source + "/" + happening.device,
                   std::move(happening.subject),
                   instant(plan_, shown_s),
                   sequence,
                   std::move(happening.data)};
  message.received_s = source.last_received_s;
  message.vial = happening.vial;
  return message;
}

std::vector<Message> messages(std::vector<Happening> happenings, const ShiftPlan& plan) {
  std::stable_sort(happenings.begin(), happenings.end(),
                   [](const Happening& one, const Happening& two) { return one.t_s < two.t_s; });
  std::vector<Message> sent;
  sent.reserve(happenings.size());
  Post post(plan, "links");
  for (Happening& happening : happenings) sent.push_back(post.send(std::move(happening)));
  return sent;
}

void disturb(std::vector<Message>& messages, const Faults& faults, const ShiftPlan& plan,
             std::vector<VialTruth>& truth) {
  Disturbance disturbance(messages, truth);
  for (std::size_t i = 0; i < faults.vials.size(); ++i) {
    const VialFaults& vial = faults.vials[i];
    Random random(plan.seed, "messages", i);
    const int index = static_cast<int>(i);
    if (vial.missing) disturbance.lose(index, random);
    if (vial.late) disturbance.delay(index, random);
    if (vial.out_of_order) disturbance.overtake(index, random);
    if (vial.duplicate) disturbance.repeat(index, random);
    if (vial.conflicting) disturbance.contradict(index, random);
  }
  disturbance.finish();
}

}  // namespace vialwright::twin
