/// Lines and colours together, over the points of a lattice. Private to this module.
#pragma once

#include <array>
#include <cstdint>
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

/// P(all hold) in two parts: with every colour to first order, which is quick, and what the colours
/// themselves change of that, which is small and needs few points.
class Joint {
 public:
  /// @pre every colour is in doubt. @param seed  of the points that choose between orders.
  Joint(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
        const std::vector<Line>& lines, const std::vector<Watched>& colours, std::uint64_t seed);

  [[nodiscard]] bool possible() const { return possible_; }
  [[nodiscard]] const Conditioning& conditioning() const { return conditioned_.lines; }

  // Both below for every hand of a lattice that has one dimension less than there are stages.

  /// The mean of P(all hold to first order | point) over its points. @pre at least two stages.
  [[nodiscard]] std::array<double, hands> first_order(const Lattice& lattice) const;
  /// How much lies near the colours' edges: within a tenth of their tolerances, to first order.
  [[nodiscard]] double shell(const Lattice& lattice) const;
  struct Changes {
    std::array<double, hands> means{};  ///< of what to add to the first order
    double size = 0.0, shell = 0.0;     ///< mean over all points of its size; and as shell()
  };
  [[nodiscard]] Changes changes(const Lattice& lattice);
  /// P(all hold) itself where nothing but the last variable is in doubt.
  [[nodiscard]] double of_one_variable();

 private:
  [[nodiscard]] double mass_at(std::size_t point, const Drawn& drawn) const;
  [[nodiscard]] double first_order_at(std::size_t point, const Drawn& drawn, double wider) const;
  [[nodiscard]] bool missed(const Drawn& drawn);
  void find(const Drawn& drawn);

  bool possible_ = true;
  SeenConditioning conditioned_;
  std::vector<Along> along_;    // one a colour
  std::vector<Ball> balls_;     // the same
  std::vector<Inside> inside_;  // the same
  Search search_ = Search::nearby;
};

}  // namespace vialwright::conformity
