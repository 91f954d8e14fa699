#include <algorithm>
#include <array>
#include <bit>
#include <cmath>

#include "conformity/bounds.hpp"
#include "conformity/conditioning.hpp"
#include "conformity/normal.hpp"
#include "conformity/sequential.hpp"
#include "error/error.hpp"

namespace vialwright::conformity {
namespace {

// What the approximations leave (quantile 1e-9, decided quantities 1e-6), and more than rounding.
constexpr double least_error = 2e-6;
// Student's t for 7 degrees of freedom at the two-sided level of three standard deviations.
constexpr double three_sigma_of_eight = 4.53;

/// One variable: the limits are constants.
double in_closed_form(const Conditioning& c) {
  double low = -recipe::no_limit, high = recipe::no_limit;
  const double* number = c.numbers.data();
  for (int k = 0; k < c.stages.front().lower; ++k) low = std::max(low, *number++);
  for (int k = 0; k < c.stages.front().upper; ++k) high = std::min(high, *number++);
  return normal_between(low, high);
}

Probability from_shifts(const std::array<double, shifts>& sums, double points) {
  double mean = 0.0, squares = 0.0;
  for (const double sum : sums) mean += sum / points / shifts;
  for (const double sum : sums) squares += std::pow(sum / points - mean, 2);
  const double u = std::sqrt(squares / (shifts - 1) / shifts);
  return {std::clamp(mean, 0.0, 1.0), three_sigma_of_eight * u + least_error};
}

int level_of(int points) {
  const auto a_shift = static_cast<unsigned>(std::max(points / shifts, 2));
  return std::min(static_cast<int>(std::bit_width(a_shift)) - 1, finest_level);
}

/// Doubles the points until the shifts agree well enough, or there are no more.
Probability by_lattice(const Conditioning& conditioning, const Options& options) {
  const Lattice points = lattice(static_cast<int>(conditioning.stages.size()) - 1, options.seed);
  std::array<double, shifts> sums{};
  int level = level_of(options.points);
  const int last = std::max(level, level_of(options.most_points));
  add_block(conditioning, points, whole_lattice(level), sums);
  Probability found = from_shifts(sums, std::ldexp(1.0, level));
  while (found.error > options.error && level < last) {
    add_block(conditioning, points, refinement(++level), sums);
    found = from_shifts(sums, std::ldexp(1.0, level));
  }
  return found;
}

void check(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
           const std::vector<Line>& lines) {
  require(covariance.rows() == mean.size() && covariance.cols() == mean.size(),
          "covariance is square, one row an axis");
  require(mean.allFinite() && covariance.allFinite(), "mean and covariance are finite");
  for (const Line& line : lines) {
    require(line.weights.size() == mean.size(), "a line has one weight an axis");
    require(line.divisor.size() == 0 || line.divisor.size() == mean.size(),
            "a divisor has one weight an axis");
    require(!std::isnan(line.low) && !std::isnan(line.high), "limits are numbers");
  }
}

}  // namespace

Probability probability(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                        const std::vector<Line>& lines, const Options& options) {
  check(mean, covariance, lines);
  if (options.decide_at >= 0.0) {
    const Bounds bounds = bounds_of(mean, covariance, lines);
    if (bounds.lower >= options.decide_at || bounds.upper < options.decide_at) {
      return {0.5 * (bounds.lower + bounds.upper), 0.5 * (bounds.upper - bounds.lower)};
    }
  }
  const Conditioning conditioning = condition(mean, covariance, lines);
  if (!conditioning.possible) return {0.0, 0.0};
  if (conditioning.stages.empty()) return {1.0, 0.0};
  if (conditioning.stages.size() == 1) return {in_closed_form(conditioning), 0.0};
  return by_lattice(conditioning, options);
}

}  // namespace vialwright::conformity
