#include <algorithm>
#include <cmath>

#include "error/error.hpp"
#include "holding/bidding.hpp"
#include "holding/course.hpp"

namespace vialwright::holding {
namespace {

constexpr int points_of_taper = 33;

double between(const std::vector<double>& times, const Rivals::Curve& curve, double t) {
  const auto after = std::ranges::upper_bound(times, t);
  if (after == times.end()) return curve.back();
  const auto i = static_cast<std::size_t>(after - times.begin());
  const double share = (t - times[i - 1]) / (times[i] - times[i - 1]);
  return curve[i - 1] + share * (curve[i] - curve[i - 1]);
}

/// Where a curve that falls to 0 as a square does gets there. One that is above 0 until the step in
/// which the vial must go is held for the longest.
double end_of(const std::vector<double>& times, const Rivals::Curve& curve, double longest) {
  const auto zero = std::ranges::find_if(curve, [](double over) { return over <= 0.0; });
  const auto i = static_cast<std::size_t>(zero - curve.begin());
  if (i == curve.size() || (i > 0 && times[i] >= longest * (1.0 - 1e-9))) return longest;
  if (i < 2 || curve[i - 2] <= curve[i - 1]) return times[i];
  const double before = std::sqrt(curve[i - 2]), last = std::sqrt(curve[i - 1]);
  const double more = (times[i - 1] - times[i - 2]) * last / (before - last);
  return std::min(times[i], times[i - 1] + more);
}

/// A vial that has rivals waits as one alone would with a part of the demand that is worth as much;
/// its value, limit, taper and odds are those of the programme over all of them.
Wait beside_rivals(const Candidate& candidate, double part, const std::vector<double>& times,
                   const Rivals::Curve& over, const Rivals::Curve& taken) {
  Terms terms = candidate.terms;
  terms.place_per_day = 0.0;
  const Wait equal = wait_for_part(candidate.offers, terms, part);
  Wait wait = equal;
  wait.value = over.front() - terms.disposal;
  wait.limit_days = end_of(times, over, terms.longest_days);
  const double scale = equal.limit_days > 0.0 ? wait.limit_days / equal.limit_days : 1.0;
  wait.limit_low = equal.limit_low * scale;
  wait.limit_high = std::min(terms.longest_days, equal.limit_high * scale);
  if (wait.limit_days >= terms.longest_days)
    wait.ends = Ends::longest;
  else if (wait.ends == Ends::longest)
    wait.ends = Ends::cost;
  const double last = std::max(wait.limit_days, 1e-3 * terms.longest_days);
  for (std::size_t i = 0; i < points_of_taper; ++i) {
    wait.at_days[i] = last * static_cast<double>(i) / (points_of_taper - 1);
    wait.over_scrapping[i] = between(times, over, wait.at_days[i]);
  }
  wait.odds_1 = between(times, taken, std::min(1.0, wait.limit_days));
  wait.odds_3 = between(times, taken, std::min(3.0, wait.limit_days));
  wait.odds_7 = between(times, taken, std::min(7.0, wait.limit_days));
  return wait;
}

/// All that stay, of one block.
void describe_block(std::span<const Candidate> candidates, const Bidding& bidding, std::size_t f,
                    std::size_t b, Shared& shared) {
  const Family& family = bidding.families()[f];
  const Rivals& rivals = family.blocks[b];
  const auto& members = family.members[b];
  if (members.empty()) return;
  shared.total += rivals.worth(family.staying(b)).front();
  const auto course = rivals.course(family.staying(b));
  for (std::size_t m = 0; m < members.size(); ++m) {
    const std::size_t i = members[m];
    const Candidate& each = candidates[i];
    const bool alone = members.size() == 1 && b == 0;
    const double part = alone ? 1.0 : bidding.counted_on(i, course.over_scrapping[m].front());
    Terms terms = each.terms;
    terms.place_per_day = 0.0;
    Wait wait = alone ? holding::wait(each.offers, terms)
                      : beside_rivals(each, part, bidding.times(), course.over_scrapping[m],
                                      course.taken[m]);
    // Given away, it leaves its place to the best of those that have none.
    const double next = std::max(0.0, bidding.on_place_of(f, b, static_cast<int>(m)));
    wait.value = std::max(-terms.disposal, wait.value - next);
    shared.waits[i] = std::move(wait);
    shared.counted_on[i] = part;
    shared.stays[i] = true;
  }
}

/// One that has no place: it goes to an order now or is scrapped.
Wait no_wait(const Candidate& candidate, bool would_stay) {
  Wait wait;
  wait.value = -candidate.terms.disposal;
  wait.ends = would_stay ? Ends::place : Ends::never_pays;
  wait.at_days = {0.0};
  wait.over_scrapping = {0.0};
  return wait;
}

}  // namespace

Shared share(std::span<const Candidate> candidates, int places) {
  require(places >= 0, "there are no fewer than no places");
  const Bidding bidding(candidates, places);
  Shared shared;
  shared.waits.resize(candidates.size());
  shared.counted_on.assign(candidates.size(), 0.0);
  shared.stays.assign(candidates.size(), false);
  shared.place_per_day = bidding.price();
  for (std::size_t f = 0; f < bidding.families().size(); ++f)
    for (std::size_t b = 0; b < bidding.families()[f].blocks.size(); ++b)
      describe_block(candidates, bidding, f, b, shared);
  for (std::size_t i = 0; i < candidates.size(); ++i) {
    if (shared.stays[i]) continue;
    const double gain = bidding.one_more(i);
    shared.counted_on[i] = bidding.counted_on(i, gain);
    shared.waits[i] = no_wait(candidates[i], gain > equal_gains);
    shared.total -= candidates[i].terms.disposal;
  }
  return shared;
}

}  // namespace vialwright::holding
