#include "conformity/conditioning.hpp"

#include <Eigen/Eigenvalues>
#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <utility>

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
// A limit that fails more seldom may be steep: it then jumps by less than the stated error.
constexpr double slight_chance = 1e-5;

/// A linear form over the axes, with only its nonzero weights.
struct Quantity {
  const Eigen::VectorXd* weights = nullptr;
  std::vector<int> axes;
  double mean = 0.0;
  bool limited = false;  // some line is on it
  bool pivot = false, placed = false;
  bool waits = false;  // comes with what is only seen, so its lines may fall on the last variable
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
  double constant = 0.0, fails = 0.0;  ///< `fails`: its chance alone
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

  /// Adds what is only seen. @param units  unit vectors of its axes; must outlive this.
  void see(const Seen& seen, const std::vector<Eigen::VectorXd>& units,
           const Eigen::VectorXd& mean);
  /// Sets of quantities that may wait, the most promising alone.
  std::vector<std::vector<int>> waiting_lists() const;
  SeenConditioning run_with(const std::vector<int>& waiting);

 private:
  void fill_covariance();
  int quantity(const Eigen::VectorXd& weights, const Eigen::VectorXd& mean);
  double covariance_of(const Quantity& one, const Quantity& other) const;
  void order();
  Candidate tightest(bool pivots);
  Candidate chance(int candidate) const;
  double at_expected(int quantity) const;
  void place(const Candidate& candidate);
  void place_rest();
  Eigen::MatrixXd seen_rows() const;
  double turn_from(Eigen::Index first);
  void half_space(const Limits& limits, double limit, bool upper, Conditioning& into);
  void solve_for_last(std::size_t first, double norm, const Side& side, Conditioning& into);
  Conditioning with_limits();
  void flatten(Conditioning& into, std::size_t variables) const;

  const Eigen::MatrixXd& axes_covariance_;
  std::vector<Quantity> quantities_;
  std::vector<Limits> limits_;
  Eigen::MatrixXd covariance_;    // of the quantities
  Eigen::MatrixXd rows_;          // quantities = mean + rows * z, filled column by column
  Eigen::VectorXd remaining_;     // variance of each quantity given the variables placed so far
  std::vector<double> expected_;  // of each placed variable, given that its own limits hold
  std::vector<Bound> bounds_;
  std::vector<double> slopes_;  // of all bounds, one after the other
  const Seen* seen_ = nullptr;
  std::vector<int> seen_quantities_;
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
  for (Quantity& each : quantities_) each.limited = true;
  fill_covariance();
  expected_.reserve(quantities_.size());
}

void Sequencer::fill_covariance() {
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
    if (quantity.placed || quantity.waits || !quantity.limited || quantity.pivot != pivots)
      continue;
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
  const double fails = normal_cdf((upper ? -constant : constant) / norm);
  into.note_failure(fails);
  double decided = std::sqrt(std::max(remaining_(line.on), 0.0));
  if (line.divisor >= 0) {
    decided += std::abs(limit) * std::sqrt(std::max(remaining_(line.divisor), 0.0));
  }
  into.neglected += std::min(decided / norm, 1.0) * std::numbers::inv_pi;
  solve_for_last(first, norm, {upper, constant, fails}, into);
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
  // Where something is seen, the choice of the last variable must not hang on what hardly matters.
  if (!seen_ || side.fails > slight_chance)
    into.steepest = std::max(into.steepest, norm / std::abs(lead));
  bounds_.push_back(
      {side.upper == (lead > 0.0), slopes_.size() - first, side.constant / lead, first});
}

