/// Lines and colours together, over the points of a lattice. Private to this module.
#pragma once

#include <array>
#include <vector>

#include "conformity/conditioning.hpp"
#include "conformity/ends.hpp"
#include "conformity/lattice.hpp"

namespace vialwright::conformity {

/// A colour line and how it is seen.
struct Watched {
  const ColourLine* line = nullptr;
  Look look;
};

class Joint {
 public:
  /// @pre every colour is in doubt.
  Joint(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
        const std::vector<Line>& lines, const std::vector<Watched>& colours);

  [[nodiscard]] const Conditioning& conditioning() const { return conditioned_.lines; }
  /// For every hand of the lattice, the mean of P(all hold | point) over its points.
  /// @pre the lattice has one dimension less than there are stages.
  [[nodiscard]] std::array<double, hands> means_over(const Lattice& lattice);
  /// Search everywhere from now on.
  void search_everywhere() { search_ = Search::everywhere; }

 private:
  [[nodiscard]] double mass_at(std::size_t point, const Drawn& drawn) const;
  [[nodiscard]] bool missed(const Drawn& drawn);

  SeenConditioning conditioned_;
  std::vector<Along> along_;    // one a colour
  std::vector<Inside> inside_;  // the same
  Search search_ = Search::nearby;
};

}  // namespace vialwright::conformity
