/// Private to holding: who of many vials gets one of a few hold places, and what a place is worth.
#pragma once

#include <span>
#include <vector>

#include "holding/rivals.hpp"

namespace vialwright::holding {

constexpr double equal_gains = 1e-9;  ///< money: no more than that is no gain

/// Vials whose offers overlap, directly or through others. Those that stay are solved together in
/// blocks; the second block counts on what the first leaves.
struct Family {
  std::vector<Rivals> blocks;
  std::vector<std::vector<std::size_t>> members;  ///< candidates, by block
  int changes = 0;

  /// What that candidate would add now, over scrapping it.
  [[nodiscard]] double gain(const Candidate& candidate);
  void add(const Candidate& candidate, std::size_t index);
  /// Those that stay, of a block.
  [[nodiscard]] Rivals::Set staying(std::size_t block) const {
    return (Rivals::Set{1} << members[block].size()) - 1;
  }

 private:
  void make_room();
};

class Bidding {
 public:
  /// Gives the places, one after another, to whoever adds most.
  Bidding(std::span<const Candidate> candidates, int places);

  [[nodiscard]] const std::vector<Family>& families() const { return families_; }
  [[nodiscard]] const std::vector<double>& times() const { return times_; }
  /// What a candidate that got no place would add on one more, over scrapping it.
  [[nodiscard]] double one_more(std::size_t candidate) const;
  /// The share of all demand with which, alone, it would gain as much.
  [[nodiscard]] double counted_on(std::size_t candidate, double gain) const;
  /// The most that a vial which got no place would pay for one a day.
  [[nodiscard]] double price() const;
  /// What the best of those without a place would bring on that of a vial that stays.
  [[nodiscard]] double on_place_of(std::size_t family, std::size_t block, int member) const;

 private:
  struct Bid {
    std::size_t candidate;
    double gain;
    int seen;  ///< changes of its family when it was computed
  };
  [[nodiscard]] bool before(const Bid& a, const Bid& b) const;
  [[nodiscard]] bool someone_wants() const;
  void look_at_each_alone();
  void make_families();
  void give(int places);
  void bid_for_one_more();

  std::span<const Candidate> candidates_;
  std::vector<double> alone_;  ///< gains over scrapping with all the demand
  std::vector<double> times_;
  std::vector<std::size_t> family_of_;
  std::vector<Family> families_;
  std::vector<Bid> left_;  ///< those without a place, best first
};

}  // namespace vialwright::holding
