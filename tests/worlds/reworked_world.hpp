/// Vials that are made wrong in worlds of the twin, judged by the engine, topped up in the twin.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "outcomes/outcomes.hpp"
#include "support/random.hpp"
#include "topup/topup.hpp"
#include "twin/twin.hpp"
#include "worlds/larkmoor.hpp"

namespace vialwright::worlds {

/// A top-up that could be made, with the odds that the engine gives it.
struct Proposal {
  std::vector<topup::Addition> additions;
  outcomes::Outcome described;  ///< its odds, and what else is known of it beforehand
};

/// One that was made.
struct Tried {
  std::uint64_t world = 0;
  outcomes::Outcome predicted;  ///< with what the evidence after it says in `good`
  bool came_true = false;       ///< in the twin
};

/// Recipes of contents alone, or those that want a colour too.
enum class Wanted { plain, coloured };

inline std::vector<recipe::Recipe> recipes_of(Wanted wanted) {
  std::vector<recipe::Recipe> chosen = larkmoor().recipes;
  std::erase_if(chosen, [wanted](const recipe::Recipe& it) {
    return it.colours.empty() == (wanted == Wanted::coloured);
  });
  return chosen;
}

/// One world, its record, and the latest vial as the engine sees it.
class World {
 public:
  World(std::uint64_t seed, int vials, double dose_spread_factor, Wanted wanted)
      : seed_(seed),
        vials_left_(vials),
        random_(seed * 7919 + 17),
        trial_(made(seed, vials, dose_spread_factor)),
        recipes_(recipes_of(wanted)) {}

  /// Makes a vial that is off: one dose by a few to 30 %, the whole fill by a few per cent.
  void make_wrong() { make(0.94, 0.75, 1.10); }

  /// Makes one whose fill and one dose are somewhere in those ranges, of what they should be.
  void make(double least_fill, double least_dose, double most_dose) {
    recipe_ = recipes_[static_cast<std::size_t>(random_.below(static_cast<int>(recipes_.size())))];
    std::vector<twin::Told> doses = trial_.planned(recipe_);
    const int which = random_.below(static_cast<int>(doses.size()));
    const double fill = random_.uniform(least_fill, 1.0);
    for (twin::Told& dose : doses) dose.amount_g *= fill;
    doses[static_cast<std::size_t>(which)].amount_g *= random_.uniform(least_dose, most_dose);
    for (twin::Told& dose : doses) dose.amount_g = to_milligram(dose.amount_g);
    --vials_left_;
    serial_ = trial_.make(recipe_, doses);
    judge();
  }

  /// Made as it should be, but for what befalls it. @param mishap  Mishap of a recipe.
  template <class Mishaps>
  void make_planned(const Mishaps& mishap) {
    recipe_ = recipes_[static_cast<std::size_t>(random_.below(static_cast<int>(recipes_.size())))];
    --vials_left_;
    serial_ = trial_.make(recipe_, trial_.planned(recipe_), mishap(recipe_));
    judge();
  }

  [[nodiscard]] double conforms() const {
    return conformity::judge(estimate_.belief, recipe_, state_.book, state_.plant.risks)
        .joint.value;
  }
  [[nodiscard]] bool is_good() const { return twin::meets(trial_.truth(), recipe_); }
  [[nodiscard]] const contents::Estimate& estimate() const { return estimate_; }

  /// Evidence that contradicts itself is not reworked, but looked into.
  [[nodiscard]] bool sound() const { return !estimate_.contradiction; }

  /// The best, the second, the surest, the cheapest, and some that are aimed otherwise, each as the
  /// stations can make it.
  [[nodiscard]] std::vector<Proposal> proposals() {
    const topup::Means means = this->means();
    const auto& [plant, book] = std::tie(state_.plant, state_.book);
    const topup::Answer answer = topup::best(estimate_.belief, recipe_, means, plant, book);
    std::vector<std::vector<topup::Addition>> wanted = {answer.best.additions,
                                                        answer.surest.additions};
    if (answer.second) wanted.push_back(answer.second->additions);
    wanted.push_back(topup::cheapest(estimate_.belief, recipe_, means, plant, book).additions);
    const std::size_t aims = wanted.size();
    for (int k = 0; k < 8; ++k) {
      auto other = wanted[static_cast<std::size_t>(random_.below(static_cast<int>(aims)))];
      for (topup::Addition& addition : other) addition.amount_g *= random_.uniform(0.6, 1.5);
      wanted.push_back(std::move(other));
    }
    std::vector<Proposal> made;
    for (auto& additions : wanted) {
      if (!makeable(additions)) continue;
      made.push_back({additions, described(additions)});
    }
    return made;
  }

