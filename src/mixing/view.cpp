#include "mixing/absorption.hpp"
#include "mixing/layer.hpp"
#include "mixing/mixing.hpp"

namespace vialwright::mixing {
namespace {

std::span<const double> span_of(const Eigen::VectorXd& amounts) {
  return {amounts.data(), static_cast<std::size_t>(amounts.size())};
}

}  // namespace

View::View(const recipe::Book& book, const recipe::ColourTarget& seen)
    : weights_(&colour::weights(seen.observer, seen.illuminant)), white_(weights_->white) {
  require(seen.path_cm > 0.0, "a layer has a thickness");
  absorption_ = seen.path_cm * absorption_per_cm(book, wavelengths(weights_->grid));
  layer_ = std::make_shared<const Layer>(absorption_, *weights_);
}

colour::Lab View::lab(const Eigen::VectorXd& amounts) const {
  return colour::lab(tristimulus(*layer_, span_of(amounts)), white_);
}

colour::Lab View::lab(const Eigen::VectorXd& amounts, Gradient& gradient) const {
  gradient.resize(3, amounts.size());
  const auto size = static_cast<std::size_t>(gradient.size());
  const colour::Xyz xyz = tristimulus(*layer_, span_of(amounts), {gradient.data(), size});
  Eigen::Matrix3d bend;
  const colour::Lab lab = colour::lab(xyz, white_, bend);
  for (Eigen::Index i = 0; i < gradient.cols(); ++i)
    gradient.col(i) = (bend * gradient.col(i)).eval();
  return lab;
}

void View::labs(std::span<const double> amounts, int count, std::span<double> l,
                std::span<double> a, std::span<double> b) const {
  require(count >= 0, "a number of liquids");
  tristimulus(*layer_, amounts, static_cast<std::size_t>(count), l, a, b);
  colour::lab(l, a, b, white_, l, a, b);
}

}  // namespace vialwright::mixing
