#include "contents/map_estimate.hpp"

#include <Eigen/Cholesky>
#include <cmath>
#include <utility>

#include "contents/bounds.hpp"
#include "error/error.hpp"

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// Storage of the steps, so that iterating does not allocate.
struct Step {
  VectorXd predicted, innovation;
  MatrixXd spread;  ///< (n, m) P H'
  MatrixXd before;  ///< (m, m) S
  Eigen::LLT<MatrixXd> factor;
};

/// Readings far finer than their prior can leave S indefinite by rounding; a hair of it, far below
/// what any instrument resolves, is then added.
void factorise(Step& step) {
  step.factor.compute(step.before);
  if (step.factor.info() == Eigen::Success) return;
  step.before.diagonal() *= 1.0 + 1e-12;
  step.factor.compute(step.before);
  require(step.factor.info() == Eigen::Success, "exact readings do not repeat each other");
}

/// Takes the gradient at a point.
/// @returns what the mode makes least, exact readings and priors apart.
double linearise(const Unknowns& unknowns, const Observed& observed, const Response& response,
                 const VectorXd& at, Step& step, Fit& fit) {
  double sum = response.linearise_all(at, step.predicted, fit.gradient);
  for (Index j = 0; j < observed.value.size(); ++j) {
    const double off = observed.value[j] - step.predicted[j];
    if (observed.variance[j] > 0.0) sum += off * off / observed.variance[j];
  }
  for (Index i = 0; i < at.size(); ++i) {
    const double off = at[i] - unknowns.mean[i];
    if (unknowns.variance[i] > 0.0) sum += off * off / unknowns.variance[i];
  }
  return sum;
}

/// One Gauss-Newton step from `mode`, where the gradient was taken: sets fit.mean and pull.
void unbounded_step(const Unknowns& unknowns, const Observed& observed, Step& step, Fit& fit) {
  step.spread = unknowns.variance.asDiagonal() * fit.gradient;
  step.before.noalias() = fit.gradient.transpose() * step.spread;
  step.before.diagonal() += observed.variance;
  factorise(step);
  step.innovation = observed.value - step.predicted;
  step.innovation.noalias() += fit.gradient.transpose() * (fit.mode - unknowns.mean);
  fit.pull = step.factor.solve(step.innovation);
  fit.mean = unknowns.mean;
  fit.mean.noalias() += step.spread * fit.pull;
}

void covariance(const Unknowns& unknowns, const Step& step, Fit& fit) {
  const MatrixXd half = step.factor.matrixL().solve(step.spread.transpose());  // (m, n)
  fit.covariance = unknowns.variance.asDiagonal();
  fit.covariance.noalias() -= half.transpose() * half;
}

bool any_negative(const VectorXd& values, const std::vector<char>& bounded) {
  for (Index i = 0; i < values.size(); ++i)
    if (bounded[static_cast<std::size_t>(i)] != 0 && values[i] < 0.0) return true;
  return false;
}

/// The largest move, in units of the prior's standard deviation and the value itself.
double moved(const VectorXd& from, const VectorXd& to, const VectorXd& variance) {
  double most = 0.0;
  for (Index i = 0; i < from.size(); ++i) {
    const double size = std::sqrt(variance[i]) + std::abs(to[i]);
    if (size > 0.0) most = std::max(most, std::abs(to[i] - from[i]) / size);
  }
  return most;
}

/// As much of the step to `point` as makes things better, where the gradient is then taken;
/// `now` is what the mode makes least.
void shorten(const Unknowns& unknowns, const Observed& observed, const Response& response,
             VectorXd& point, double& now, Step& step, Fit& fit) {
  for (int halvings = 0;; ++halvings) {
    const double then = linearise(unknowns, observed, response, point, step, fit);
    // Near the mode the two are equal but for rounding.
    if (then <= now * (1.0 + 1e-9) + 1e-9 || halvings == 12) {
      now = then;
      return;
    }
    point = 0.5 * (fit.mode + point);
  }
}

