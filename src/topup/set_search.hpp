/// Private to topup: the best amounts when it is fixed which doses are made.
#pragma once

#include <optional>

#include "topup/odds_model.hpp"

namespace vialwright::topup {

/// The doses of one set, in true grams.
struct DoseSet {
  Amounts low, high;  ///< each dose; low > 0
  Amounts price;      ///< per g
  Amounts ml_per_g;   ///< volume taken
  double room_g = 0.0, room_ml = 0.0;
  double visits_cost = 0.0;  ///< of making these doses
};

/// Amounts and what comes of them, by the points of the search.
struct Found {
  Amounts grams;
  double odds = 0.0, cost = 0.0;  ///< cost of stocks and visits
};

class SetSearch {
 public:
  SetSearch(const OddsModel& model, DoseSet set, const conformity::Options& points);

  /// May these doses be made at all: is there room for the least of each?
  [[nodiscard]] bool fits() const { return fits_; }
  /// No amounts have better odds than this: the best of the worst line's own odds, sound.
  [[nodiscard]] double odds_at_most() const { return odds_at_most_; }
  /// Is there an amount that meets every line at the mean?
  [[nodiscard]] bool meets_on_paper() const { return paper_; }
  /// No amounts that meet the lines with those odds, at least even, cost less than this.
  [[nodiscard]] double cost_at_least() const { return cost_at_least_; }

  /// Best odds over the amounts; with `success` > 0, best success * odds - cost.
  [[nodiscard]] Found surest(double success = 0.0) const;
  /// Least cost among those whose odds are at least `wanted`, from a start that has them.
  [[nodiscard]] Found cheapest(const Found& start, double wanted) const;
  [[nodiscard]] Found at(const Amounts& grams) const;

 private:
  [[nodiscard]] std::optional<Amounts> centre(const std::vector<double>& sd, double* margin) const;
  void keep_off_the_walls();
  [[nodiscard]] double unit_of(std::size_t side, double sd) const;
  [[nodiscard]] bool inside(const Amounts& grams) const;
  [[nodiscard]] double barrier(const Amounts& grams) const;
  [[nodiscard]] double cost_of(const Amounts& grams) const {
    return set_.price.dot(grams) + set_.visits_cost;
  }
  [[nodiscard]] double odds_of(const Amounts& grams) const {
    return model_.odds(grams, points_).value;
  }
  template <class F>
  void climb(Amounts& grams, const F& value, int steps, double first_step) const;

  const OddsModel& model_;
  DoseSet set_;
  conformity::Options points_;
  bool fits_ = false, paper_ = false;
  double odds_at_most_ = 0.0, cost_at_least_ = 0.0;
  Amounts centre_;  ///< where the smallest margin, in standard deviations, is largest
  Amounts scale_;   ///< g that move some line by about one standard deviation
};

}  // namespace vialwright::topup
