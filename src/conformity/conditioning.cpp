#include "conformity/conditioning.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "conformity/normal.hpp"

namespace vialwright::conformity {
namespace {

// A quantity whose variance, given the others, is below this share of its own is taken as decided
// by them; a slope below the other share of its limit's norm, likewise. Left in, they would turn
// the integrand into a jump for the sake of a part that the stated error can bear: leaving out a
// part e of a normal n turns the half-space by e/|n|, which moves a probability by e/|n|/pi at
// most.
constexpr double decided_share = 1e-10, slope_share = 1e-5;
// Doubt below this share of the values themselves is none.
constexpr double sure_share = 1e-13;

/// A linear form over the axes, with only its nonzero weights.
struct Quantity {
  const Eigen::VectorXd* weights = nullptr;
  std::vector<int> axes;
  double mean = 0.0;
  bool pivot = false, placed = false;
};

/// A tolerance line over quantities by index; divisor -1 = none.
struct Limits {
  int on = 0, divisor = -1;
  double low = 0.0, high = 0.0;
  bool operator==(const Limits&) const = default;
};

/// The next quantity to draw: how likely its own lines are to hold, and the expected value of its
/// variable then, both at the expected values of what is placed.
struct Candidate {
  int quantity = -1;
  double chance = 2.0, expected = 0.0;
};

/// One side of a line: slopes * z at most, or at least, the constant.
struct Side {
  bool upper = false;
  double constant = 0.0;
};

/// The same as a limit on its last variable.
struct Bound {
  bool upper = false;
  std::size_t variable = 0;
  double constant = 0.0;
  std::size_t first = 0;  ///< into Sequencer::slopes_, `variable` of them
};

class Sequencer {
 public:
  Sequencer(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
            const std::vector<Line>& lines);
  Conditioning run();

 private:
  int quantity(const Eigen::VectorXd& weights, const Eigen::VectorXd& mean);
  double covariance_of(const Quantity& one, const Quantity& other) const;
  void order();
  Candidate tightest(bool pivots);
  Candidate chance(int candidate) const;
  double at_expected(int quantity) const;
  void place(const Candidate& candidate);
  void half_space(const Limits& limits, double limit, bool upper, Conditioning& into);
  void solve_for_last(std::size_t first, double norm, const Side& side, Conditioning& into);
  void flatten(Conditioning& into) const;

