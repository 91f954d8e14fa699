#include "holding/bidding.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>

#include "holding/course.hpp"

namespace vialwright::holding {
namespace {

constexpr int steps = 96;          ///< in them the worth of several is within 1e-3 (measured)
constexpr int most_solved = 256;   ///< sets of vials solved together; each vial doubles them
constexpr int largest_block = 12;  ///< vials, where many are alike
constexpr int halvings = 40;

/// A function that rises from below 0 at `low`: where it is 0, or `high` where it stays below.
template <class F>
double where_zero(F f, double low, double high) {
  if (f(high) <= 0.0) return high;
  for (int i = 0; i < halvings && high - low > 1e-5 * high; ++i) {
    const double middle = 0.5 * (low + high);
    (f(middle) < 0.0 ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

Terms without_price(Terms terms) {
  terms.place_per_day = 0.0;
  return terms;
}

}  // namespace

double Family::gain(const Candidate& candidate) {
  make_room();
  Rivals& block = blocks.back();
  block.add(candidate);
  const double gain = block.missed(block.all(), block.size() - 1) + candidate.terms.disposal;
  block.remove_last();
  return gain;
}

void Family::add(const Candidate& candidate, std::size_t index) {
  make_room();
  blocks.back().add(candidate);
  members.back().push_back(index);
  ++changes;
}

void Family::make_room() {
  if (blocks.back().solved() < most_solved && blocks.back().size() < largest_block) return;
  blocks.emplace_back(blocks.back().times(), blocks.back().course(blocks.back().all()).left);
  members.emplace_back();
}

Bidding::Bidding(std::span<const Candidate> candidates, int places) : candidates_(candidates) {
  look_at_each_alone();
  make_families();
  give(places);
  bid_for_one_more();
}

void Bidding::look_at_each_alone() {
  double horizon = 0.0;
  for (const Candidate& each : candidates_) {
    require_sound(each.offers, each.terms);
    const Course course(each.offers, without_price(each.terms));
    alone_.push_back(course.now() + each.terms.disposal);
    if (alone_.back() > equal_gains) horizon = std::max(horizon, course.limit());
  }
  times_ = graded_times(horizon, steps);
}

/// Candidates are joined by the kinds of orders that they fit, and the demand of a kind is one:
/// that of the first candidate that names it.
void Bidding::make_families() {
  std::vector<std::size_t> root(candidates_.size());
  std::iota(root.begin(), root.end(), std::size_t{0});
  const auto find = [&](std::size_t i) {
    while (root[i] != i) i = root[i] = root[root[i]];
    return i;
  };
  std::map<std::string, std::size_t> first_with;
  std::map<std::string, Kind> kinds;
  for (std::size_t i = 0; i < candidates_.size(); ++i) {
    for (const Offer& offer : candidates_[i].offers) {
      if (!counts(offer)) continue;
      const auto [known, is_new] = first_with.try_emplace(offer.recipe, i);
      root[find(i)] = find(known->second);
      if (!is_new) continue;
      Kind kind{offer.recipe, {}};
      for (std::size_t k = 0; k + 1 < times_.size(); ++k) {
        const double middle = 0.5 * (times_[k] + times_[k + 1]);
        kind.rate.push_back(candidates_[i].terms.learn_while_waiting
                                ? offer.demand.rate_after_silence(middle)
                                : offer.demand.rate());
      }
      kinds.emplace(offer.recipe, std::move(kind));
    }
  }
  std::map<std::size_t, std::vector<Kind>> of_root;
  for (const auto& [recipe, first] : first_with) of_root[find(first)].push_back(kinds.at(recipe));
  std::map<std::size_t, std::size_t> index;
  for (std::size_t i = 0; i < candidates_.size(); ++i) {
    const auto [known, is_new] = index.try_emplace(find(i), families_.size());
    family_of_.push_back(known->second);
    if (!is_new) continue;
    Family family;
    family.blocks.emplace_back(times_, of_root[find(i)]);
    family.members.emplace_back();
    families_.push_back(std::move(family));
  }
}

/// More gain first; of equals one that has a place, then the one that keeps longer: first expired,
/// first out.
bool Bidding::before(const Bid& a, const Bid& b) const {
  if (std::abs(a.gain - b.gain) > equal_gains) return a.gain > b.gain;
  const Candidate &one = candidates_[a.candidate], &other = candidates_[b.candidate];
  if (one.holds_a_place != other.holds_a_place) return one.holds_a_place;
  if (one.good_for_days != other.good_for_days) return one.good_for_days > other.good_for_days;
  return one.serial < other.serial;
}

/// What a vial adds only falls as others join, so a bid is computed again only when it comes to the
/// top (Minoux 1978).
void Bidding::give(int places) {
  std::vector<Bid> bids;
  for (std::size_t i = 0; i < candidates_.size(); ++i)
    if (alone_[i] > equal_gains) bids.push_back({i, alone_[i], -1});
  while (places > 0 && !bids.empty()) {
    const auto best = std::min_element(bids.begin(), bids.end(),
                                       [&](const Bid& a, const Bid& b) { return before(a, b); });
    Family& family = families_[family_of_[best->candidate]];
    if (best->seen != family.changes) {
      best->gain = family.gain(candidates_[best->candidate]);
      best->seen = family.changes;
      continue;
    }
    if (best->gain <= equal_gains) break;
    family.add(candidates_[best->candidate], best->candidate);
    bids.erase(best);
    --places;
  }
  left_ = std::move(bids);
}

/// What each that is left out would add beside those that stay. The best (where none adds anything,
/// the one that is worth most alone) is added to its block, for what it would bring in the place of
/// another.
void Bidding::bid_for_one_more() {
  if (left_.empty()) return;
  for (Bid& bid : left_) {
    Family& family = families_[family_of_[bid.candidate]];
    if (bid.seen != family.changes) bid.gain = family.gain(candidates_[bid.candidate]);
  }
  std::ranges::sort(left_, [&](const Bid& a, const Bid& b) {
    const bool neither = a.gain <= equal_gains && b.gain <= equal_gains;
    return neither && alone_[a.candidate] != alone_[b.candidate]
               ? alone_[a.candidate] > alone_[b.candidate]
               : before(a, b);
  });
  const std::size_t next = left_.front().candidate;
  families_[family_of_[next]].blocks.back().add(candidates_[next]);
}

bool Bidding::someone_wants() const { return !left_.empty() && left_.front().gain > equal_gains; }

double Bidding::one_more(std::size_t candidate) const {
  const auto bid = std::ranges::find(left_, candidate, &Bid::candidate);
  return bid == left_.end() ? 0.0 : bid->gain;
}

double Bidding::counted_on(std::size_t candidate, double gain) const {
  const Candidate& each = candidates_[candidate];
  if (gain >= alone_[candidate] * (1.0 - 1e-3)) return 1.0;
  if (gain <= equal_gains) return 0.0;
  const Terms terms = without_price(each.terms);
  const auto over = [&](double part) {
    return Course(each.offers, terms, part).now() + terms.disposal - gain;
  };
  return where_zero(over, 0.0, 1.0);
}

double Bidding::price() const {
  if (!someone_wants()) return 0.0;
  const Candidate& each = candidates_[left_.front().candidate];
  const double part = counted_on(left_.front().candidate, left_.front().gain);
  Terms terms = each.terms;
  const auto refuses = [&](double price) {
    terms.place_per_day = price;
    return Course(each.offers, terms, part).now() + terms.disposal > equal_gains ? -1.0 : 1.0;
  };
  double high = left_.front().gain;
  while (refuses(high) < 0.0) high *= 4.0;
  return where_zero(refuses, 0.0, high);
}

double Bidding::on_place_of(std::size_t family, std::size_t block, int member) const {
  if (left_.empty()) return 0.0;
  const Bid& next = left_.front();
  const Rivals& rivals = families_[family].blocks[block];
  const bool beside =
      family_of_[next.candidate] == family && block + 1 == families_[family].blocks.size();
  if (!beside) return next.gain;
  const Rivals::Set others = rivals.all() & ~(Rivals::Set{1} << member);
  return rivals.missed(others, rivals.size() - 1) + candidates_[next.candidate].terms.disposal;
}

}  // namespace vialwright::holding
