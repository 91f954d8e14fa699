/// The probability that contents meet a recipe, and what the agreed risk makes of it.
/// Source of the terms: JCGM 106:2012.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "contents/contents.hpp"

namespace vialwright::conformity {

/// One tolerance line over jointly Gaussian quantities x: low <= (w'x) / (d'x) <= high, with d'x
/// taken as positive; an empty `divisor` means 1. Either side may be infinite.
struct Line {
  Eigen::VectorXd weights, divisor;
  double low = -recipe::no_limit, high = recipe::no_limit;
};

/// One limit on colour: CIEDE2000 of the liquid, looked at as `view` does, to `target`.
/// What colours the liquid comes from x by quotients: amounts_i = x[mass_i] / x[volume] (1 +
/// x[deviation_i]), or x[mass_i] alone where `volume` is -1 or the amount is a foreign shape.
struct ColourLine {
  std::shared_ptr<const mixing::View> view;
  colour::Lab target;
  double high = recipe::no_limit;
  std::vector<int> mass, deviation;  ///< (amounts) axes of x; -1 = zero
  int volume = -1;                   ///< axis of x
};

struct Options {
  int points = 512;         ///< fixed points to begin with; error falls about as 1/points
  int most_points = 65536;  ///< more points, up to this, while the stated error is too large
  double error = 1e-3;      ///< wanted: the stated error, three standard deviations
  double decide_at = -1.0;  ///< 0..1: bounds that settle "P >= decide_at?" may end the work early
  std::uint64_t seed = 20251;  ///< of the fixed point set; recorded with every decision
  bool operator==(const Options&) const = default;
};

struct Probability {
  double value = 0.0;  ///< 0..1
  double error = 0.0;  ///< stated numerical error, absolute; 0 for closed forms
};

/// P(all lines hold) for x ~ N(mean, covariance), jointly. Singular covariances are welcome.
/// Method: closed form in one dimension; otherwise sequential conditioning on a lattice (Genz,
/// J. Comput. Graph. Stat. 1 (1992) 141), pivots (divisors) first. The stated error is three
/// standard deviations over eight shifts of the lattice (Student's t), and never below 2e-6; with
/// `decide_at` it may be half the gap between two bounds.
/// @pre shapes agree, values finite, at most 128 independent quantities.
[[nodiscard]] Probability probability(const Eigen::VectorXd& mean,
                                      const Eigen::MatrixXd& covariance,
                                      const std::vector<Line>& lines, const Options& options = {});

/// P(all lines and colour lines hold), jointly. The last variable is a direction in which the
/// colour changes most; the integral over it is between the points where CIEDE2000 leaves its
/// tolerance. Over many points that is done to first order, over few of them what the colours
/// themselves change of it; the stated error is that of both. Colours hold for sure, or fail, where
/// they are in no doubt. With `decide_at` only the bounds of the other lines can end the work
/// early.
/// @pre as above; each colour line has a view, its axes are axes of x, volume is surely positive.
[[nodiscard]] Probability probability(const Eigen::VectorXd& mean,
                                      const Eigen::MatrixXd& covariance,
                                      const std::vector<Line>& lines,
                                      const std::vector<ColourLine>& colours,
                                      const Options& options = {});

/// The recipe's tolerance lines over the axes of that belief, those on colour left out.
[[nodiscard]] std::vector<Line> lines_of(const recipe::Recipe& recipe,
                                         const contents::Belief& belief);
/// Those on colour, in the order of Recipe::tolerances.
[[nodiscard]] std::vector<ColourLine> colour_lines_of(const recipe::Recipe& recipe,
                                                      const contents::Belief& belief,
                                                      const recipe::Book& book);

/// How one tolerance line stands.
struct LineReport {
  double value = 0.0, u = 0.0;           ///< of the property, in the line's unit (first order)
  Probability holds;                     ///< marginal
  std::optional<contents::Colour> seen;  ///< colour: what the liquid looks like; then `value` is
                                         ///< CIEDE2000 of the mean, and `u` its own: first order
                                         ///< far from the target, finite at it
};

enum class Ruling { release, reject, unclear };  ///< by the risks alone, as the vial is now

struct Conformity {
  Probability joint;
  std::vector<LineReport> lines;  ///< in the order of Recipe::tolerances
  int binding = -1;               ///< the line least likely to hold; -1 = recipe without lines
  Ruling ruling = Ruling::unclear;
  bool on_the_edge = false;  ///< joint is within its error of the threshold that decided
  std::string doubt;         ///< why the colour cannot be judged; else empty
};

/// Colours are judged on what is believed of the true colour, never on a difference that was seen.
/// Where the law of absorption does not hold (mixing::doubt_about), a recipe with a colour is never
/// met for sure: the ruling is `unclear`, or `reject` by the other lines alone, and `doubt` says
/// why. The marginal of a colour is wanted to 3e-3 only: no ruling hangs on it.
[[nodiscard]] Conformity judge(const contents::Belief& belief, const recipe::Recipe& recipe,
                               const recipe::Book& book, const plant::Risks& risks,
                               const Options& options = {});

/// What one more reading of the net mass is worth before a release decision (value of sample
/// information): expected gain over deciding now, in units of account, and the odds that it leads
/// to a release. `good` is what a released good vial brings, `wrong` what releasing a bad one
/// costs, `scrap` what disposing of one costs. Released is what the consumer's risk allows and
/// what pays better than scrapping. Never negative: a reading that may only hurt is not taken.
struct Stakes {
  double good = 0.0, wrong = 0.0, scrap = 0.0;
};
struct ReadingWorth {
  double gain = 0.0;
  double odds_release = 0.0;
};
[[nodiscard]] ReadingWorth worth_of_weighing(const contents::Belief& belief, double u_net_g,
                                             const recipe::Recipe& recipe, const recipe::Book& book,
                                             const plant::Risks& risks, const Stakes& stakes,
                                             const Options& options = {});

}  // namespace vialwright::conformity
