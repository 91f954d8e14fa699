#include <algorithm>
#include <array>
#include <cmath>

#include "conformity/conformity.hpp"
#include "conformity/normal.hpp"
#include "error/error.hpp"

namespace vialwright::conformity {
namespace {

// 10-point Gauss-Legendre on [-1, 1], positive half. Source: Abramowitz & Stegun, Table 25.4.
constexpr std::array<double, 5> nodes = {0.148874338981631, 0.433395394129247, 0.679409568299024,
                                         0.865063366688985, 0.973906528517172};
constexpr std::array<double, 5> weights = {0.295524224714753, 0.269266719309996, 0.219086362515982,
                                           0.149451349150581, 0.066671344308688};
constexpr double reach = 6.0;  // standard deviations of the reading that are looked at

/// P(conforming | reading), by where the reading falls in its predicted distribution.
class AfterReading {
 public:
  AfterReading(const contents::Belief& belief, double u_net_g, std::vector<Line> lines,
               std::vector<ColourLine> colours, const Options& options)
      : mean_(belief.mean),
        covariance_(belief.covariance),
        lines_(std::move(lines)),
        colours_(std::move(colours)),
        options_(options) {
    const Eigen::VectorXd shared = covariance_.col(belief.net());
    const double u = std::sqrt(std::max(shared(belief.net()), 0.0) + u_net_g * u_net_g);
    moves_ = u > 0.0 && shared(belief.net()) > 0.0;
    if (!moves_) return;
    shift_ = shared / u;
    covariance_ -= shift_ * shift_.transpose();
  }
  [[nodiscard]] bool moves() const { return moves_; }
  /// @param z  (reading less prediction) / its standard deviation.
  [[nodiscard]] double operator()(double z) const {
    return probability(mean_ + z * shift_, covariance_, lines_, colours_, options_).value;
  }

 private:
  Eigen::VectorXd mean_, shift_;
  Eigen::MatrixXd covariance_;
  std::vector<Line> lines_;
  std::vector<ColourLine> colours_;
  Options options_;
  bool moves_ = false;
};

/// Where P is greatest. P is log-concave in z (convex lines, Gaussian doubt: Prekopa; the colours
/// within a small difference are convex too, near enough), so it rises, then falls; flat ends far
/// from the lines are told apart by shrinking from both sides.
double peak_of(const AfterReading& p) {
  double best = 0.0, most = p(0.0);
  const int coarse = static_cast<int>(2.0 * reach);
  for (int i = -coarse; i <= coarse; ++i) {
    const double z = 0.5 * i;
    const double at = p(z);
    if (at > most) {
      most = at;
      best = z;
    }
  }
  double step = 0.25;
  while (step > 1e-3) {
    for (const double z : {best - step, best + step}) {
      const double at = p(z);
      if (at > most) {
        most = at;
        best = z;
      }
    }
    step *= 0.5;
  }
  return best;
}

/// Between `inside`, where P reaches the threshold, and `end`: the place where it no longer does.
double crossing(const AfterReading& p, double inside, double end, double threshold) {
  if (p(end) >= threshold) return end;
  for (int halving = 0; halving < 20; ++halving) {
    const double middle = 0.5 * (inside + end);
    (p(middle) >= threshold ? inside : end) = middle;
  }
  return inside;
}

struct Integral {
  double chance = 0.0, good = 0.0;  ///< of a reading in the interval; and of a good vial with it
};

Integral over(const AfterReading& p, double from, double to) {
  Integral sum{normal_between(from, to), 0.0};
  const int pieces = std::max(1, static_cast<int>(std::ceil((to - from) / 1.5)));
  const double half = 0.5 * (to - from) / pieces;
  for (int piece = 0; piece < pieces; ++piece) {
    const double centre = from + (2 * piece + 1) * half;
    for (std::size_t k = 0; k < nodes.size(); ++k) {
      for (const double z : {centre - half * nodes[k], centre + half * nodes[k]}) {
        sum.good += half * weights[k] * normal_density(z) * p(z);
      }
    }
  }
  return sum;
}

}  // namespace

ReadingWorth worth_of_weighing(const contents::Belief& belief, double u_net_g,
                               const recipe::Recipe& recipe, const recipe::Book& book,
                               const plant::Risks& risks, const Stakes& stakes,
                               const Options& options) {
  require(u_net_g >= 0.0, "a reading's uncertainty is not negative");
  const double spread = stakes.good + stakes.wrong;
  if (spread <= 0.0) return {};  // releasing never pays
  const auto gain_of_release = [&](double chance, double good) {
    return good * stakes.good - (chance - good) * stakes.wrong + chance * stakes.scrap;
  };
  // Releasing must be allowed, and better than scrapping.
  const double threshold = std::max(1.0 - recipe.consumer_risk.value_or(risks.consumer),
                                    (stakes.wrong - stakes.scrap) / spread);
  const auto lines = lines_of(recipe, belief);
  const auto colours = colour_lines_of(recipe, belief, book);
  const double now = probability(belief.mean, belief.covariance, lines, colours, options).value;
  const double gain_now = now >= threshold ? gain_of_release(1.0, now) : 0.0;
  const AfterReading after(belief, u_net_g, lines, colours, options);
  if (!after.moves()) return {0.0, now >= threshold ? 1.0 : 0.0};
  const double peak = peak_of(after);
  if (after(peak) < threshold) return {};
  const double from = crossing(after, peak, -reach, threshold);
  const double to = crossing(after, peak, reach, threshold);
  const Integral released = over(after, from, to);
  // A reading that may only hurt need not be taken: its worth is then none.
  return {std::max(0.0, gain_of_release(released.chance, released.good) - gain_now),
          released.chance};
}

}  // namespace vialwright::conformity
