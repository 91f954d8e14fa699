#include "topup/linear_program.hpp"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <optional>

#include "error/error.hpp"

namespace vialwright::topup {
namespace {

constexpr double met = 1e-11;        // of a row's largest term
constexpr double no_pivot = 1e-11;   // a coefficient below this, in a row scaled to 1, is rounding
constexpr int most_pivots = 20'000;  // never seen above 200; past it the answer would be rounding

/// The dictionary: each basic variable as a sum over the others. Variables 0..n-1 are x, n..n+m-1
/// the rows' values; every row is scaled so that its largest coefficient is 1.
class Dictionary {
 public:
  explicit Dictionary(const LinearProgram& problem)
      : n_(problem.cost.size()), m_(problem.rows.rows()), table_(problem.rows) {
    low_.resize(n_ + m_);
    high_.resize(n_ + m_);
    low_ << problem.low, problem.row_low;
    high_ << problem.high, problem.row_high;
    scale_.setOnes(m_);
    for (Eigen::Index r = 0; r < m_; ++r) scale_row(r);
    for (Eigen::Index v = 0; v < n_ + m_; ++v)
      for (const double limit : {low_[v], high_[v]})
        if (std::isfinite(limit)) least_size_ = std::max(least_size_, std::abs(limit));
    least_size_ = std::min(least_size_, 1.0);
    cost_ = problem.cost;
    for (Eigen::Index j = 0; j < n_; ++j) beside_.push_back(j);
    for (Eigen::Index r = 0; r < m_; ++r) basic_.push_back(n_ + r);
    value_.setZero(n_ + m_);
    for (Eigen::Index j = 0; j < n_; ++j) value_[j] = std::isfinite(low_[j]) ? low_[j] : high_[j];
    recompute();
  }

  /// Brings every variable within its limits. @returns the row that cannot be, or nullopt.
  std::optional<Eigen::Index> make_feasible();
  /// @returns false when the cost falls without end.
  bool minimise();

  [[nodiscard]] Eigen::VectorXd proof(Eigen::Index row) const;
  [[nodiscard]] Eigen::VectorXd x(const LinearProgram& problem) const;

 private:
  void scale_row(Eigen::Index r) {
    const double largest = table_.row(r).lpNorm<Eigen::Infinity>();
    if (largest <= 0.0) return;
    // A power of two: scaling must not round.
    scale_[r] = std::exp2(-std::floor(std::log2(largest)));
    table_.row(r) *= scale_[r];
    low_[n_ + r] *= scale_[r];
    high_[n_ + r] *= scale_[r];
  }
  void recompute() {
    for (Eigen::Index r = 0; r < m_; ++r) {
      double sum = 0.0;
      for (Eigen::Index c = 0; c < n_; ++c) sum += table_(r, c) * value_[beside_[at(c)]];
      value_[basic_[at(r)]] = sum;
    }
  }
  [[nodiscard]] double slack(Eigen::Index r) const {
    double size = std::max(least_size_, std::abs(value_[basic_[at(r)]]));
    for (Eigen::Index c = 0; c < n_; ++c)
      size = std::max(size, std::abs(table_(r, c) * value_[beside_[at(c)]]));
    for (const double limit : {low_[basic_[at(r)]], high_[basic_[at(r)]]})
      if (std::isfinite(limit)) size = std::max(size, std::abs(limit));
    return met * size;
  }
  /// The basic variable of lowest index that is out of its limits.
  [[nodiscard]] std::optional<Eigen::Index> first_out() const;
  /// The other variable of lowest index that can move that row's value up or down.
  [[nodiscard]] std::optional<Eigen::Index> mover(Eigen::Index row, bool up) const;
  [[nodiscard]] bool can_move(Eigen::Index variable, bool up) const {
    return up ? value_[variable] < high_[variable] : value_[variable] > low_[variable];
  }
  void pivot(Eigen::Index row, Eigen::Index column);
  /// Cost as a sum over the variables that are not basic.
  [[nodiscard]] Eigen::VectorXd reduced_cost() const;
  [[nodiscard]] bool improve(Eigen::Index column, bool up);
  static std::size_t at(Eigen::Index i) { return static_cast<std::size_t>(i); }

