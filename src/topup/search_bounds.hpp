/// Private to topup: what a set of doses, or a whole family of sets, can give at most.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "topup/odds_model.hpp"

namespace vialwright::topup {

/// Amounts within linear limits: rows x <= limits, low <= x <= high.
struct Region {
  Eigen::MatrixXd rows;
  Eigen::VectorXd limits, low, high;
};

/// The sides of the tolerance lines as rows: slopes x + at_nothing >= 0, each scaled to its size.
struct Sides {
  Eigen::MatrixXd slopes;
  Eigen::VectorXd at_nothing;
  Eigen::VectorXd sd;  ///< standard deviation of each, or a lower limit of it
};

struct Middle {
  Amounts grams;
  double margin = 0.0;  ///< the smallest, in standard deviations; no more than nine
};
/// The amounts whose smallest margin is largest, or nullopt where a line that nothing puts in doubt
/// cannot hold. Without doses: the margin alone.
[[nodiscard]] std::optional<Middle> centre_of(const Region& region, const Sides& sides);

/// The least price'x among amounts that leave every side `margin` standard deviations or more, or
/// nullopt where there are none.
[[nodiscard]] std::optional<double> least_price(const Region& region, const Sides& sides,
                                                const Eigen::VectorXd& price, double margin);

/// What can be dosed, as numbers; one entry a candidate.
struct Doses {
  Eigen::VectorXd low, high;  ///< true grams; 0 < low <= high, or high = 0: cannot be dosed
  Eigen::VectorXd price;      ///< per g
  Eigen::VectorXd ml_per_g;
  double room_g = 0.0, room_ml = 0.0, visit = 0.0;
};

/// A family of sets: those that have all of `in`, and beside them some of the candidates from
/// `next` on. One set where `next` is the number of candidates.
struct Family {
  std::vector<int> in;
  int next = 0;
};

struct Bounds {
  bool fits = false;          ///< is there room for the least doses of `in`?
  bool on_paper = false;      ///< some amounts of the family, least doses of the open ones apart,
                              ///< meet every line at the mean
  double odds_at_most = 0.0;  ///< of every set of the family: the worst line's own odds at its best
  double cost_at_least = 0.0;  ///< of every top-up of the family with the wanted odds; infinite
                               ///< where there is none
};
/// @param margin  standard normal quantile of the wanted odds: every line has at least those.
[[nodiscard]] Bounds bounds_of(const Family& family, const OddsModel& model, const Doses& doses,
                               double margin);

}  // namespace vialwright::topup
