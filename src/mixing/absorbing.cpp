#include <numbers>

#include "mixing/absorption.hpp"
#include "mixing/mixing.hpp"

namespace vialwright::mixing {
namespace {

class Absorbing final : public Law {
 public:
  Absorbing(const recipe::Book& book, double path_cm, const colour::Grid& grid)
      : grid_(grid),
        natural_(-std::numbers::ln10 * path_cm * absorption_per_cm(book, wavelengths(grid))) {}

  [[nodiscard]] int amounts() const override { return static_cast<int>(natural_.cols()); }
  [[nodiscard]] const colour::Grid& grid() const override { return grid_; }

  void look(const Eigen::VectorXd& amounts, Eigen::VectorXd& factor,
            Eigen::MatrixXd* gradient) const override {
    require(amounts.size() == natural_.cols(), "one value an amount");
    factor = (natural_ * amounts).array().exp();
    if (gradient) *gradient = factor.asDiagonal() * natural_;
  }

 private:
  colour::Grid grid_;
  Eigen::MatrixXd natural_;  ///< d ln(factor) / d amounts
};

}  // namespace

std::unique_ptr<Law> absorbing(const recipe::Book& book, double path_cm, const colour::Grid& grid) {
  require(path_cm > 0.0, "a layer has a thickness");
  return std::make_unique<Absorbing>(book, path_cm, grid);
}

}  // namespace vialwright::mixing
