#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include "error/error.hpp"
#include "holding/holding.hpp"

namespace vialwright::holding {
namespace {

constexpr int steps = 192;
constexpr int halvings = 40;

/// Times that all candidates share: fine now, coarse later.
std::vector<double> common_times(std::span<const Candidate> candidates) {
  double longest = 0.0;
  for (const Candidate& each : candidates) longest = std::max(longest, each.terms.longest_days);
  std::vector<double> times;
  for (int i = 0; i <= steps; ++i) {
    const double share = static_cast<double>(i) / steps;
    times.push_back(longest * share * share);
  }
  return times;
}

/// How much of each kind of order is left, step by step, to whoever comes next in rank.
using Left = std::map<std::string, std::vector<double>>;

double worth_at(const Offer& offer, double t) {
  const auto after = std::ranges::upper_bound(offer.at_days, t);
  if (after == offer.at_days.begin()) return offer.worth.front();
  if (after == offer.at_days.end()) return offer.worth.back();
  const auto i = static_cast<std::size_t>(after - offer.at_days.begin());
  const double share = (t - offer.at_days[i - 1]) / (offer.at_days[i] - offer.at_days[i - 1]);
  return offer.worth[i - 1] + share * (offer.worth[i] - offer.worth[i - 1]);
}

/// One candidate on the common times: its worth of waiting and its chance of still being there.
class Course {
 public:
  Course(const Candidate& candidate, const std::vector<double>& times, double price,
         const Left& left)
      : candidate_(candidate), times_(times), price_(price), left_(left) {
    backwards();
    forwards();
  }
  [[nodiscard]] double value() const { return w_.front(); }
  [[nodiscard]] bool waits() const { return w_.front() > -candidate_.terms.disposal + 1e-12; }
  /// Takes its part of the demand away from what is left.
  void take_from(Left& left) const;
  [[nodiscard]] double counted_on() const;
  [[nodiscard]] Wait as_wait(const Wait& alone) const;

 private:
  [[nodiscard]] double middle(std::size_t i) const { return 0.5 * (times_[i] + times_[i + 1]); }
  [[nodiscard]] double rate(const Offer& offer, std::size_t i) const {
    const double all = candidate_.terms.learn_while_waiting
                           ? offer.demand.rate_after_silence(middle(i))
                           : offer.demand.rate();
    const auto of = left_.find(offer.recipe);
    return of == left_.end() ? all : all * of->second[i];
  }
  void backwards();
  void forwards();
  [[nodiscard]] std::size_t limit() const;

