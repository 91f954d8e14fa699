/// Private to topup: the odds of a vial after additions, quickly and for many amounts. The same
/// model as after() and odds_of(), with all that does not hang on the amounts computed once.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "topup/amounts.hpp"
#include "topup/colour_side.hpp"
#include "topup/dosing.hpp"
#include "topup/paper.hpp"

namespace vialwright::topup {

/// One side of a tolerance line: weights'properties + constant, which must not be negative.
struct Side {
  int line = 0;
  Eigen::VectorXd weights;  ///< (properties)
  double constant = 0.0;
};

/// All candidates of one vial and recipe. What a line looks at (the properties) comes out as
///   mean + sum a_j gram_j + (root + sum b_j fixed_j + sum a_j moves_j) e,   e ~ N(0, I),
/// with a_j the true grams of a dose and b_j 1 where it is made, else 0.
class OddsModel {
 public:
  OddsModel(const contents::Belief& belief, const recipe::Recipe& recipe,
            const std::vector<Candidate>& candidates, const plant::Plant& plant,
            const recipe::Book& book);

  [[nodiscard]] int candidates() const { return static_cast<int>(gram_.size()); }
  [[nodiscard]] const std::vector<Side>& sides() const { return sides_; }
  /// Slope of a side in the true grams of a candidate, and its value where nothing is dosed.
  [[nodiscard]] double slope(std::size_t side, int candidate) const;
  [[nodiscard]] double at_nothing(std::size_t side) const;
  [[nodiscard]] const std::vector<ColourSide>& colours() const { return colours_; }
  /// The vial at the mean, and what these candidates make of its colours; one entry a colour line.
  [[nodiscard]] std::vector<Aim> aims(const std::vector<int>& members) const;
  /// The largest standard deviation of any colour, in limits, with these doses of the members.
  [[nodiscard]] double doubt_of_colours(const std::vector<int>& members,
                                        const Amounts& grams) const;
  /// A lower limit of the standard deviation of a side over all amounts within the box: candidates
  /// with low > 0 are made, those with high = 0 are not, the others may be. (candidates) each.
  /// Rigorous: the variance is convex in (b, a), and a tangent of a convex function lies below it.
  [[nodiscard]] double least_sd(std::size_t side, const Eigen::VectorXd& low,
                                const Eigen::VectorXd& high) const;

 private:
  friend class SetOdds;
  /// Covariance between the parts of the doubt: part 0 is the vial's, then each b_j, then each a_j.
  [[nodiscard]] auto part(Eigen::Index one, Eigen::Index other) const {
    const Eigen::Index p = mean_.size();
    return parts_.block(one * p, other * p, p, p);
  }

  Eigen::VectorXd mean_;               ///< (properties), nothing dosed
  std::vector<Eigen::VectorXd> gram_;  ///< what one gram more of a candidate does
  Eigen::MatrixXd parts_;
  std::vector<Side> sides_;
  std::vector<Eigen::MatrixXd> variance_;  ///< of each side, a quadratic form in (1, b, a)
  std::vector<conformity::Line> lines_;    ///< over the properties
  std::vector<ColourSide> colours_;        ///< likewise
  std::vector<Eigen::Index> foreign_;      ///< properties that thin as the liquid grows
  Eigen::Index volume_ = -1;               ///< the property; -1 where nothing looks at it
};

/// The candidates that are dosed, each more than nothing; the others not at all.
class SetOdds {
 public:
  /// @param members  indices of candidates, at most `most_doses`. Keeps a reference to the model.
  SetOdds(const OddsModel& model, const std::vector<int>& members);

  [[nodiscard]] int doses() const { return static_cast<int>(members_.size()); }
  [[nodiscard]] std::size_t sides() const { return model_.sides().size(); }
  /// Of a side in the true grams of each dose, and its value where nothing is dosed.
  [[nodiscard]] const Amounts& slopes(std::size_t side) const { return slopes_[side]; }
  [[nodiscard]] double at_nothing(std::size_t side) const { return at_nothing_[side]; }

  /// Mean and standard deviation of a side at these true grams.
  struct Margin {
    double mean = 0.0, sd = 0.0;
  };
  [[nodiscard]] Margin margin(std::size_t side, const Amounts& grams) const;

  [[nodiscard]] conformity::Probability odds(const Amounts& grams,
                                             const conformity::Options& options) const;
  /// Without colours the same. With colours, those of the lines times those of each colour by
  /// first order about the mean: what they have in common is left out.
  [[nodiscard]] double quick_odds(const Amounts& grams, const conformity::Options& options) const;
  [[nodiscard]] bool has_colours() const { return !model_.colours().empty(); }
  /// The properties after the doses, first order.
  struct State {
    Eigen::VectorXd mean;
    Eigen::MatrixXd covariance;
  };
  [[nodiscard]] State state(const Amounts& grams) const;

  /// Sum over lines and colours of the logarithm of their own odds: smooth, cheap, and near the
  /// logarithm of the joint odds where those are high. The curvature is positive semidefinite:
  /// minus the second derivatives, but for the bend of the margins themselves.
  struct Marginals {
    double value = 0.0;
    Amounts gradient;
    Eigen::MatrixXd curvature;
  };
  [[nodiscard]] Marginals marginals(const Amounts& grams) const;

 private:
  struct Z {
    double z = 0.0;
    Amounts gradient;
  };
  [[nodiscard]] Z standardised(std::size_t side, const Amounts& grams) const;
  void add_colours(const Amounts& grams, Marginals& sum) const;

  const OddsModel& model_;
  std::vector<int> members_;
  std::vector<Amounts> slopes_;            ///< of each side
  std::vector<double> at_nothing_;         ///< of each side
  std::vector<Eigen::MatrixXd> variance_;  ///< of each side, a quadratic form in (1, a)
  Eigen::MatrixXd still_;                  ///< covariance of the properties at no amounts
  std::vector<Eigen::MatrixXd> linear_;    ///< what a_j adds to it
  std::vector<Eigen::MatrixXd> square_;    ///< what a_j a_k adds, k <= j, row by row
};

}  // namespace vialwright::topup
