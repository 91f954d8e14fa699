/// Private: the evidence about one vial as a general problem: which unknowns there are, what their
/// priors say, and what each reading should show.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "contents/colour_part.hpp"
#include "contents/contents.hpp"
#include "contents/liquid.hpp"
#include "contents/map_estimate.hpp"

namespace vialwright::contents {

class VialModel final : public Response {
 public:
  /// @param whole  a colour reading has one row a value, in the reading's order.
  VialModel(const Evidence& evidence, const plant::Plant& plant, const recipe::Book& book,
            const Doubted& doubted = {}, bool whole = false);

  void linearise(const Eigen::VectorXd& unknowns, Eigen::VectorXd& predicted,
                 Eigen::MatrixXd& gradient) const override {
    linearise_all(unknowns, predicted, gradient);
  }
  double linearise_all(const Eigen::VectorXd& unknowns, Eigen::VectorXd& predicted,
                       Eigen::MatrixXd& gradient) const override;
  [[nodiscard]] bool curved() const override { return colour_.counts(); }

  [[nodiscard]] const Unknowns& unknowns() const { return unknowns_; }
  [[nodiscard]] const Observed& observed() const { return observed_; }

  /// Rows of one reading: one, those of a colour, or none where it is no evidence.
  struct Rows {
    Eigen::Index first = 0, count = 0;
  };
  [[nodiscard]] const Rows& rows(int reading) const {
    return rows_[static_cast<std::size_t>(reading)];
  }
  [[nodiscard]] int readings() const { return static_cast<int>(rows_.size()); }
  [[nodiscard]] bool is_colour(int reading) const {
    return evidence_.readings[static_cast<std::size_t>(reading)].kind == ReadingKind::colour;
  }
  /// Would an unknown colourant be seen, and is it not believed in already?
  [[nodiscard]] bool looks_for_colourant() const { return colour_.counts() && !doubted_.colourant; }
  /// (rows, values): what one value of a colour reading off does. @pre whole colour readings.
  [[nodiscard]] Eigen::MatrixXd by_value(int colour_reading) const;
  /// (rows, bands): what a remainder of 1/cm does, of all spectra. @pre whole colour readings.
  [[nodiscard]] Eigen::MatrixXd by_remainder() const;
  [[nodiscard]] const ColourPart& colour() const { return colour_; }
  [[nodiscard]] const Liquid& liquid() const { return liquid_; }
  [[nodiscard]] const Evidence& evidence() const { return evidence_; }

  [[nodiscard]] int doses() const { return liquid_.planned(); }
  [[nodiscard]] int dose(int d) const { return d; }  ///< unknown of a dose
  [[nodiscard]] int tare() const { return tare_; }
  [[nodiscard]] int loss_rate() const { return liquid_.loss_rate_at; }  ///< -1 = none evaporates

  /// Does the command speak about its dose?
  [[nodiscard]] bool testifies(int dose) const;
  [[nodiscard]] double blunder(int reading) const;  ///< standard deviation, the reading's unit
  [[nodiscard]] double missed_by(int dose) const;   ///< g, standard deviation of a missed command

  /// Instrument effects that touch this vial, with their unknowns.
  [[nodiscard]] const std::vector<Touching>& effects() const { return effects_; }

 private:
  struct Systematic {
    double gain = 0.0, offset = 0.0;
    int gain_at = -1, offset_at = -1, zero_rate_at = -1;
  };

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
  double height(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;
  double dosed(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;
  double measurand(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;
  double shown(const Reading& reading, const Eigen::VectorXd& x, Slope& slope) const;

  const Evidence& evidence_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  const plant::Container& container_;
  Doubted doubted_;
  Unknowns unknowns_;
  Observed observed_;
  Liquid liquid_;
  ColourPart colour_;
  std::vector<Rows> rows_;
  std::vector<Systematic> systematic_;  ///< per instrument; those of one source are alike
  std::vector<Touching> effects_;
  int tare_ = -1, cap_ = -1, diameter_ = -1, floor_ = -1;
};

}  // namespace vialwright::contents