  const Candidate& candidate_;
  const std::vector<double>& times_;
  double price_;
  const Left& left_;
  std::vector<double> w_, there_;  ///< (times)
};

/// Steps in which rates and worths stand still are solved exactly: dW/dtau = A - B W.
void Course::backwards() {
  const Terms& terms = candidate_.terms;
  w_.assign(times_.size(), -terms.disposal);
  for (std::size_t i = times_.size() - 1; i-- > 0;) {
    const double h = times_[i + 1] - times_[i], w = w_[i + 1];
    if (times_[i] >= terms.longest_days) continue;
    double income = -(terms.cost_per_day + price_), hazard = 0.0;
    for (const Offer& offer : candidate_.offers) {
      const double worth = worth_at(offer, middle(i));
      if (worth <= w) continue;
      const double rate = this->rate(offer, i);
      income += rate * worth;
      hazard += rate;
    }
    const double next = hazard * h > 1e-9
                            ? income / hazard + (w - income / hazard) * std::exp(-hazard * h)
                            : w + (income - hazard * w) * h;
    w_[i] = std::max(-terms.disposal, next);
  }
}

std::size_t Course::limit() const {
  for (std::size_t i = 0; i < w_.size(); ++i)
    if (w_[i] <= -candidate_.terms.disposal + 1e-12) return i;
  return w_.size() - 1;
}

void Course::forwards() {
  there_.assign(times_.size(), 0.0);
  const std::size_t last = limit();
  double hazard = 0.0;
  for (std::size_t i = 0; i < last; ++i) {
    there_[i] = std::exp(-hazard);
    for (const Offer& offer : candidate_.offers)
      if (worth_at(offer, middle(i)) >= w_[i])
        hazard += rate(offer, i) * (times_[i + 1] - times_[i]);
  }
}

void Course::take_from(Left& left) const {
  for (const Offer& offer : candidate_.offers) {
    std::vector<double>& of = left[offer.recipe];
    if (of.empty()) of.assign(times_.size(), 1.0);
    for (std::size_t i = 0; i + 1 < times_.size(); ++i)
      if (worth_at(offer, middle(i)) >= w_[i]) of[i] *= 1.0 - 0.5 * (there_[i] + there_[i + 1]);
  }
}

double Course::counted_on() const {
  double all = 0.0, own = 0.0;
  for (const Offer& offer : candidate_.offers) {
    const double gain = std::max(0.0, offer.worth.front() + candidate_.terms.disposal);
    const auto of = left_.find(offer.recipe);
    all += offer.demand.rate() * gain;
    own += offer.demand.rate() * gain * (of == left_.end() ? 1.0 : of->second.front());
  }
  return all > 0.0 ? own / all : 1.0;
}

/// The wait with the demand that is left; what the doubt of the demand and the reason are, are
/// those of the vial alone, never longer.
Wait Course::as_wait(const Wait& alone) const {
  Wait wait = alone;
  const std::size_t last = limit();
  wait.value = w_.front();
  wait.limit_days = std::min(times_[last], candidate_.terms.longest_days);
  wait.limit_low = std::min(alone.limit_low, wait.limit_days);
  wait.limit_high = std::max(alone.limit_high, wait.limit_days);
  if (!waits()) wait.ends = Ends::never_pays;
  wait.at_days.clear();
  wait.over_scrapping.clear();
  for (std::size_t i = 0; i < times_.size(); i += 6) {
    wait.at_days.push_back(times_[i]);
    wait.over_scrapping.push_back(w_[i] + candidate_.terms.disposal);
  }
  const auto gone_by = [&](double days) {
    const auto after = std::ranges::upper_bound(times_, days);
    const auto i = static_cast<std::size_t>(after - times_.begin());
    return 1.0 - (i < last ? there_[i] : there_[last > 0 ? last - 1 : 0]);
  };
  wait.odds_1 = gone_by(1.0);
  wait.odds_3 = gone_by(3.0);
  wait.odds_7 = gone_by(7.0);
  return wait;
}

/// Who chooses first: the one that is worth most alone; of equals the one that expires first.
std::vector<std::size_t> ranks(std::span<const Candidate> candidates,
                               const std::vector<double>& alone) {
  std::vector<std::size_t> order(candidates.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::ranges::stable_sort(order, [&](std::size_t a, std::size_t b) {
    const double gain_a = alone[a] + candidates[a].terms.disposal;
    const double gain_b = alone[b] + candidates[b].terms.disposal;
    if (std::abs(gain_a - gain_b) > 1e-9) return gain_a > gain_b;
    if (candidates[a].good_for_days != candidates[b].good_for_days)
      return candidates[a].good_for_days < candidates[b].good_for_days;
    return candidates[a].serial < candidates[b].serial;
  });
  return order;
}

struct Round {
  std::vector<double> values, counted_on;
  std::vector<bool> waits;
  int staying = 0;
};

class Sharing {
 public:
  explicit Sharing(std::span<const Candidate> candidates)
      : candidates_(candidates), times_(common_times(candidates)) {
    for (const Candidate& each : candidates_) alone_.push_back(value_now(each.offers, each.terms));
    order_ = ranks(candidates_, alone_);
  }

  /// Everyone in rank, each on what those before leave. Stops holding places beyond `most`.
  [[nodiscard]] Round run(double price, std::vector<Wait>* waits) const {
    Round round;
    const std::size_t n = candidates_.size();
    round.values.resize(n);
    round.counted_on.resize(n);
    round.waits.resize(n);
    Left left;
    for (const std::size_t i : order_) {
      const Course course(candidates_[i], times_, price, left);
      round.values[i] = course.value();
      round.waits[i] = course.waits();
      round.counted_on[i] = course.counted_on();
      if (waits != nullptr) {
        Terms terms = candidates_[i].terms;
        terms.place_per_day = price;
        (*waits)[i] = course.as_wait(wait(candidates_[i].offers, terms));
      }
      if (!round.waits[i]) continue;
      ++round.staying;
      course.take_from(left);
    }
    return round;
  }

 private:
  std::span<const Candidate> candidates_;
  std::vector<double> times_, alone_;
  std::vector<std::size_t> order_;
};

}  // namespace

Shared share(std::span<const Candidate> candidates, int places) {
  require(places >= 0, "there are no fewer than no places");
  Shared shared;
  if (candidates.empty()) return shared;
  const Sharing sharing(candidates);
  double low = 0.0, high = 0.0;
  if (sharing.run(0.0, nullptr).staying > places) {
    high = 1e-3;
    while (sharing.run(high, nullptr).staying > places && high < 1e9) high *= 4.0;
    for (int i = 0; i < halvings; ++i) {
      const double middle = 0.5 * (low + high);
      (sharing.run(middle, nullptr).staying > places ? low : high) = middle;
    }
  }
  shared.place_per_day = high;
  shared.waits.resize(candidates.size());
  const Round round = sharing.run(high, &shared.waits);
  shared.counted_on = round.counted_on;
  shared.stays = round.waits;
  for (std::size_t i = 0; i < candidates.size(); ++i)
    shared.total += std::max(-candidates[i].terms.disposal, round.values[i]);
  return shared;
}

}  // namespace vialwright::holding
