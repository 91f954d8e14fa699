#include "conformity/conditioning.hpp"

#include <cmath>
#include <limits>

#include "conformity/normal.hpp"

namespace vialwright::conformity {
namespace {

// A quantity whose doubt, given the others, is below this share of its own variance is taken as
// decided by them: rounding of a covariance leaves about 1e-15, and a million times less doubt
// moves a probability by less than 1e-6, which the stated error covers.
constexpr double decided_share = 1e-12;
// A slope below this share of its limit's norm is rounding; it moves a probability by < 1e-8.
constexpr double slope_share = 1e-8;
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
  int tightest(bool pivots);
  double chance(int candidate, double& expected) const;
  double at_expected(int quantity) const;
  void place(int candidate);
  void half_space(const Limits& limits, double limit, bool upper, Conditioning& into);
  void flatten(Conditioning& into) const;

  const Eigen::MatrixXd& axes_covariance_;
  std::vector<Quantity> quantities_;
  std::vector<Limits> limits_;
  Eigen::MatrixXd covariance_;    // of the quantities
  Eigen::MatrixXd rows_;          // quantities = mean + rows * z, filled column by column
  Eigen::VectorXd remaining_;     // variance of each quantity given the variables placed so far
  std::vector<double> expected_;  // of each placed variable, given that its own limits hold
  struct Bound {
    bool upper = false;
    int variable = 0;
    double constant = 0.0;
    Eigen::VectorXd slopes;
  };
  std::vector<Bound> bounds_;
};

Sequencer::Sequencer(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                     const std::vector<Line>& lines)
    : axes_covariance_(covariance) {
  quantities_.reserve(2 * lines.size());
  for (const Line& line : lines) {
    if (line.low == -recipe::no_limit && line.high == recipe::no_limit) continue;
    const int on = quantity(line.weights, mean);
    const int divisor = line.divisor.size() > 0 ? quantity(line.divisor, mean) : -1;
    if (divisor >= 0) quantities_[static_cast<std::size_t>(divisor)].pivot = true;
    limits_.push_back({on, divisor, line.low, line.high});
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

/// P(the candidate's own lines hold), at the expected values of what is placed; and the expected
/// value of its variable then.
double Sequencer::chance(int candidate, double& expected) const {
  const double centre = at_expected(candidate), u = std::sqrt(remaining_(candidate));
  double low = -recipe::no_limit, high = recipe::no_limit;
  for (const Limits& line : limits_) {
    if (line.on != candidate) continue;
    const double scale = line.divisor < 0 ? 1.0 : at_expected(line.divisor);
    low = std::max(low, (line.low * scale - centre) / u);
    high = std::min(high, (line.high * scale - centre) / u);
  }
  const double p = normal_between(low, high);
  expected = p > 1e-9 ? (normal_density(low) - normal_density(high)) / p
                      : std::clamp(0.0, low, std::max(low, high));
  if (!std::isfinite(expected)) expected = 0.0;
  return p;
}

/// The unplaced quantity (of the pivots, or of the others) least likely to hold; -1 = none left
/// that brings doubt of its own.
int Sequencer::tightest(bool pivots) {
  int best = -1;
  double least = 2.0;
  for (int q = 0; q < static_cast<int>(quantities_.size()); ++q) {
    Quantity& candidate = quantities_[static_cast<std::size_t>(q)];
    if (candidate.placed || candidate.pivot != pivots) continue;
    const double own = std::max(covariance_(q, q), 0.0);
    if (remaining_(q) <= decided_share * own || own <= std::pow(sure_share * candidate.mean, 2)) {
      candidate.placed = true;
      continue;
    }
    double expected = 0.0;
    const double p = chance(q, expected);
    if (p < least) {
      least = p;
      best = q;
    }
  }
  return best;
}

void Sequencer::place(int candidate) {
  double expected = 0.0;
  static_cast<void>(chance(candidate, expected));
  const auto column = static_cast<Eigen::Index>(expected_.size());
  const double u = std::sqrt(remaining_(candidate));
  for (Eigen::Index q = 0; q < rows_.rows(); ++q) {
    double shared = covariance_(q, candidate);
    for (Eigen::Index v = 0; v < column; ++v) shared -= rows_(q, v) * rows_(candidate, v);
    // What is placed already has no part in new variables but for rounding.
    if (quantities_[static_cast<std::size_t>(q)].placed) continue;
    rows_(q, column) = shared / u;
    remaining_(q) -= rows_(q, column) * rows_(q, column);
  }
  rows_(candidate, column) = u;
  quantities_[static_cast<std::size_t>(candidate)].placed = true;
  expected_.push_back(expected);
}

void Sequencer::order() {
  for (const bool pivots : {true, false}) {
    for (int next = tightest(pivots); next >= 0; next = tightest(pivots)) place(next);
  }
}

/// The half-space (on - limit * divisor) <= 0, or >= 0, as a limit on its last variable.
void Sequencer::half_space(const Limits& line, double limit, bool upper, Conditioning& into) {
  if (std::isinf(limit)) return;
  const auto variables = static_cast<Eigen::Index>(expected_.size());
  Eigen::VectorXd slopes = rows_.row(line.on).head(variables).transpose();
  const double on_mean = quantities_[static_cast<std::size_t>(line.on)].mean;
  double scale = slopes.norm(), edge = limit;
  if (line.divisor >= 0) {
    const Eigen::VectorXd divisor = rows_.row(line.divisor).head(variables).transpose();
    scale += std::abs(limit) * divisor.norm();
    slopes -= limit * divisor;
    edge *= quantities_[static_cast<std::size_t>(line.divisor)].mean;
  }
  const double constant = edge - on_mean;
  const double size = std::abs(edge) + std::abs(on_mean), norm = slopes.norm();
  if (norm <= sure_share * (scale + size)) {
    if (upper ? constant < -1e-12 * size : constant > 1e-12 * size) into.possible = false;
    return;
  }
  Eigen::Index last = variables - 1;
  while (std::abs(slopes(last)) <= slope_share * norm) --last;
  const double lead = slopes(last);
  bounds_.push_back(
      {upper == (lead > 0.0), static_cast<int>(last), constant / lead, slopes.head(last) / -lead});
}

void Sequencer::flatten(Conditioning& into) const {
  int variables = 0;
  for (const Bound& bound : bounds_) variables = std::max(variables, bound.variable + 1);
  for (int v = 0; v < variables; ++v) {
    Stage stage{into.numbers.size(), 0, 0};
    for (const bool upper : {false, true}) {
      for (const Bound& bound : bounds_) {
        if (bound.variable != v || bound.upper != upper) continue;
        into.numbers.push_back(bound.constant);
        into.numbers.insert(into.numbers.end(), bound.slopes.begin(), bound.slopes.end());
        ++(upper ? stage.upper : stage.lower);
      }
    }
    into.stages.push_back(stage);
  }
}

Conditioning Sequencer::run() {
  Conditioning result;
  order();
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
