/// Private: what is in the liquid of one vial at some moment, as a function of the unknowns.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "contents/contents.hpp"

namespace vialwright::contents {

/// A dose of an unknown lot may be of any lot of its stock: their mean, their spread and their own
/// doubt. With no lot on the books it may be anything.
[[nodiscard]] recipe::Strength strength_of(const Dose& dose, int component,
                                           const recipe::Book& book);

/// A strength with doubt, shared by doses of one lot (or of one stock where the lot is unknown).
struct DoubtedStrength {
  int lot = -1, stock = 0, component = 0;
  double u = 0.0;
  int unknown = -1;  ///< of its deviation, mg/g
  [[nodiscard]] bool is_of(const Dose& dose, int of_component) const {
    return lot == dose.lot && stock == dose.stock && component == of_component;
  }
};

/// How something hangs on the unknowns: a row or a column of slopes.
struct Slope {
  Eigen::Ref<Eigen::VectorXd> column;
  void add(int unknown, double by) {
    if (unknown >= 0) column[unknown] += by;
  }
};

/// A state of the vial that is asked about.
struct Moment {
  int after_doses = 0;
  double open_s = 0.0, days = 0.0;
};

/// Where the unknowns stand is told by whoever adds them; -1 = known well enough.
class Liquid {
 public:
  Liquid(const Evidence& evidence, const recipe::Book& book);

  /// Mass of a component, mg: doses by their strengths, less what faded and evaporated.
  /// @param slope  what it hangs on is added.
  double component_mg(int component, const Moment& moment, const Eigen::VectorXd& x,
                      Slope& slope) const;
  double volume_ml(const Moment& moment, const Eigen::VectorXd& x, Slope& slope) const;

  [[nodiscard]] double density(int stock, const Eigen::VectorXd& x) const;   ///< g/mL
  [[nodiscard]] double rate(int component, const Eigen::VectorXd& x) const;  ///< of fading, 1/d
  [[nodiscard]] double lost_density() const { return lost_density_; }        ///< of what evaporates
  [[nodiscard]] bool holds(int dose, const Moment& moment) const;            ///< had it been made?
  [[nodiscard]] bool has(int component) const;  ///< does any dose bring some of it?
  [[nodiscard]] int doses() const { return static_cast<int>(doses_.size()); }
  [[nodiscard]] const Dose& dose(int d) const { return doses_[static_cast<std::size_t>(d)]; }
  [[nodiscard]] int planned() const { return planned_; }  ///< doses but for one carried over
  /// Days for which a dose has faded by then.
  [[nodiscard]] double age(int dose, const Moment& moment) const;
  [[nodiscard]] int strength_at(int dose, int component) const;

  /// A trace of a stock that was in the vial before anything was dosed.
  void carry_over(int stock, int unknown);

  std::vector<int> dose_at, density_at;    ///< per dose, per stock
  std::vector<int> fade_at;                ///< per component, 1/d
  std::vector<DoubtedStrength> strengths;  ///< those that are unknowns
  int loss_rate_at = -1;                   ///< g/h
  int faded_at = -1;                       ///< share that all with a colour lost beyond their rates

 private:
  const recipe::Book& book_;
  std::vector<Dose> doses_;
  int planned_ = 0;
  double lost_density_ = 1.0;
};

}  // namespace vialwright::contents