void Sequencer::flatten(Conditioning& into, std::size_t variables) const {
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

Conditioning Sequencer::with_limits() {
  Conditioning result;
  bounds_.reserve(2 * limits_.size());
  slopes_.reserve(2 * limits_.size() * expected_.size());
  for (const Limits& line : limits_) {
    half_space(line, line.low, false, result);
    half_space(line, line.high, true, result);
  }
  return result;
}

Conditioning Sequencer::run() {
  order();
  Conditioning result = with_limits();
  std::size_t variables = 0;
  for (const Bound& bound : bounds_) variables = std::max(variables, bound.variable + 1);
  flatten(result, variables);
  return result;
}

void Sequencer::see(const Seen& seen, const std::vector<Eigen::VectorXd>& units,
                    const Eigen::VectorXd& mean) {
  seen_ = &seen;
  quantities_.reserve(quantities_.size() + units.size());
  for (const Eigen::VectorXd& unit : units) seen_quantities_.push_back(quantity(unit, mean));
  fill_covariance();
}

std::vector<std::vector<int>> Sequencer::waiting_lists() const {
  std::vector<int> all;
  std::vector<std::pair<double, int>> by_effect;
  for (int q = 0; q < static_cast<int>(quantities_.size()); ++q) {
    const Quantity& quantity = quantities_[static_cast<std::size_t>(q)];
    if (!quantity.limited || covariance_(q, q) <= 0.0) continue;
    all.push_back(q);
    if (quantity.pivot) continue;
    Eigen::VectorXd shared(static_cast<Eigen::Index>(seen_quantities_.size()));
    for (std::size_t k = 0; k < seen_quantities_.size(); ++k)
      shared(static_cast<Eigen::Index>(k)) = covariance_(seen_quantities_[k], q);
    by_effect.emplace_back((seen_->effect * shared).squaredNorm() / covariance_(q, q), q);
  }
  std::ranges::sort(by_effect, [](const auto& one, const auto& other) {
    return one.first != other.first ? one.first > other.first : one.second < other.second;
  });
  std::vector<std::vector<int>> lists = {{}};
  constexpr std::size_t most_alone = 2;
  for (std::size_t k = 0; k < std::min(by_effect.size(), most_alone); ++k)
    lists.push_back({by_effect[k].second});
  if (all.size() > 1 || (by_effect.empty() && !all.empty())) lists.push_back(all);
  return lists;
}

/// Everything that is not placed yet, the largest share of its own doubt first.
void Sequencer::place_rest() {
  while (true) {
    int largest = -1;
    double most = decided_share;
    for (int q = 0; q < static_cast<int>(quantities_.size()); ++q) {
      const Quantity& quantity = quantities_[static_cast<std::size_t>(q)];
      const double own = covariance_(q, q), sure = sure_share * quantity.mean;
      if (quantity.placed || own <= sure * sure) continue;
      if (remaining_(q) <= most * own) continue;
      most = remaining_(q) / own;
      largest = q;
    }
    if (largest < 0) return;
    place({largest, 1.0, 0.0});
  }
}

Eigen::MatrixXd Sequencer::seen_rows() const {
  const auto variables = static_cast<Eigen::Index>(expected_.size());
  Eigen::MatrixXd rows(static_cast<Eigen::Index>(seen_quantities_.size()), variables);
  for (std::size_t k = 0; k < seen_quantities_.size(); ++k)
    rows.row(static_cast<Eigen::Index>(k)) = rows_.row(seen_quantities_[k]).head(variables);
  return rows;
}

/// Turns the variables from that one on, so that the last of them has the greatest effect on what
/// is seen and the first of them the next ones: those get the best coordinates of the lattice.
/// @returns how steep what is seen then is in the variables before the last.
double Sequencer::turn_from(Eigen::Index first) {
  constexpr double never = std::numeric_limits<double>::infinity();
  const auto turned = static_cast<Eigen::Index>(expected_.size()) - first;
  if (turned == 0) return never;
  const Eigen::MatrixXd effect = seen_->effect * seen_rows();
  const auto block = effect.rightCols(turned);
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> ranked(block * block.transpose());
  const double greatest = ranked.eigenvalues().tail(1)(0);
  if (!(greatest > 0.0)) return never;
  Eigen::Index directions = 0;
  while (directions < std::min(turned, effect.rows()) &&
         ranked.eigenvalues().reverse()(directions) > 1e-9 * greatest)
    ++directions;
  const Eigen::MatrixXd along =
      block.transpose() * ranked.eigenvectors().rowwise().reverse().leftCols(directions);
  const Eigen::HouseholderQR<Eigen::MatrixXd> factors(along);
  Eigen::MatrixXd turn = factors.householderQ() * Eigen::MatrixXd::Identity(turned, turned);
  const Eigen::VectorXd last = turn.col(0);
  turn.leftCols(turned - 1) = turn.rightCols(turned - 1).eval();
  turn.col(turned - 1) = last;
  rows_.middleCols(first, turned) = (rows_.middleCols(first, turned) * turn).eval();
  return std::sqrt(effect.squaredNorm() / greatest);
}

SeenConditioning Sequencer::run_with(const std::vector<int>& waiting) {
  for (const int q : waiting) quantities_[static_cast<std::size_t>(q)].waits = true;
  order();
  const auto first = static_cast<Eigen::Index>(expected_.size());
  place_rest();
  const double steep = turn_from(first);
  SeenConditioning made{with_limits(), seen_rows()};
  flatten(made.lines, expected_.size());
  made.lines.steepest = std::max(made.lines.steepest, steep);
  return made;
}

}  // namespace

Conditioning condition(const Eigen::VectorXd& mean, const Eigen::MatrixXd& covariance,
                       const std::vector<Line>& lines) {
  return Sequencer(mean, covariance, lines).run();
}

std::vector<SeenConditioning> conditions(const Eigen::VectorXd& mean,
                                         const Eigen::MatrixXd& covariance,
                                         const std::vector<Line>& lines, const Seen& seen) {
  std::vector<Eigen::VectorXd> units;
  units.reserve(seen.axes.size());
  for (const int axis : seen.axes) units.push_back(Eigen::VectorXd::Unit(mean.size(), axis));
  Sequencer start(mean, covariance, lines);
  start.see(seen, units, mean);
  std::vector<SeenConditioning> ways;
  for (const std::vector<int>& waiting : start.waiting_lists()) {
    SeenConditioning made = Sequencer(start).run_with(waiting);
    if (!made.lines.possible) return {};
    if (std::isfinite(made.lines.steepest)) ways.push_back(std::move(made));
  }
  require(!ways.empty(), "what is seen is in doubt");
  return ways;
}

}  // namespace vialwright::conformity
