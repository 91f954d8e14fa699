/// Private to topup: the search over sets of doses.
#pragma once

#include <vector>

#include "topup/search_bounds.hpp"
#include "topup/set_search.hpp"

namespace vialwright::topup {

struct SearchOptions {
  double wanted = 0.95;        ///< odds that count as enough
  double success = 0.0;        ///< what a conforming vial brings; 0 = none
  conformity::Options points;  ///< of the odds that are shown; the search has others
};

/// The best amounts of one set.
struct SetBest {
  std::vector<int> members;  ///< indices of candidates
  Found surest;              ///< best odds
  Found best;  ///< the cheapest with the wanted odds (with `success`, the most worth); where none
               ///< has them, the best odds
  bool meets = false;
};

/// Best first over families of sets: a family that cannot hold anything better than what stands is
/// never opened. Sound but for `slack`: no set is left out that could have odds better by more
/// (colours are bounded by search, see look_at_colours).
class Search {
 public:
  static constexpr double slack = 1e-3;

  /// Keeps references.
  Search(const std::vector<Candidate>& candidates, const OddsModel& model, Doses doses,
         const recipe::Book& book, const SearchOptions& options);

  void run();
  /// The best two sets, the best first; never empty after run().
  [[nodiscard]] const std::vector<SetBest>& best() const { return best_; }
  [[nodiscard]] const SetBest& surest() const { return surest_; }
  /// Do some amounts meet every line at the mean?
  [[nodiscard]] bool on_paper() const { return on_paper_; }

 private:
  struct Open {
    Family family;
    Bounds bounds;
  };
  struct Later;
  [[nodiscard]] bool may_join(const std::vector<int>& in, int candidate) const;
  [[nodiscard]] bool is_set(const Family& family) const;
  [[nodiscard]] bool promises(const Open& open) const;
  [[nodiscard]] std::vector<Family> split(const Family& family) const;
  [[nodiscard]] DoseSet doses_of(const std::vector<int>& members) const;
  [[nodiscard]] bool better(const SetBest& a, const SetBest& b) const;
  [[nodiscard]] double worth(const Found& found) const;
  void look(Family family);
  void look_at_colours(const Family& family, Bounds& bounds) const;
  void look_closely(SetBest& set, const SetOdds& odds, const SetSearch& search) const;
  void try_set(const Open& open);
  void find_enough(SetBest& set, const SetOdds& odds, const SetSearch& search) const;

  const std::vector<Candidate>& candidates_;
  const OddsModel& model_;
  Doses doses_;
  const recipe::Book& book_;
  SearchOptions options_;
  conformity::Options rough_, fine_;
  double margin_ = 0.0;  ///< standard normal quantile of the wanted odds
  std::vector<Open> open_;
  std::vector<SetBest> best_;
  SetBest surest_;
  bool on_paper_ = false;
};

/// What can be dosed from these candidates.
[[nodiscard]] Doses doses_of(const contents::Belief& belief, const Vial& vial,
                             const std::vector<Candidate>& candidates, const plant::Plant& plant,
                             const recipe::Book& book);

}  // namespace vialwright::topup
