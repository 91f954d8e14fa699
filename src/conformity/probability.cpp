#include <algorithm>
#include <array>
#include <bit>
#include <cmath>

#include "conformity/bounds.hpp"
#include "conformity/conditioning.hpp"
#include "conformity/joint.hpp"
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

/// Limits so steep that they jump between neighbouring points show in no spread where every hand
/// has the same count: two spacings, in the measure that steep limits are unresolved.
double unresolved(int level, double steepest) {
  const double points = std::ldexp(1.0, level);
  const double share = std::min(1.0, 20.0 * steepest / points);
  return 2.0 / points * share * share;
}

/// The hands are randomly shifted lattices that interlock: their errors tend to cancel, so their
/// spread overstates the doubt of the mean, never the other way in our trials.
Probability from_hands(const std::array<double, hands>& means, int level,
                       const Conditioning& conditioning) {
  double mean = 0.0, squares = 0.0;
  for (const double one : means) mean += one / hands;
  for (const double one : means) squares += (one - mean) * (one - mean);
  const double u = std::sqrt(squares / (hands - 1) / hands);
  const double value = std::clamp(mean, conditioning.lower, conditioning.upper);
  const double farthest = std::max(value - conditioning.lower, conditioning.upper - value);
  const double doubt = three_sigma_of_eight * u + unresolved(level, conditioning.steepest);
  return {value, std::min(doubt + least_error + conditioning.neglected, farthest)};
}

int level_of(int points) {
  const auto width = static_cast<int>(std::bit_width(static_cast<unsigned>(std::max(points, 1))));
  return std::clamp(width - 1, coarsest_level, finest_level);
}

/// The level at which the error may be expected to be small enough, as it falls about as 1/points.
int next_level(int level, double error, double wanted) {
  return level + std::max(1, static_cast<int>(std::ceil(std::log2(error / wanted))));
}

/// More points until their hands agree well enough, or there are no more.
/// @param means  of the hands of a lattice.
template <class Means>
Probability by_lattice(const Conditioning& conditioning, const Options& options,
                       const Means& means) {
  const int dimensions = static_cast<int>(conditioning.stages.size()) - 1;
  const int last = level_of(std::max(options.points, options.most_points));
  int level = level_of(options.points);
  while (true) {
    const Lattice points = lattice(dimensions, level, options.seed);
    const Probability found = from_hands(means(points), level, conditioning);
    if (found.error <= options.error || level == last) return found;
    level = std::min(last, next_level(level, found.error, options.error));
  }
}

/// The bounds are those of the lines alone, of which only the upper one is still true.
Probability with_colours(Joint& joint, const Options& options) {
  Conditioning conditioning = joint.conditioning();
  conditioning.lower = 0.0;
  if (conditioning.stages.size() == 1) {  // the integral is between ends alone
    joint.search_everywhere();
    const double value = joint.means_over(lattice(0, coarsest_level, options.seed)).front();
    return {std::min(value, conditioning.upper), least_error + conditioning.neglected};
  }
  return by_lattice(conditioning, options,
                    [&](const Lattice& points) { return joint.means_over(points); });
}

void check(const ColourLine& line, const Eigen::VectorXd& mean) {
  require(line.view != nullptr && line.mass.size() == line.deviation.size(),
          "a colour line has a view, and one mass and one deviation an amount");
  require(static_cast<int>(line.mass.size()) <= line.view->amounts(),
          "no more amounts than the view has");
  const auto is_axis = [&](int axis) { return axis < mean.size(); };
  require(is_axis(line.volume) && std::ranges::all_of(line.mass, is_axis) &&
              std::ranges::all_of(line.deviation, is_axis),
          "what colours the liquid are axes");
  require(!std::isnan(line.high), "limits are numbers");
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
  if (conditioning.stages.size() == 1)
    return {in_closed_form(conditioning), conditioning.neglected};
  return by_lattice(conditioning, options,
                    [&](const Lattice& points) { return means_over(conditioning, points); });
}

Probability probability(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                        const std::vector<Line>& lines, const std::vector<ColourLine>& colours,
                        const Options& options) {
  std::vector<Watched> doubtful;
  for (const ColourLine& line : colours) {
    check(line, mean);
    if (line.high == recipe::no_limit) continue;
    Watched watched{&line, look_at(line, mean, covariance)};
    if (!watched.look.sure()) {
      doubtful.push_back(std::move(watched));
    } else if (!(watched.look.difference <= line.high)) {
      return {0.0, 0.0};
    }
  }
  if (doubtful.empty()) return probability(mean, covariance, lines, options);
  check(mean, covariance, lines);
  const double most = bounds_of(mean, covariance, lines).upper;
  if (most < options.decide_at) return {0.5 * most, 0.5 * most};
  Joint joint(mean, covariance, lines, doubtful);
  if (!joint.conditioning().possible) return {0.0, 0.0};
  return with_colours(joint, options);
}

}  // namespace vialwright::conformity
