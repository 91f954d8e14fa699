/// Private to holding: what sets of held vials that fit the same orders are worth together.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "holding/holding.hpp"

namespace vialwright::holding {

/// Times from now to the longest wait of any; steps widen with time.
[[nodiscard]] std::vector<double> graded_times(double longest_days, int steps);

/// A kind of order: how often it comes, step by step.
struct Kind {
  std::string recipe;
  std::vector<double> rate;  ///< (steps), per day
};

/// A dynamic programme over the subsets of a few vials. For a set S that is held
///   -V_S' = sum_r rate_r (max_i (s_ir + V_{S-i}) - V_S)^+ - sum_i cost_i,
///   V_S >= V_{S-i} - disposal_i,
/// so each order goes to the vial that is missed least, or to none. Within a step rates and
/// worths stand still and the equation is solved exactly: second order in the step.
class Rivals {
 public:
  using Set = std::uint32_t;
  using Curve = std::vector<double>;  ///< at the times

  Rivals(std::vector<double> times, std::vector<Kind> kinds);

  /// Adds a vial and solves all sets with it. Vials alike in all are solved once.
  void add(const Candidate& candidate);
  void remove_last();

  [[nodiscard]] int size() const { return static_cast<int>(members_.size()); }
  /// Sets that had to be solved: vials that are alike stand for each other.
  [[nodiscard]] int solved() const;
  [[nodiscard]] Set all() const { return (Set{1} << members_.size()) - 1; }
  [[nodiscard]] const Curve& worth(Set set) const { return values_[set]; }
  /// What the set would lose without that vial, now. It is in the set.
  [[nodiscard]] double missed(Set set, int member) const;

  [[nodiscard]] const std::vector<double>& times() const { return times_; }

  /// What becomes of a set that starts together.
  struct Course {
    std::vector<Curve> over_scrapping;  ///< by vial: while nothing comes; 0 from its limit on
    std::vector<Curve> taken;           ///< by vial: P(given to an order by then)
    std::vector<Kind> left;             ///< the demand that none of them would take
  };
  [[nodiscard]] Course course(Set held) const;

 private:
  struct Fit {
    std::size_t kind;
    std::vector<double> worth;  ///< (steps), in the middle of each
  };
  struct Member {
    const Candidate* candidate;
    std::vector<Fit> fits;
    int alike = -1;  ///< an earlier member that is the same in all
  };
  struct Best {
    double worth = 0.0;
    int member = -1;
  };

  void solve(Set set);
  void offers_in(Set set, std::size_t step, std::vector<Best>& best) const;
  [[nodiscard]] double lapsed(Set set, std::size_t step) const;
  [[nodiscard]] double scrapped(Set set, std::size_t at, int* member) const;
  [[nodiscard]] double cost(Set set) const;
  void quiet(Set held, Course& course) const;
  void likely(Set held, Course& course) const;

  std::vector<double> times_;
  std::vector<Kind> kinds_;
  std::vector<Member> members_;
  std::vector<Curve> values_;  ///< by set
};

}  // namespace vialwright::holding
