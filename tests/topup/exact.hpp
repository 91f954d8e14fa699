/// Linear programmes in exact rational arithmetic: the judge where two solvers differ. Slow, and
/// written apart from the solvers it judges: standard form, two phases, Bland's rule, GMP numbers.
#pragma once

#include <gmpxx.h>

#include <cmath>
#include <optional>
#include <vector>

namespace vialwright::topup::testing {

/// minimise cost'x, x >= 0, rows x <= limit. A double becomes exactly the rational that it is.
struct ExactProgramme {
  std::vector<mpq_class> cost;
  std::vector<std::vector<mpq_class>> rows;
  std::vector<mpq_class> limit;

  void at_most(std::vector<mpq_class> row, mpq_class most) {
    rows.push_back(std::move(row));
    limit.push_back(std::move(most));
  }
  void at_least(std::vector<mpq_class> row, const mpq_class& least) {
    for (mpq_class& each : row) each = -each;
    at_most(std::move(row), -least);
  }
};

/// Tableau with one slack a row, and one artificial variable shared by all rows (index n + m).
class ExactSimplex {
 public:
  explicit ExactSimplex(const ExactProgramme& problem)
      : n_(problem.cost.size()), m_(problem.rows.size()), width_(n_ + m_ + 2) {
    for (std::size_t r = 0; r < m_; ++r) {
      std::vector<mpq_class> row(width_);
      for (std::size_t j = 0; j < n_; ++j) row[j] = problem.rows[r][j];
      row[n_ + r] = 1;
      row[n_ + m_] = -1;
      row[width_ - 1] = problem.limit[r];
      table_.push_back(std::move(row));
      basis_.push_back(n_ + r);
    }
  }

  /// The least cost, or nullopt where there is none. @pre the cost is bounded below.
  std::optional<mpq_class> minimum(const std::vector<mpq_class>& cost) {
    if (least_relaxation() > 0) return std::nullopt;
    drive_out_artificial();
    std::vector<mpq_class> objective(width_);
    for (std::size_t j = 0; j < n_; ++j) objective[j] = cost[j];
    banned_ = true;
    return minimise(std::move(objective));
  }

  /// The least t >= 0 by which every limit must be raised for a solution to exist.
  mpq_class least_relaxation() {
    std::size_t worst = 0;
    for (std::size_t r = 1; r < m_; ++r)
      if (table_[r].back() < table_[worst].back()) worst = r;
    if (m_ == 0 || table_[worst].back() >= 0) return 0;
    pivot(worst, n_ + m_);
    std::vector<mpq_class> objective(width_);
    objective[n_ + m_] = 1;
    return minimise(std::move(objective));
  }

 private:
  /// Minimises from a feasible basis; the objective row is priced out first.
  mpq_class minimise(std::vector<mpq_class> objective) {
    mpq_class value = 0;
    const auto price_out = [&] {
      for (std::size_t r = 0; r < m_; ++r) {
        const mpq_class factor = objective[basis_[r]];
        if (factor == 0) continue;
        for (std::size_t j = 0; j < width_; ++j) objective[j] -= factor * table_[r][j];
      }
    };
    price_out();
    for (;;) {
      std::size_t entering = width_ - 1;
      for (std::size_t j = 0; j + 1 < width_; ++j) {
        if (banned_ && j == n_ + m_) continue;
        if (objective[j] < 0) {
          entering = j;
          break;
        }
      }
      if (entering == width_ - 1) break;
      std::optional<std::size_t> leaving;
      mpq_class best;
      for (std::size_t r = 0; r < m_; ++r) {
        if (table_[r][entering] <= 0) continue;
        const mpq_class ratio = table_[r].back() / table_[r][entering];
        if (!leaving || ratio < best || (ratio == best && basis_[r] < basis_[*leaving])) {
          leaving = r;
          best = ratio;
        }
      }
      if (!leaving) break;  // unbounded: excluded by the caller's promise
      pivot(*leaving, entering);
      price_out();
    }
    value = -objective.back();
    return value;
  }

  void drive_out_artificial() {
    for (std::size_t r = 0; r < m_; ++r) {
      if (basis_[r] != n_ + m_) continue;
      for (std::size_t j = 0; j < n_ + m_; ++j) {
        if (table_[r][j] == 0) continue;
        pivot(r, j);
        return;
      }
    }
  }

  void pivot(std::size_t row, std::size_t column) {
    const mpq_class by = table_[row][column];
    for (mpq_class& each : table_[row]) each /= by;
    for (std::size_t r = 0; r < m_; ++r) {
      if (r == row || table_[r][column] == 0) continue;
      const mpq_class factor = table_[r][column];
      for (std::size_t j = 0; j < width_; ++j) table_[r][j] -= factor * table_[row][j];
    }
    basis_[row] = column;
  }

  std::size_t n_, m_, width_;
  std::vector<std::vector<mpq_class>> table_;
  std::vector<std::size_t> basis_;
  bool banned_ = false;
};

}  // namespace vialwright::topup::testing
