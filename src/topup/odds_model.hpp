/// Private to topup: the odds of a vial after additions, quickly and for many amounts. The same
/// model as after() and odds_of(), with all that does not hang on the amounts computed once.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "topup/dosing.hpp"
#include "topup/paper.hpp"

namespace vialwright::topup {

/// Doses at most in one search; more stocks than this are searched in part (see best.cpp).
inline constexpr int most_doses = 12;
using Amounts = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, most_doses, 1>;

/// One side of a tolerance line as a linear function of the properties, which must not be negative.
struct Side {
  int line = 0;
  Eigen::VectorXd weights;  ///< (properties)
  double constant = 0.0;
};

class OddsModel {
 public:
  /// @param chosen  the candidates that are dosed, each more than nothing.
  OddsModel(const contents::Belief& belief, const recipe::Recipe& recipe,
            const std::vector<Candidate>& chosen, const plant::Plant& plant,
            const recipe::Book& book);

  [[nodiscard]] int doses() const { return static_cast<int>(gram_.size()); }
  [[nodiscard]] const std::vector<Side>& sides() const { return sides_; }
  /// Slope of a side in the true grams of one dose, and its value where nothing is dosed.
  [[nodiscard]] double slope(std::size_t side, int dose) const;
  [[nodiscard]] double at_nothing(std::size_t side) const;

  /// Mean and standard deviation of a side at these true grams.
  struct Margin {
    double mean = 0.0, sd = 0.0;
  };
  [[nodiscard]] Margin margin(std::size_t side, const Amounts& grams) const;
  /// A lower limit of the standard deviation of a side over a box of amounts: rigorous, since the
  /// variance is convex in the amounts.
  [[nodiscard]] double least_sd(std::size_t side, const Amounts& low, const Amounts& high) const;

  [[nodiscard]] conformity::Probability odds(const Amounts& grams,
                                             const conformity::Options& options) const;
  /// Sum over lines of the logarithm of their own odds: smooth, cheap, and near the logarithm of
  /// the joint odds where those are high.
  [[nodiscard]] double log_of_marginals(const Amounts& grams) const;

 private:
  struct Noise {
    double spread_g = 0.0, spread_rel = 0.0;
  };
  [[nodiscard]] Eigen::MatrixXd covariance(const Amounts& grams) const;
  [[nodiscard]] double variance_of(const Eigen::VectorXd& weights, const Amounts& grams,
                                   Amounts* slope) const;

  Eigen::VectorXd mean_;                ///< (properties), nothing dosed
  Eigen::MatrixXd root_;                ///< (properties, r): covariance is root root', offsets in
  std::vector<Eigen::VectorXd> gram_;   ///< what one gram more of a dose does
  std::vector<Eigen::MatrixXd> moves_;  ///< (properties, r) per gram: hidden errors of the dose
  std::vector<Noise> noise_;
  std::vector<Eigen::MatrixXd> density_;  ///< per stock: (properties, doses), u included
  std::vector<Side> sides_;
  std::vector<conformity::Line> lines_;  ///< over the properties
};

}  // namespace vialwright::topup
