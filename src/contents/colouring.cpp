// From a belief to what colours the liquid, and to its colour.
#include "contents/contents.hpp"
#include "error/error.hpp"

namespace vialwright::contents {

Eigen::VectorXd colouring(const Belief& belief, const Eigen::VectorXd& x,
                          Eigen::MatrixXd* gradient) {
  require(x.size() == belief.mean.size(), "a point on the belief's axes");
  const int components = belief.components, count = components + mixing::foreign_shapes;
  const double volume = x[belief.volume()];
  Eigen::VectorXd amounts = Eigen::VectorXd::Zero(count);
  Eigen::VectorXd scale = Eigen::VectorXd::Ones(components);
  if (gradient) gradient->setZero(count, x.size());
  if (!(volume > 0.0)) return amounts;  // nothing is in the vial
  for (int e = 0; e < static_cast<int>(belief.effects.size()); ++e) {
    const Effect& effect = belief.effects[static_cast<std::size_t>(e)];
    const int axis = belief.effect(e);
    if (effect.kind == Effect::Kind::absorptivity) {
      scale[effect.of] += x[axis];
      if (gradient) (*gradient)(effect.of, axis) = x[effect.of] / volume;
    } else if (effect.kind == Effect::Kind::foreign) {
      amounts[components + effect.of] = x[axis];
      if (gradient) (*gradient)(components + effect.of, axis) = 1.0;
    }
  }
  amounts.head(components) = x.head(components).cwiseProduct(scale) / volume;
  if (!gradient) return amounts;
  gradient->topLeftCorner(components, components).diagonal() = scale / volume;
  gradient->col(belief.volume()).head(components) = -amounts.head(components) / volume;
  return amounts;
}

Colour colour_of(const Belief& belief, const mixing::View& view) {
  Eigen::MatrixXd by_axes;
  const Eigen::VectorXd amounts = colouring(belief, belief.mean, &by_axes);
  mixing::Gradient by_amounts(3, amounts.size());
  Colour colour;
  colour.mean = view.lab(amounts, by_amounts);
  const Eigen::MatrixXd slopes = by_amounts * by_axes;  // (3, axes)
  const Eigen::Matrix3d covariance = slopes * belief.covariance * slopes.transpose();
  colour.covariance = 0.5 * (covariance + covariance.transpose());
  return colour;
}

}  // namespace vialwright::contents
