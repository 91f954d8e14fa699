#include "contents/dyes.hpp"

namespace vialwright::contents {
namespace {

using Eigen::Index;

double value_of(int unknown, const Eigen::VectorXd& x) { return unknown < 0 ? 0.0 : x[unknown]; }

}  // namespace

int Dyes::count() const {
  return static_cast<int>(components.size()) + (foreign_at < 0 ? 0 : mixing::foreign_shapes);
}

int Dyes::amount(int i, int all_components) const {
  const int known = static_cast<int>(components.size());
  return i < known ? components[static_cast<std::size_t>(i)] : all_components + i - known;
}

void Dyes::linearise(const Liquid& liquid, const Moment& moment, const Eigen::VectorXd& x,
                     Eigen::VectorXd& values, Eigen::MatrixXd& slopes) const {
  values.resize(count());
  slopes.setZero(x.size(), count());
  Eigen::VectorXd thinner = Eigen::VectorXd::Zero(x.size());
  Slope of_volume{thinner};
  const double volume = liquid.volume_ml(moment, x, of_volume);
  Index i = 0;
  for (const int k : components) {
    Slope slope{slopes.col(i)};
    const double mg = liquid.component_mg(k, moment, x, slope);
    const int deviation = deviation_at[static_cast<std::size_t>(i)];
    const double scale = (1.0 + value_of(deviation, x)) / volume;
    values[i] = scale * mg;
    slope.column = scale * slope.column - (values[i] / volume) * thinner;
    slope.add(deviation, mg / volume);
    ++i;
  }
  for (int shape = 0; i < count(); ++i, ++shape) {
    values[i] = x[foreign_at + shape] * foreign_ml / volume;
    slopes.col(i) = -(values[i] / volume) * thinner;
    slopes(foreign_at + shape, i) += foreign_ml / volume;
  }
}

}  // namespace vialwright::contents
