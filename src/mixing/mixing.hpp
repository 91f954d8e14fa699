/// From contents to colour: what a mixture absorbs, how it looks, what a gauge should show of it;
/// with derivatives. Amounts below are what colours the liquid, in this order:
///   0 .. K-1                      mg/mL of each component of the book (absorptivity's deviation
///                                 included: c (1 + deviation))
///   K .. K + foreign_shapes - 1   amplitudes of an unknown colourant, 1/cm
#pragma once

#include <Eigen/Core>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "colour/colour.hpp"
#include "plant/plant.hpp"
#include "recipe/recipe.hpp"

namespace vialwright::mixing {

using Gradient = Eigen::Matrix<double, 3, Eigen::Dynamic>;  ///< d(L, a, b) / d amounts

/// An unknown colourant is a smooth spectrum: a sum of these shapes with amplitudes that are
/// independently N(0, 1/cm) before anything is read. Overlapping bumps over the visible range.
inline constexpr int foreign_shapes = 8;
[[nodiscard]] double foreign_shape(int shape, double nm);  ///< decadic absorbance for 1/cm and 1 cm

[[nodiscard]] int amounts_of(const recipe::Book& book);  ///< K + foreign_shapes

/// How contents become a spectrum. Absorbing liquids are the only kind yet; opaque ones would be
/// another law behind the same interface.
class Law {
 public:
  virtual ~Law() = default;
  [[nodiscard]] virtual int amounts() const = 0;
  [[nodiscard]] virtual const colour::Grid& grid() const = 0;
  /// Transmittance or reflectance factor against clear solvent, 0..1.
  /// @param factor (bands) and @param gradient (bands, amounts) or nullptr: both are set whole.
  virtual void look(const Eigen::VectorXd& amounts, Eigen::VectorXd& factor,
                    Eigen::MatrixXd* gradient) const = 0;
};

/// Beer-Lambert: factor = 10^(-path sum_k e_k c_k). Negative amounts are taken as they are, so that
/// derivatives at zero are two-sided.
[[nodiscard]] std::unique_ptr<Law> absorbing(const recipe::Book& book, double path_cm,
                                             const colour::Grid& grid = {});

/// May the law be trusted? @returns why not ("salt scatters light, ..."), or an empty text.
/// @param stock_g  (stocks) what is in the liquid.
[[nodiscard]] std::string doubt_about(const recipe::Book& book, const Eigen::VectorXd& stock_g);

/// One way to look at a liquid, that of a recipe's colour target.
class View {
 public:
  View(const recipe::Book& book, const recipe::ColourTarget& seen);

  [[nodiscard]] int amounts() const { return static_cast<int>(absorption_.cols()); }
  [[nodiscard]] const colour::Xyz& white() const { return white_; }
  /// @param amounts   the first ones, in order: those left out are zero, and cost no time.
  /// @param gradient  set whole, one column an amount given.
  [[nodiscard]] colour::Lab lab(const Eigen::VectorXd& amounts) const;
  [[nodiscard]] colour::Lab lab(const Eigen::VectorXd& amounts, Gradient& gradient) const;

  /// Many liquids, structure of arrays: amounts[i * count + r] is amount i of liquid r; here too
  /// amounts may stop early. Same answers as one by one to 1e-9. Run-time dispatch to the widest
  /// vectors.
  void labs(std::span<const double> amounts, int count, std::span<double> l, std::span<double> a,
            std::span<double> b) const;

  /// Decadic absorbance of one unit of each amount at the view's path, (bands, amounts).
  [[nodiscard]] const Eigen::MatrixXd& absorption() const { return absorption_; }
  [[nodiscard]] const colour::Weights& weights() const { return *weights_; }

 private:
  Eigen::MatrixXd absorption_;
  const colour::Weights* weights_ = nullptr;
  colour::Xyz white_;
  struct Rowwise;  ///< laid out for vectors
  std::shared_ptr<const Rowwise> rows_;
};

/// What a colour gauge shows of a liquid, without noise and session bias, in a vial or its own
/// cell. Round vials: transmittance is averaged over the chords of the strip it looks through.
class Gauge {
 public:
  Gauge(const recipe::Book& book, const plant::ColourGauge& gauge,
        const plant::Container& container);

  [[nodiscard]] int values() const;  ///< bands, 3, or channels
  [[nodiscard]] int amounts() const;

  struct Light {
    double path = 1.0;   ///< over the nominal path
    double stray = 0.0;  ///< share of the light: T becomes (T + stray) / (1 + stray)
  };
  struct Slopes {
    Eigen::MatrixXd amounts;      ///< (values, amounts given)
    Eigen::VectorXd path, stray;  ///< (values)
  };
  /// @param amounts  the first ones, in order: those left out are zero, and have no slopes.
  /// @param values   (values), set whole, as are @param slopes if given.
  void show(const Eigen::VectorXd& amounts, const Light& light, Eigen::VectorXd& values,
            Slopes* slopes) const;

 private:
  struct Inside;
  std::shared_ptr<const Inside> inside_;
};

/// Mean chord of a strip of half-width `strip_rel` R through a round vial of radius R, over R.
[[nodiscard]] double mean_chord(double strip_rel);

}  // namespace vialwright::mixing