  Eigen::Index n_, m_;
  Eigen::MatrixXd table_;
  Eigen::VectorXd low_, high_, value_, scale_, cost_;
  std::vector<Eigen::Index> basic_, beside_;
  /// Where all terms of a row are 0 the size of the problem says what rounding is: its largest
  /// limit, or 1 (g, mL) where limits are generous.
  double least_size_ = 0.0;
};

std::optional<Eigen::Index> Dictionary::first_out() const {
  std::optional<Eigen::Index> found;
  for (Eigen::Index r = 0; r < m_; ++r) {
    const Eigen::Index v = basic_[at(r)];
    const bool inside = value_[v] >= low_[v] && value_[v] <= high_[v];
    if (inside || (found && basic_[at(*found)] < v)) continue;
    const double gap = std::max(low_[v] - value_[v], value_[v] - high_[v]);
    if (gap > slack(r)) found = r;
  }
  return found;
}

std::optional<Eigen::Index> Dictionary::mover(Eigen::Index row, bool up) const {
  std::optional<Eigen::Index> found;
  for (Eigen::Index c = 0; c < n_; ++c) {
    const double coefficient = table_(row, c);
    if (std::abs(coefficient) <= no_pivot) continue;
    const Eigen::Index v = beside_[at(c)];
    if (can_move(v, (coefficient > 0.0) == up) && (!found || v < beside_[at(*found)])) found = c;
  }
  return found;
}

void Dictionary::pivot(Eigen::Index row, Eigen::Index column) {
  const double inverse = 1.0 / table_(row, column);
  Eigen::RowVectorXd entering = table_.row(row) * -inverse;
  entering[column] = inverse;
  for (Eigen::Index r = 0; r < m_; ++r) {
    if (r == row) continue;
    const double factor = table_(r, column);
    if (factor == 0.0) continue;
    table_(r, column) = 0.0;
    table_.row(r) += factor * entering;
  }
  table_.row(row) = entering;
  std::swap(basic_[at(row)], beside_[at(column)]);
}

std::optional<Eigen::Index> Dictionary::make_feasible() {
  for (int pivots = 0; pivots < most_pivots; ++pivots) {
    const auto row = first_out();
    if (!row) return std::nullopt;
    const Eigen::Index leaving = basic_[at(*row)];
    const bool up = value_[leaving] < low_[leaving];
    const auto column = mover(*row, up);
    if (!column) return row;
    pivot(*row, *column);
    value_[leaving] = up ? low_[leaving] : high_[leaving];
    // The entering variable takes what the leaving one left; it may then be out itself.
    recompute();
  }
  require(false, "Bland's rule ends");
  return std::nullopt;
}

Eigen::VectorXd Dictionary::reduced_cost() const {
  Eigen::VectorXd reduced = Eigen::VectorXd::Zero(n_);
  for (Eigen::Index c = 0; c < n_; ++c)
    if (beside_[at(c)] < n_) reduced[c] = cost_[beside_[at(c)]];
  for (Eigen::Index r = 0; r < m_; ++r)
    if (basic_[at(r)] < n_) reduced += cost_[basic_[at(r)]] * table_.row(r).transpose();
  return reduced;
}

bool Dictionary::minimise() {
  const double dearest = cost_.size() > 0 ? cost_.lpNorm<Eigen::Infinity>() : 0.0;
  for (int pivots = 0; pivots < most_pivots; ++pivots) {
    const Eigen::VectorXd reduced = reduced_cost();
    Eigen::Index best = -1;
    for (Eigen::Index c = 0; c < n_; ++c) {
      if (std::abs(reduced[c]) <= 1e-13 * dearest) continue;
      const Eigen::Index v = beside_[at(c)];
      if (can_move(v, reduced[c] < 0.0) && (best < 0 || v < beside_[at(best)])) best = c;
    }
    if (best < 0) return true;
    if (!improve(best, reduced[best] < 0.0)) return false;
  }
  require(false, "Bland's rule ends");
  return true;
}

/// Moves one variable until a limit stops it: its own, or that of a basic one.
bool Dictionary::improve(Eigen::Index column, bool up) {
  const Eigen::Index entering = beside_[at(column)];
  double step = up ? high_[entering] - value_[entering] : value_[entering] - low_[entering];
  Eigen::Index stops = -1;
  for (Eigen::Index r = 0; r < m_; ++r) {
    const double rate = up ? table_(r, column) : -table_(r, column);
    if (std::abs(rate) <= no_pivot) continue;
    const Eigen::Index v = basic_[at(r)];
    const double room = rate > 0.0 ? high_[v] - value_[v] : value_[v] - low_[v];
    const double allowed = std::max(0.0, room) / std::abs(rate);
    const bool tie = stops >= 0 && allowed == step && v < basic_[at(stops)];
    if (allowed < step || tie) {
      step = allowed;
      stops = r;
    }
  }
  if (!std::isfinite(step)) return false;
  if (stops < 0) {
    value_[entering] = up ? high_[entering] : low_[entering];
  } else {
    const Eigen::Index leaving = basic_[at(stops)];
    const bool at_high = (table_(stops, column) > 0.0) == up;
    pivot(stops, column);
    value_[leaving] = at_high ? high_[leaving] : low_[leaving];
  }
  recompute();
  return true;
}

/// The row that cannot be met, as a combination of the programme's rows.
Eigen::VectorXd Dictionary::proof(Eigen::Index row) const {
  const Eigen::Index stuck = basic_[at(row)];
  const double sign = value_[stuck] < low_[stuck] ? 1.0 : -1.0;
  Eigen::VectorXd multipliers = Eigen::VectorXd::Zero(m_);
  if (stuck >= n_) multipliers[stuck - n_] += sign * scale_[stuck - n_];
  for (Eigen::Index c = 0; c < n_; ++c) {
    const Eigen::Index v = beside_[at(c)];
    if (v >= n_ && std::abs(table_(row, c)) > no_pivot)
      multipliers[v - n_] -= sign * table_(row, c) * scale_[v - n_];
  }
  return multipliers;
}

/// The basic x solve the rows that are at a limit; from the data, not from the worn dictionary.
Eigen::VectorXd Dictionary::x(const LinearProgram& problem) const {
  Eigen::VectorXd found = value_.head(n_);
  std::vector<Eigen::Index> unknown, tight;
  for (Eigen::Index r = 0; r < m_; ++r)
    if (basic_[at(r)] < n_) unknown.push_back(basic_[at(r)]);
  for (Eigen::Index c = 0; c < n_; ++c)
    if (beside_[at(c)] >= n_) tight.push_back(beside_[at(c)] - n_);
  const auto size = static_cast<Eigen::Index>(unknown.size());
  if (size == 0) return found;
  Eigen::MatrixXd system(size, size);
  Eigen::VectorXd limit(size);
  for (const Eigen::Index v : unknown) found[v] = 0.0;
  for (Eigen::Index i = 0; i < size; ++i) {
    const Eigen::Index row = tight[at(i)];
    for (Eigen::Index j = 0; j < size; ++j)
      system(i, j) = problem.rows(row, unknown[at(j)]) * scale_[row];
    limit[i] = value_[n_ + row] - scale_[row] * problem.rows.row(row).dot(found);
  }
  const Eigen::FullPivLU<Eigen::MatrixXd> lu(system);
  Eigen::VectorXd solved = lu.solve(limit);
  solved += lu.solve(limit - system * solved);
  for (Eigen::Index i = 0; i < size; ++i) {
    const Eigen::Index v = unknown[at(i)];
    found[v] = std::clamp(solved[i], problem.low[v], problem.high[v]);
  }
  return found;
}

}  // namespace

LinearAnswer solve(const LinearProgram& problem) {
  const Eigen::Index n = problem.cost.size(), m = problem.rows.rows();
  require(problem.low.size() == n && problem.high.size() == n && problem.rows.cols() == n &&
              problem.row_low.size() == m && problem.row_high.size() == m,
          "shapes of a linear programme agree");
  LinearAnswer answer;
  for (Eigen::Index j = 0; j < n; ++j) {
    if (problem.low[j] > problem.high[j]) {
      answer.proof.setZero(m);
      return answer;
    }
  }
  Dictionary dictionary(problem);
  if (const auto stuck = dictionary.make_feasible()) {
    answer.proof = dictionary.proof(*stuck);
    return answer;
  }
  if (!dictionary.minimise()) {
    answer.status = LinearAnswer::Status::unbounded;
    return answer;
  }
  answer.status = LinearAnswer::Status::found;
  answer.x = dictionary.x(problem);
  answer.cost = problem.cost.dot(answer.x);
  return answer;
}

}  // namespace vialwright::topup
