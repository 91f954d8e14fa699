/// Private: the evidence about one vial as a general problem: which unknowns there are, what their
/// priors say, and what each reading should show.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "contents/contents.hpp"
#include "contents/map_estimate.hpp"

namespace vialwright::contents {

/// One explanation changes the model in one place.
struct Doubted {
  int reading = -1;  ///< may be off by its blunder
  int command = -1;  ///< the dose may have missed it altogether
};

class VialModel final : public Response {
 public:
  VialModel(const Evidence& evidence, const plant::Plant& plant, const recipe::Book& book);

  void linearise(const Eigen::VectorXd& unknowns, Eigen::VectorXd& predicted,
                 Eigen::MatrixXd& gradient) const override;

  [[nodiscard]] const Unknowns& unknowns() const { return unknowns_; }
  [[nodiscard]] const Observed& observed() const { return observed_; }
  /// The same with one thing doubted.
  [[nodiscard]] Unknowns unknowns(const Doubted& doubted) const;
  [[nodiscard]] Observed observed(const Doubted& doubted) const;

  [[nodiscard]] int doses() const { return static_cast<int>(evidence_.doses.size()); }
  [[nodiscard]] int dose(int d) const { return d; }  ///< unknown of a dose
  [[nodiscard]] int tare() const { return tare_; }
  [[nodiscard]] int loss_rate() const { return loss_rate_; }  ///< g/h; -1 = nothing evaporates
  [[nodiscard]] int density(int stock) const { return density_[static_cast<std::size_t>(stock)]; }

  /// Does the command speak about its dose?
  [[nodiscard]] bool testifies(int dose) const;
  [[nodiscard]] double blunder(int reading) const;  ///< standard deviation, the reading's unit
  [[nodiscard]] double missed_by(int dose) const;   ///< g, standard deviation of a missed command

  /// Instrument effects that touch this vial, with their unknowns.
  struct Touching {
    Effect effect;
    int unknown = -1;
  };
  [[nodiscard]] const std::vector<Touching>& effects() const { return effects_; }

  [[nodiscard]] double stock_density(int stock, const Eigen::VectorXd& unknowns) const;
  [[nodiscard]] double lost_density() const { return lost_density_; }  ///< g/mL of what evaporates

 private:
  struct Systematic {
    double gain = 0.0, offset = 0.0;
    int gain_at = -1, offset_at = -1, zero_rate_at = -1;
  };
  struct Slope;

  void add_doses();
  void add_vial();
  void add_densities();
  void add_instruments();
  void add_instrument(int instrument);
  void observe();
  [[nodiscard]] int source_of(int instrument) const;
  [[nodiscard]] double variance_of(const Reading& reading) const;
  [[nodiscard]] double found_blunder(const Reading& reading) const;
  [[nodiscard]] double commanded(int dose) const;

  double weighed(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;
  double liquid_weight(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;
  double filled(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;
  double height(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;
  double dosed(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;
  double measurand(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;

  const Evidence& evidence_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  const plant::Container& container_;
  Unknowns unknowns_;
  Observed observed_;
  std::vector<int> density_;            ///< per stock, -1 = known well enough
  std::vector<Systematic> systematic_;  ///< per instrument; those of one source are alike
  std::vector<Touching> effects_;
  int tare_ = -1, cap_ = -1, loss_rate_ = -1, diameter_ = -1, floor_ = -1;
  double lost_density_ = 1.0;
};

}  // namespace vialwright::contents
