/// Beliefs and recipes drawn at random: 2 to 8 components and a mass window, correlated.
#pragma once

#include <cmath>

#include "conformity/conformity.hpp"
#include "support/random.hpp"

namespace vialwright::conformity_test {

struct Case {
  contents::Belief belief;
  recipe::Recipe recipe;
};

/// Covariance of n standardised quantities: a few shared causes and each its own.
inline Eigen::MatrixXd any_correlation(support::Random& random, int n) {
  const int causes = 1 + random.below(3);
  Eigen::MatrixXd loads(n, causes);
  for (double& load : loads.reshaped()) load = random.normal();
  Eigen::MatrixXd covariance = loads * loads.transpose();
  for (int i = 0; i < n; ++i) covariance(i, i) += random.uniform(0.05, 2.0);
  const Eigen::VectorXd scale = covariance.diagonal().cwiseSqrt().cwiseInverse();
  return scale.asDiagonal() * covariance * scale.asDiagonal();
}

/// A vial of 20 g with `components` contents around 1 mg/g, each known to 0.3 to 3 %, the net mass
/// to 2 to 300 mg, against limits of 1 to 5 % about a target that the vial may have missed.
inline Case any_case(support::Random& random, int components) {
  Case made;
  contents::Belief& belief = made.belief;
  belief.components = components;
  const int axes = components + 2;
  belief.mean = Eigen::VectorXd::Zero(axes);
  Eigen::VectorXd u = Eigen::VectorXd::Zero(axes);
  const double net = 20.0 + 0.3 * random.normal();
  belief.mean(belief.net()) = belief.mean(belief.volume()) = net;
  u(belief.net()) = std::exp(random.uniform(std::log(0.002), std::log(0.3)));
  for (int k = 0; k < components; ++k) {
    const double content = random.uniform(0.2, 2.0), half = random.uniform(0.01, 0.05);
    const double relative = std::exp(random.uniform(std::log(0.003), std::log(0.03)));
    belief.mean(k) = content * net * (1.0 + 0.4 * half * random.normal());
    u(k) = relative * content * net;
    made.recipe.tolerances.push_back(
        {recipe::ToleranceOn::content, k, content * (1.0 - half), content, content * (1.0 + half)});
  }
  made.recipe.tolerances.push_back({recipe::ToleranceOn::net_mass, -1, 19.5, 20.0, 20.5});
  belief.covariance = Eigen::MatrixXd::Zero(axes, axes);
  belief.covariance.topLeftCorner(components + 1, components + 1) =
      any_correlation(random, components + 1);
  belief.covariance.col(belief.volume()) = belief.covariance.col(belief.net());
  belief.covariance.row(belief.volume()) = belief.covariance.row(belief.net());
  u(belief.volume()) = u(belief.net());
  belief.covariance = (u.asDiagonal() * belief.covariance * u.asDiagonal()).eval();
  return made;
}

}  // namespace vialwright::conformity_test
