/// Private to topup: the best amounts when it is fixed which doses are made.
#pragma once

#include <optional>

#include "topup/odds_model.hpp"

namespace vialwright::topup {

/// What limits the doses of one set, in true grams.
struct DoseSet {
  Amounts low, high;  ///< of each dose; low > 0
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
  /// @param aims  of these doses, one a colour line. @pre there is room for the least of each dose.
  /// Keeps references to odds and aims.
  SetSearch(const SetOdds& odds, DoseSet set, const conformity::Options& points,
            const std::vector<Aim>& aims);

  /// Best odds over the amounts; with `success` > 0, best success * odds - cost.
  [[nodiscard]] Found surest(double success = 0.0) const;
  /// Least cost among those whose odds are at least `wanted`, from a start that has them.
  [[nodiscard]] Found cheapest(const Found& start, double wanted) const;
  [[nodiscard]] Found at(const Amounts& grams) const;
  /// A few steps more, by the odds that know what lines and colours have in common.
  [[nodiscard]] Amounts polished(const Amounts& grams, const conformity::Options& points) const;

 private:
  struct Local {
    double value = 0.0;
    Amounts gradient;
    Eigen::MatrixXd curvature;
  };
  void set_rows();
  void set_scale();
  [[nodiscard]] Amounts centre() const;
  [[nodiscard]] Amounts nearest_colour(const Amounts& start) const;
  [[nodiscard]] double cost_of(const Amounts& grams) const {
    return set_.price.dot(grams) + set_.visits_cost;
  }
  [[nodiscard]] double odds_of(const Amounts& grams) const {
    return odds_.quick_odds(grams, points_);
  }
  template <class Odds>
  [[nodiscard]] Amounts log_odds_gradient(const Amounts& grams, const Odds& odds_of) const;
  [[nodiscard]] Local joint(const Amounts& grams, double success) const;
  [[nodiscard]] Found edge_between(const Amounts& without, const Found& with, double wanted) const;
  template <class Value, class Shape>
  void climb(Amounts& grams, const Value& value, const Shape& shape, int steps,
             double enough) const;

  const SetOdds& odds_;
  const std::vector<Aim>& aims_;
  DoseSet set_;
  conformity::Options points_;
  Eigen::MatrixXd rows_;  ///< rows_ grams <= limits_: the range of each dose, and the room
  Eigen::VectorXd limits_;
  Amounts start_;  ///< near where the smallest margin, in standard deviations, is largest
  Amounts scale_;  ///< g that move some line by about one standard deviation
};

}  // namespace vialwright::topup
