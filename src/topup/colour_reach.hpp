/// Private to topup: the colours that a vial can still take on, enclosed in boxes.
#pragma once

#include <vector>

#include "topup/colour_search.hpp"
#include "topup/topup.hpp"

namespace vialwright::topup {

/// Half the sides of a box about the target that holds every colour within the limit: a margin in
/// L*, and one in a* and in b*. Rigorous.
struct Around {
  double l = 0.0, ab = 0.0;
};
[[nodiscard]] Around around(const colour::Lab& target, double high);

/// Liquids are shares of what is in the vial and of each stock, in which absorbance is linear and
/// the light that passes falls. So two corners of a cell of shares enclose the slopes of L*, a*,
/// b* in it, and with its middle the colours themselves (mean value form; Moore, Kearfott & Cloud,
/// Introduction to Interval Analysis (SIAM 2009), ch. 6). Cells are split until they are small.
class ColourReach {
 public:
  /// Keeps a reference to the vial.
  ColourReach(const ColourVial& vial, const mixing::View& view);

  /// False: no additions come within the limit of the target.
  [[nodiscard]] bool may_reach(const colour::Lab& target, double high) const;
  /// Amounts whose colours are near the target, the nearest first: middles of cells, so they may
  /// break the limits on amounts by a little. At most `most_starts`.
  [[nodiscard]] std::vector<Amounts> near(const colour::Lab& target, double high) const;
  static constexpr std::size_t most_starts = 3;

 private:
  struct Cell {
    std::vector<double> low, high;  ///< shares: of the vial, then g/mL of each coloured stock
    Eigen::Vector3d lab, half;      ///< the middle of the box of colours, and half its sides
    std::vector<double> moves;      ///< how far each share moves the colour, at most
  };
  [[nodiscard]] bool is_possible(const Cell& cell) const;
  void enclose(Cell& cell) const;
  [[nodiscard]] Cell everything() const;
  void divide();
  void note_cells();
  [[nodiscard]] Amounts grams_of(const Cell& cell) const;
  template <class Visit>
  static void visit(const Eigen::Vector3d& middle, const Eigen::Vector3d& half, const Visit& visit);

  const ColourVial& vial_;
  std::vector<int> coloured_, clear_;  ///< stocks
  Look look_;                          ///< of the vial, then of the coloured stocks
  bool monotone_ = true;               ///< no absorbance is negative; else nothing is ruled out
  std::vector<Cell> cells_;
  std::vector<int> cell_of_;  ///< of each voxel, the smallest that reaches into it; -1: none does
};

}  // namespace vialwright::topup