  const Eigen::MatrixXd& axes_covariance_;
  std::vector<Quantity> quantities_;
  std::vector<Limits> limits_;
  Eigen::MatrixXd covariance_;    // of the quantities
  Eigen::MatrixXd rows_;          // quantities = mean + rows * z, filled column by column
  Eigen::VectorXd remaining_;     // variance of each quantity given the variables placed so far
  std::vector<double> expected_;  // of each placed variable, given that its own limits hold
  std::vector<Bound> bounds_;
  std::vector<double> slopes_;  // of all bounds, one after the other
};

Sequencer::Sequencer(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                     const std::vector<Line>& lines)
    : axes_covariance_(covariance) {
  quantities_.reserve(2 * lines.size());
  limits_.reserve(lines.size());
  for (const Line& line : lines) {
    if (line.low == -recipe::no_limit && line.high == recipe::no_limit) continue;
    const int on = quantity(line.weights, mean);
    const int divisor = line.divisor.size() > 0 ? quantity(line.divisor, mean) : -1;
    if (divisor >= 0) quantities_[static_cast<std::size_t>(divisor)].pivot = true;
    const Limits limits{on, divisor, line.low, line.high};
    if (std::find(limits_.begin(), limits_.end(), limits) == limits_.end()) {
      limits_.push_back(limits);
    }
  }
  const auto n = static_cast<Eigen::Index>(quantities_.size());
  covariance_.resize(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    for (Eigen::Index j = 0; j <= i; ++j) {
      covariance_(i, j) = covariance_(j, i) = covariance_of(
          quantities_[static_cast<std::size_t>(i)], quantities_[static_cast<std::size_t>(j)]);
    }
  }
  rows_ = Eigen::MatrixXd::Zero(n, n);
  remaining_ = covariance_.diagonal();
  expected_.reserve(quantities_.size());
}

int Sequencer::quantity(const Eigen::VectorXd& weights, const Eigen::VectorXd& mean) {
  for (std::size_t q = 0; q < quantities_.size(); ++q) {
    if (*quantities_[q].weights == weights) return static_cast<int>(q);
  }
  Quantity made;
  made.weights = &weights;
  for (Eigen::Index axis = 0; axis < weights.size(); ++axis) {
    if (weights(axis) == 0.0) continue;
    made.axes.push_back(static_cast<int>(axis));
    made.mean += weights(axis) * mean(axis);
  }
  quantities_.push_back(std::move(made));
  return static_cast<int>(quantities_.size()) - 1;
}

double Sequencer::covariance_of(const Quantity& one, const Quantity& other) const {
  double sum = 0.0;
  for (const int a : one.axes) {
    double inner = 0.0;
    for (const int b : other.axes) inner += axes_covariance_(a, b) * (*other.weights)(b);
    sum += (*one.weights)(a)*inner;
  }
  return sum;
}

/// A quantity at the expected values of the variables placed so far.
double Sequencer::at_expected(int quantity) const {
  double value = quantities_[static_cast<std::size_t>(quantity)].mean;
  for (std::size_t v = 0; v < expected_.size(); ++v) {
    value += rows_(quantity, static_cast<Eigen::Index>(v)) * expected_[v];
  }
  return value;
}

Candidate Sequencer::chance(int candidate) const {
  const double centre = at_expected(candidate), u = std::sqrt(remaining_(candidate));
  double low = -recipe::no_limit, high = recipe::no_limit;
  for (const Limits& line : limits_) {
    if (line.on != candidate) continue;
    const double scale = line.divisor < 0 ? 1.0 : at_expected(line.divisor);
    low = std::max(low, (line.low * scale - centre) / u);
    high = std::min(high, (line.high * scale - centre) / u);
  }
  const double p = normal_between(low, high);
  if (p > 1e-9) return {candidate, p, (normal_density(low) - normal_density(high)) / p};
  return {candidate, p, low > 0.0 ? std::min(low, 37.0) : std::max(std::min(high, 0.0), -37.0)};
}

/// The unplaced quantity (of the pivots, or of the others) least likely to hold; none where no
/// quantity is left that brings doubt of its own.
Candidate Sequencer::tightest(bool pivots) {
  Candidate best;
  for (int q = 0; q < static_cast<int>(quantities_.size()); ++q) {
    Quantity& quantity = quantities_[static_cast<std::size_t>(q)];
    if (quantity.placed || quantity.pivot != pivots) continue;
    const double own = std::max(covariance_(q, q), 0.0), sure = sure_share * quantity.mean;
    if (remaining_(q) <= decided_share * own || own <= sure * sure) {
      quantity.placed = true;
      continue;
    }
    const Candidate candidate = chance(q);
    if (candidate.chance < best.chance) best = candidate;
  }
  return best;
}

void Sequencer::place(const Candidate& candidate) {
  const int chosen = candidate.quantity;
  const auto column = static_cast<Eigen::Index>(expected_.size());
  const double u = std::sqrt(remaining_(chosen));
  for (int q = 0; q < static_cast<int>(quantities_.size()); ++q) {
    // What is placed already has no part in new variables but for rounding.
    if (quantities_[static_cast<std::size_t>(q)].placed) continue;
    double shared = covariance_(q, chosen);
    for (Eigen::Index v = 0; v < column; ++v) shared -= rows_(q, v) * rows_(chosen, v);
    rows_(q, column) = shared / u;
    remaining_(q) -= rows_(q, column) * rows_(q, column);
  }
  rows_(chosen, column) = u;
  remaining_(chosen) = 0.0;
  quantities_[static_cast<std::size_t>(chosen)].placed = true;
  expected_.push_back(candidate.expected);
}

void Sequencer::order() {
  for (const bool pivots : {true, false}) {
    for (Candidate next = tightest(pivots); next.quantity >= 0; next = tightest(pivots)) {
      place(next);
    }
  }
}

/// The half-space (on - limit * divisor) <= 0, or >= 0, as a limit on its last variable.
void Sequencer::half_space(const Limits& line, double limit, bool upper, Conditioning& into) {
  if (std::isinf(limit)) return;
  const std::size_t first = slopes_.size();
  const double factor = line.divisor < 0 ? 0.0 : limit;
  double squares = 0.0, scale = 0.0;
  for (Eigen::Index v = 0; v < static_cast<Eigen::Index>(expected_.size()); ++v) {
    const double on = rows_(line.on, v);
    const double divisor = line.divisor < 0 ? 0.0 : factor * rows_(line.divisor, v);
    slopes_.push_back(on - divisor);
    squares += slopes_.back() * slopes_.back();
    scale += std::abs(on) + std::abs(divisor);
  }
  const double on_mean = quantities_[static_cast<std::size_t>(line.on)].mean;
  const double edge =
      line.divisor < 0 ? limit : limit * quantities_[static_cast<std::size_t>(line.divisor)].mean;
  const double constant = edge - on_mean, norm = std::sqrt(squares);
  const double size = std::abs(edge) + std::abs(on_mean);
  if (norm <= sure_share * (scale + size)) {
    slopes_.resize(first);
    if (upper ? constant < -1e-12 * size : constant > 1e-12 * size) into.possible = false;
    return;
  }
  into.note_failure(normal_cdf((upper ? -constant : constant) / norm));
  double decided = std::sqrt(std::max(remaining_(line.on), 0.0));
  if (line.divisor >= 0) {
    decided += std::abs(limit) * std::sqrt(std::max(remaining_(line.divisor), 0.0));
  }
  into.neglected += std::min(decided / norm, 1.0) * std::numbers::inv_pi;
  solve_for_last(first, norm, {upper, constant}, into);
}

void Sequencer::solve_for_last(std::size_t first, double norm, const Side& side,
                               Conditioning& into) {
  double neglected = 0.0;
  while (std::abs(slopes_.back()) <= slope_share * norm) {
    neglected += std::abs(slopes_.back());
    slopes_.pop_back();
  }
  into.neglected += neglected / norm * std::numbers::inv_pi;
  const double lead = slopes_.back();
  slopes_.pop_back();
  for (std::size_t v = first; v < slopes_.size(); ++v) slopes_[v] /= -lead;
  into.steepest = std::max(into.steepest, norm / std::abs(lead));
  bounds_.push_back(
      {side.upper == (lead > 0.0), slopes_.size() - first, side.constant / lead, first});
}

void Sequencer::flatten(Conditioning& into) const {
  std::size_t variables = 0;
  for (const Bound& bound : bounds_) variables = std::max(variables, bound.variable + 1);
  into.stages.reserve(variables);
  into.numbers.reserve(slopes_.size() + bounds_.size());
  for (std::size_t v = 0; v < variables; ++v) {
    Stage stage{into.numbers.size(), 0, 0};
    for (const bool upper : {false, true}) {
      for (const Bound& bound : bounds_) {
        if (bound.variable != v || bound.upper != upper) continue;
        into.numbers.push_back(bound.constant);
        const auto slope = slopes_.begin() + static_cast<std::ptrdiff_t>(bound.first);
        into.numbers.insert(into.numbers.end(), slope, slope + static_cast<std::ptrdiff_t>(v));
        ++(upper ? stage.upper : stage.lower);
      }
    }
    into.stages.push_back(stage);
  }
}

Conditioning Sequencer::run() {
  Conditioning result;
  order();
  bounds_.reserve(2 * limits_.size());
  slopes_.reserve(2 * limits_.size() * expected_.size());
  for (const Limits& line : limits_) {
    half_space(line, line.low, false, result);
    half_space(line, line.high, true, result);
  }
  flatten(result);
  return result;
}

}  // namespace

Conditioning condition(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                       const std::vector<Line>& lines) {
  return Sequencer(mean, covariance, lines).run();
}

}  // namespace vialwright::conformity
