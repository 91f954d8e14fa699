#include <algorithm>
#include <array>
#include <bit>
#include <cmath>

#include "conformity/bounds.hpp"
#include "conformity/conditioning.hpp"
#include "conformity/joint.hpp"
#include "conformity/normal.hpp"
#include "conformity/sequential.hpp"
#include "conformity/spread.hpp"
#include "error/error.hpp"

namespace vialwright::conformity {
namespace {

// What the approximations leave (quantile 1e-9, decided quantities 1e-6), and more than rounding.
constexpr double least_error = 2e-6;
/// One variable: the limits are constants.
double in_closed_form(const Conditioning& c) {
  double low = -recipe::no_limit, high = recipe::no_limit;
  const double* number = c.numbers.data();
  for (int k = 0; k < c.stages.front().lower; ++k) low = std::max(low, *number++);
  for (int k = 0; k < c.stages.front().upper; ++k) high = std::min(high, *number++);
  return normal_between(low, high);
}

Probability from_hands(const std::array<double, hands>& means, int level,
                       const Conditioning& conditioning) {
  const Mean mean = mean_of(means);
  const double value = std::clamp(mean.value, conditioning.lower, conditioning.upper);
  const double farthest = std::max(value - conditioning.lower, conditioning.upper - value);
  const double doubt = mean.doubt + unresolved(level, conditioning.steepest);
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
Probability by_lattice(const Conditioning& conditioning, const Options& options) {
  const int dimensions = static_cast<int>(conditioning.stages.size()) - 1;
  const int last = level_of(std::max(options.points, options.most_points));
  int level = level_of(options.points);
  while (true) {
    const Lattice points = lattice(dimensions, level, options.seed);
    const Probability found = from_hands(means_over(conditioning, points), level, conditioning);
    if (found.error <= options.error || level == last) return found;
    level = std::min(last, next_level(level, found.error, options.error));
  }
}

/// Both parts get more points until they are good enough together; each the points that it needs.
class ByTwoLattices {
 public:
  ByTwoLattices(Joint& joint, const Options& options)
      : joint_(joint),
        options_(options),
        dimensions_(static_cast<int>(joint.conditioning().stages.size()) - 1),
        last_(level_of(std::max(options.points, options.most_points))),
        first_level_(level_of(options.points)),
        change_level_(std::max(coarsest_level, first_level_ - 2)) {}
  Probability run() {
    look_at_first_order();
    look_at_changes();
    while (true) {
      const Probability found = both();
      const bool first_can = first_level_ < last_, change_can = change_level_ < last_;
      if (found.error <= options_.error || !(first_can || change_can)) return found;
      const double wanted = 0.6 * options_.error;
      if (first_can && (!change_can || first_error_ >= change_error_)) {
        first_level_ = std::min(last_, next_level(first_level_, first_error_, wanted));
        look_at_first_order();
      } else {
        // These points are dear, and few hands tell their doubt roughly: not too many at once.
        const int next = next_level(change_level_, change_error_, wanted);
        change_level_ = std::min({last_, change_level_ + 2, next});
        look_at_changes();
      }
    }
  }

 private:
  void look_at_first_order() {
    const Lattice points = lattice(dimensions_, first_level_, options_.seed);
    first_ = mean_of(joint_.first_order(points));
    first_error_ = first_.doubt + unresolved(first_level_, joint_.conditioning().steepest);
    if (shell_ < 0.0) shell_ = joint_.shell(points);
  }
  /// A change jumps by no more than its size. And where these points see less, or more, of the
  /// colours' edges than the others did, the change is taken to be off in proportion.
  void look_at_changes() {
    const Lattice points = lattice(dimensions_, change_level_, options_.seed ^ 0x636f6c6f7572ULL);
    const Joint::Changes changes = joint_.changes(points);
    change_ = mean_of(changes.means);
    const double ratio = (changes.size + 0.03 * shell_) / (changes.shell + 0.1 * shell_ + 1e-300);
    change_error_ = change_.doubt + ratio * std::abs(changes.shell - shell_) +
                    unresolved(change_level_, joint_.conditioning().steepest) *
                        std::min(1.0, 4.0 * changes.size);
  }
  /// The bounds are those of the lines alone, of which only the upper one is still true.
  [[nodiscard]] Probability both() const {
    const Conditioning& lines = joint_.conditioning();
    const double value = std::clamp(first_.value + change_.value, 0.0, lines.upper);
    const double doubt = std::hypot(first_.doubt, change_.doubt) + (first_error_ - first_.doubt) +
                         (change_error_ - change_.doubt) + least_error + lines.neglected;
    return {value, std::min(doubt, std::max(value, lines.upper - value))};
  }

  Joint& joint_;
  const Options& options_;
  int dimensions_, last_, first_level_, change_level_;
  Mean first_, change_;
  double first_error_ = 0.0, change_error_ = 0.0;
  double shell_ = -1.0;  ///< how much lies near the colours' edges, to first order
};

Probability with_colours(Joint& joint, const Options& options) {
  const Conditioning& lines = joint.conditioning();
  if (lines.stages.size() > 1) return ByTwoLattices(joint, options).run();
  return {std::min(joint.of_one_variable(), lines.upper), least_error + lines.neglected};
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
  return by_lattice(conditioning, options);
}

Probability probability(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                        const std::vector<Line>& lines, const std::vector<ColourLine>& colours,
                        const Options& options) {
  std::vector<Watched> doubtful;
  for (const ColourLine& line : colours) {
    check(line, mean);
    if (line.high == recipe::no_limit) continue;
    if (line.volume >= 0 && !(mean[line.volume] > 0.0)) return {0.0, 0.0};  // nothing to look at
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
  Joint joint(mean, covariance, lines, doubtful, options.seed);
  if (!joint.possible()) return {0.0, 0.0};
  return with_colours(joint, options);
}

}  // namespace vialwright::conformity
