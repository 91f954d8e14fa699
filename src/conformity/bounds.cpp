#include "conformity/bounds.hpp"

#include <algorithm>
#include <cmath>

#include "conformity/normal.hpp"

namespace vialwright::conformity {
namespace {

/// A linear form's mean and standard deviation, over its nonzero weights only.
struct Form {
  double mean = 0.0, u = 0.0, size = 0.0;
};

Form form_of(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
             const Eigen::VectorXd& weights) {
  Form form;
  double variance = 0.0;
  for (Eigen::Index a = 0; a < weights.size(); ++a) {
    if (weights(a) == 0.0) continue;
    form.mean += weights(a) * mean(a);
    form.size += std::abs(weights(a) * mean(a));
    for (Eigen::Index b = 0; b < weights.size(); ++b) {
      if (weights(b) != 0.0) variance += weights(a) * weights(b) * covariance(a, b);
    }
  }
  form.u = std::sqrt(std::max(variance, 0.0));
  return form;
}

/// P(form < limit), for a form that may be without doubt; then the limit itself holds.
double below(const Form& form, double limit) {
  const double gap = limit - form.mean, size = form.size + std::abs(limit);
  if (form.u <= 1e-13 * size) return gap > 1e-12 * size ? 1.0 : 0.0;
  return normal_cdf(gap / form.u);
}

Eigen::VectorXd less(const Line& line, double limit) { return line.weights - limit * line.divisor; }

}  // namespace

Bounds bounds_of(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance, const Line& line) {
  double under = 0.0, over = 0.0, overlap = 0.0;
  if (line.divisor.size() == 0) {
    const Form form = form_of(mean, covariance, line.weights);
    if (std::isfinite(line.low)) under = below(form, line.low);
    const Form turned{-form.mean, form.u, form.size};
    if (std::isfinite(line.high)) over = below(turned, -line.high);
    if (line.low > line.high) return {0.0, 0.0};
  } else {
    if (std::isfinite(line.low)) {
      under = below(form_of(mean, covariance, less(line, line.low)), 0.0);
    }
    if (std::isfinite(line.high)) {
      over = below(form_of(mean, covariance, -less(line, line.high)), 0.0);
    }
    // Both sides can fail at once only where the divisor is negative.
    overlap = std::min({under, over, below(form_of(mean, covariance, line.divisor), 0.0)});
  }
  const double lower = std::clamp(1.0 - under - over, 0.0, 1.0);
  return {lower, std::clamp(1.0 - under - over + overlap, lower, 1.0)};
}

Bounds bounds_of(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                 const std::vector<Line>& lines) {
  double fails = 0.0, upper = 1.0;
  for (const Line& line : lines) {
    const Bounds one = bounds_of(mean, covariance, line);
    fails += 1.0 - one.lower;
    upper = std::min(upper, one.upper);
  }
  return {std::clamp(1.0 - fails, 0.0, upper), upper};
}

}  // namespace vialwright::conformity