/// chi2 = sum of residuals^2 / R + sum over honest priors of (x - mu)^2 / P, each written with the
/// pull so that R = 0 and P = 0 need no exception.
double cost(const Unknowns& unknowns, const Observed& observed, const Fit& fit) {
  double sum = (observed.variance.array() * fit.pull.array().square()).sum();
  const VectorXd tug = fit.gradient * fit.pull;
  for (Index i = 0; i < tug.size(); ++i)
    if (unknowns.vague[static_cast<std::size_t>(i)] == 0)
      sum += unknowns.variance[i] * tug[i] * tug[i];
  return sum;
}

int redundancy(const Unknowns& unknowns, const Fit& fit) {
  double seen = 0.0;
  for (Index i = 0; i < fit.mean.size(); ++i)
    if (unknowns.vague[static_cast<std::size_t>(i)] != 0)
      seen += 1.0 - fit.covariance(i, i) / unknowns.variance[i];
  return std::max(0, static_cast<int>(fit.pull.size()) - static_cast<int>(std::lround(seen)));
}

void finish(const Unknowns& unknowns, const Observed& observed, const Step& step,
            const Bounded& bounded, Fit& fit) {
  fit.at_bound = bounded.active;
  fit.weight = step.factor.solve(MatrixXd::Identity(fit.pull.size(), fit.pull.size()));
  fit.reach.noalias() = step.spread * fit.weight;
  fit.residual = observed.variance.cwiseProduct(fit.pull);
  fit.chi_squared = cost(unknowns, observed, fit) + bounded.cost;
  fit.degrees = redundancy(unknowns, fit) + bounded.count;
}

}  // namespace

int add(Unknowns& unknowns, double mean, double variance, bool bounded, bool vague) {
  const Index n = unknowns.mean.size();
  unknowns.mean.conservativeResize(n + 1);
  unknowns.variance.conservativeResize(n + 1);
  unknowns.mean[n] = mean;
  unknowns.variance[n] = variance;
  unknowns.bounded.push_back(bounded ? 1 : 0);
  unknowns.vague.push_back(vague ? 1 : 0);
  return static_cast<int>(n);
}

Fit map_estimate(const Unknowns& unknowns, const Observed& observed, const Response& response,
                 int max_iterations) {
  const Index n = unknowns.mean.size(), m = observed.value.size();
  Fit fit;
  fit.mode = unknowns.mean;
  fit.gradient.resize(n, m);
  Step step;
  step.predicted.resize(m);
  step.before.resize(m, m);
  Bounded bounded;
  const bool curved = response.curved();
  // 1e-10 of the prior's doubt: far below what any reading resolves, far above rounding. Where a
  // curve makes steps shrink by a factor at a time, 1e-7 leaves an error of 1e-9.
  const double still = curved ? 1e-7 : 1e-10;
  double now = linearise(unknowns, observed, response, fit.mode, step, fit);
  while (true) {
    ++fit.iterations;
    unbounded_step(unknowns, observed, step, fit);
    bounded = Bounded{fit.mean, std::vector<char>(static_cast<std::size_t>(n), 0), 0.0, 0};
    if (any_negative(fit.mean, unknowns.bounded)) {
      covariance(unknowns, step, fit);
      bounded = nearest_within_bounds(fit.mean, fit.covariance, unknowns.bounded);
    }
    const double move = moved(fit.mode, bounded.point, unknowns.variance);
    const bool done = move < still || fit.iterations >= max_iterations;
    if (!done && curved) shorten(unknowns, observed, response, bounded.point, now, step, fit);
    fit.at = std::exchange(fit.mode, bounded.point);
    if (done) break;
    if (!curved) linearise(unknowns, observed, response, fit.mode, step, fit);
  }
  covariance(unknowns, step, fit);
  finish(unknowns, observed, step, bounded, fit);
  return fit;
}

}  // namespace vialwright::contents
