/// Private to topup: amounts that bring a liquid's colour as near as can be to what is wanted.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "topup/bounded_step.hpp"
#include "topup/look.hpp"

namespace vialwright::topup {

/// CIEDE2000 about a target, as a quadratic form: difference^2 is about (x - target)' metric
/// (x - target). By differences of the formula at a distance of about `high`, where it matters.
struct Wanted {
  colour::Lab lab;
  double high = 1.0;  ///< limit of CIEDE2000
  Eigen::Matrix3d metric;
};
[[nodiscard]] Wanted wanted(const colour::Lab& target, double high);

[[nodiscard]] inline Eigen::Vector3d vector_of(const colour::Lab& lab) {
  return {lab.l, lab.a, lab.b};
}

/// A liquid to which doses are added, looked at in one way.
class Shade {
 public:
  using Gradient = Eigen::Matrix<double, 3, Eigen::Dynamic, 0, 3, most_doses>;  ///< (3, doses)

  /// @param now  (amounts of the view) what colours the liquid as it is. @param per_g  (amounts,
  /// doses) mg of it in a g of each dose. @param volume  mL now. @param ml_per_g  (doses).
  Shade(const mixing::View& view, const Eigen::VectorXd& now, const Eigen::MatrixXd& per_g,
        double volume, Amounts ml_per_g);

  [[nodiscard]] int doses() const { return static_cast<int>(ml_per_g_.size()); }
  [[nodiscard]] colour::Lab lab(const Amounts& grams) const;
  /// With d(L, a, b) / d grams.
  [[nodiscard]] colour::Lab lab(const Amounts& grams, Gradient& gradient) const;
  [[nodiscard]] colour::Xyz xyz(const Amounts& grams, Gradient& gradient) const;
  [[nodiscard]] const colour::Xyz& white() const { return look_.white(); }

 private:
  double mix(const Amounts& grams, double* shares) const;
  void to_grams(const Look::Gradient& of_shares, const double* shares, double volume,
                Gradient& gradient) const;

  Look look_;  ///< of the liquid as it is, then of each dose per mL that it is spread over
  double volume_;
  Amounts ml_per_g_;
};

/// One colour that is wanted of the liquid.
struct Aim {
  Shade shade;
  Wanted wanted;
};

/// Where the amounts may be: low <= grams <= high and rows grams <= limits.
struct AimRegion {
  Amounts low, high;
  Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor> rows;
  Eigen::VectorXd limits;
};

struct Nearest {
  Amounts grams;
  std::vector<double> differences;  ///< CIEDE2000 of each aim
  double worst = 0.0;               ///< the largest of them, each over its limit
};

class ColourSearch {
 public:
  /// Keeps a reference to the aims. @pre at least one aim.
  ColourSearch(const std::vector<Aim>& aims, AimRegion region);

  /// From one start within the region. Gauss-Newton steps, the first on absorbances, in which the
  /// problem is nearly linear, then on L*, a*, b* with the slope of CIEDE2000.
  [[nodiscard]] Nearest from(const Amounts& start) const;
  /// From several: that one and four others, until one comes to the target itself.
  [[nodiscard]] Nearest best(const Amounts& start) const;
  /// Can the limits be met? From a start whose colour is near already, on L*, a*, b* at once; ends
  /// well within the limits (at half of one), or where they are out of sight.
  [[nodiscard]] Nearest decided(const Amounts& start) const;
  /// From the start towards some other point, as far as the rows allow.
  [[nodiscard]] Amounts within(const Amounts& start, const Amounts& to) const;

 private:
  struct Here {
    double value = 0.0;  ///< sum of weight (difference / limit)^2
    Amounts gradient;    ///< of minus the value
    Curvature curvature;
  };
  using Weights = std::vector<double>;
  [[nodiscard]] double value(const Amounts& grams, const Weights& weights) const;
  [[nodiscard]] Here here(const Amounts& grams, const Weights& weights) const;
  [[nodiscard]] Here absorbances(const Amounts& grams) const;
  [[nodiscard]] Amounts step(const Here& here, const Amounts& grams) const;
  void by_absorbance(Amounts& grams) const;
  enum class Until { nearest, decided };
  void descend(Amounts& grams, const Weights& weights, Until until) const;
  [[nodiscard]] Nearest told(const Amounts& grams) const;

  const std::vector<Aim>& aims_;
  AimRegion region_;
};

}  // namespace vialwright::topup