  /// @returns what was predicted, what the evidence then says, and what is true.
  Tried try_out(const Proposal& proposal) {
    Tried tried;
    tried.world = seed_;
    tried.predicted = proposal.described;
    std::vector<twin::Told> told;
    for (const topup::Addition& it : proposal.additions) {
      told.push_back({state_.book.stocks.at(static_cast<std::size_t>(it.stock)).id,
                      state_.plant.stations.at(static_cast<std::size_t>(it.station)).id,
                      it.amount_g});
    }
    tried.came_true = trial_.top_up("advice", told).met;
    judge();
    tried.predicted.good = conforms();
    return tried;
  }

  [[nodiscard]] bool spent() const { return vials_left_ == 0; }
  [[nodiscard]] support::Random& random() { return random_; }

 private:
  static twin::Trial made(std::uint64_t seed, int vials, double dose_spread_factor) {
    twin::ShiftPlan plan;
    plan.seed = seed;
    plan.vials = vials;
    plan.start = {1'795'608'000'000'000};
    plan.dose_spread_factor = dose_spread_factor;
    return {larkmoor().plant, larkmoor().book, larkmoor().recipes, plan};
  }
  static double to_milligram(double grams) { return std::round(grams * 1000.0) / 1000.0; }

  /// Hears what happened, folds what is about the line and about this vial, and estimates.
  void judge() {
    state_ = record_.about(serial_, trial_);
    const line::VialRecord* vial = line::find_vial(state_, serial_);
    ASSERT_NE(vial, nullptr);
    ASSERT_TRUE(vial->conflicts.empty()) << vial->conflicts.front().what;
    estimate_ = contents::estimate(evidence_of(*vial), state_.plant, state_.book);
    container_ = vial->container;
  }

  [[nodiscard]] topup::Means means() const {
    topup::Means means;
    means.container = container_;
    means.fill_now_ml = estimate_.belief.mean[estimate_.belief.volume()];
    for (std::size_t s = 0; s < state_.stations.size(); ++s) {
      for (const auto& [stock, lot] : state_.stations[s].loaded) {
        means.loaded.push_back({stock, lot, static_cast<int>(s), 0.0});
      }
    }
    return means;
  }

  /// Rounds to what a station is told; a dose it cannot make, or none at all, is no top-up.
  [[nodiscard]] bool makeable(std::vector<topup::Addition>& additions) const {
    for (topup::Addition& it : additions) {
      it.amount_g = to_milligram(it.amount_g);
      if (it.lot < 0 || it.station < 0) return false;
      const auto& station = state_.plant.stations.at(static_cast<std::size_t>(it.station));
      if (it.amount_g < station.least_dose_g || it.amount_g > station.largest_dose_g) return false;
    }
    return !additions.empty();
  }

  [[nodiscard]] outcomes::Outcome described(const std::vector<topup::Addition>& additions) const {
    outcomes::Outcome it;
    it.odds = topup::odds_of(estimate_.belief, recipe_, additions, state_.plant, state_.book).value;
    const contents::Belief after =
        topup::after(estimate_.belief, additions, state_.plant, state_.book);
    const auto conformity = conformity::judge(after, recipe_, state_.book, state_.plant.risks);
    it.margin_sd = 10.0;
    for (std::size_t l = 0; l < conformity.lines.size(); ++l) {
      const auto& [value, u, holds, seen] = conformity.lines[l];
      const recipe::Tolerance& line = recipe_.tolerances[l];
      it.margin_sd = std::min({it.margin_sd, (line.high - value) / u, (value - line.low) / u});
    }
    double least = recipe::no_limit;
    for (const topup::Addition& addition : additions) {
      const auto& station = state_.plant.stations.at(static_cast<std::size_t>(addition.station));
      const double ratio = addition.amount_g / station.least_dose_g;
      if (ratio >= least) continue;
      least = it.least_dose_ratio = ratio;
      it.stock = addition.stock;
    }
    return it;
  }

  std::uint64_t seed_;
  int vials_left_;
  support::Random random_;
  twin::Trial trial_;
  std::vector<recipe::Recipe> recipes_;
  Record record_;
  std::string serial_;
  int container_ = 0;
  recipe::Recipe recipe_;
  line::State state_;
  contents::Estimate estimate_;
};

}  // namespace vialwright::worlds
