#include "topup/bounded_step.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace vialwright::topup {
namespace {

using Eigen::Index;
constexpr std::size_t most = most_doses;
using Square = std::array<std::array<double, most>, most>;
using Vector = std::array<double, most>;

/// Lower Cholesky factor in place.
void factorise(Square& a, std::size_t n) {
  for (std::size_t j = 0; j < n; ++j) {
    for (std::size_t k = 0; k < j; ++k) {
      const double f = a[j][k];
      for (std::size_t i = j; i < n; ++i) a[i][j] -= a[i][k] * f;
    }
    const double root = std::sqrt(std::max(a[j][j], 1e-300));
    for (std::size_t i = j; i < n; ++i) a[i][j] /= root;
  }
}

void solve(const Square& factor, std::size_t n, Vector& b) {
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = 0; k < i; ++k) b[i] -= factor[i][k] * b[k];
    b[i] /= factor[i][i];
  }
  for (std::size_t i = n; i-- > 0;) {
    for (std::size_t k = i + 1; k < n; ++k) b[i] -= factor[k][i] * b[k];
    b[i] /= factor[i][i];
  }
}

class ActiveSet {
 public:
  ActiveSet(const Amounts& gradient, const Curvature& curvature, const StepLimits& limits)
      : gradient_(gradient),
        curvature_(curvature),
        limits_(limits),
        n_(gradient.size()),
        at_(Amounts::Zero(n_)),
        along_(Amounts::Zero(n_)),
        uphill_(gradient) {}

  Amounts run();

 private:
  enum class Held { no, low, high };
  void hold_at_start();
  void gather_free();
  void move();
  [[nodiscard]] double held_row(std::size_t w, std::size_t f) const {
    return limits_.rows(held_rows_[w], free_[f]);
  }
  [[nodiscard]] bool step();
  [[nodiscard]] bool release(bool lowest);

  const Amounts& gradient_;
  const Curvature& curvature_;
  const StepLimits& limits_;
  Index n_;
  Amounts at_, along_, uphill_;  ///< uphill: gradient less curvature times at
  std::array<Held, most> held_{};
  std::array<Index, most> free_{}, held_rows_{};
  Vector multipliers_{};
  std::size_t free_count_ = 0, row_count_ = 0;
};

/// Bounds that the start is on and the gradient pushes against.
void ActiveSet::hold_at_start() {
  for (Index i = 0; i < n_; ++i) {
    if (limits_.high[i] <= 0.0 && gradient_[i] > 0.0)
      held_[static_cast<std::size_t>(i)] = Held::high;
    if (limits_.low[i] >= 0.0 && gradient_[i] < 0.0) held_[static_cast<std::size_t>(i)] = Held::low;
  }
}

void ActiveSet::gather_free() {
  free_count_ = 0;
  for (Index i = 0; i < n_; ++i)
    if (held_[static_cast<std::size_t>(i)] == Held::no) free_[free_count_++] = i;
}

/// To the best point where all that is held keeps its value.
void ActiveSet::move() {
  Square factor;
  Vector to{};
  for (std::size_t i = 0; i < free_count_; ++i) {
    to[i] = uphill_[free_[i]];
    for (std::size_t j = 0; j <= i; ++j) factor[i][j] = curvature_(free_[i], free_[j]);
  }
  factorise(factor, free_count_);
  solve(factor, free_count_, to);
  if (row_count_ > 0) {
    Square turned, gram;  // turned[w]: curvature^-1 times row w
    for (std::size_t w = 0; w < row_count_; ++w) {
      for (std::size_t f = 0; f < free_count_; ++f) turned[w][f] = held_row(w, f);
      solve(factor, free_count_, turned[w]);
      multipliers_[w] = 0.0;
      for (std::size_t f = 0; f < free_count_; ++f) multipliers_[w] += held_row(w, f) * to[f];
      for (std::size_t v = 0; v <= w; ++v) {
        gram[w][v] = 0.0;
        for (std::size_t f = 0; f < free_count_; ++f) gram[w][v] += held_row(w, f) * turned[v][f];
      }
    }
    factorise(gram, row_count_);
    solve(gram, row_count_, multipliers_);
    for (std::size_t w = 0; w < row_count_; ++w)
      for (std::size_t f = 0; f < free_count_; ++f) to[f] -= multipliers_[w] * turned[w][f];
  }
  along_.setZero();
  // As many rows as free amounts hold the point: what is left of the move is rounding.
  if (row_count_ < free_count_)
    for (std::size_t f = 0; f < free_count_; ++f) along_[free_[f]] = to[f];
}

/// As far as the limits allow. @returns whether one was met.
bool ActiveSet::step() {
  double share = 1.0;
  Index bound = -1, row = -1;
  for (std::size_t f = 0; f < free_count_; ++f) {
    const Index i = free_[f];
    if (along_[i] == 0.0) continue;
    const double to = along_[i] > 0.0 ? limits_.high[i] : limits_.low[i];
    const double reach = std::max(0.0, (to - at_[i]) / along_[i]);
    if (reach < share) {
      share = reach;
      bound = i;
    }
  }
  for (Index r = 0; r < limits_.rows.rows(); ++r) {
    const double speed = limits_.rows.row(r).dot(along_);
    if (speed <= 1e-13 * limits_.rows.row(r).norm() * along_.norm()) continue;
    const auto end = held_rows_.begin() + static_cast<std::ptrdiff_t>(row_count_);
    if (std::find(held_rows_.begin(), end, r) != end) continue;
    const double reach = std::max(0.0, limits_.room[r] - limits_.rows.row(r).dot(at_)) / speed;
    if (reach < share) {
      share = reach;
      row = r;
    }
  }
  at_ += share * along_;
  uphill_ = gradient_ - curvature_ * at_;
  if (row >= 0) {
    held_rows_[row_count_++] = row;
  } else if (bound >= 0) {
    const bool up = along_[bound] > 0.0;
    at_[bound] = up ? limits_.high[bound] : limits_.low[bound];
    held_[static_cast<std::size_t>(bound)] = up ? Held::high : Held::low;
  }
  return row >= 0 || bound >= 0;
}

/// Frees what holds the point back most (or the lowest of them, so that a point where many limits
/// meet does not send the search round in circles). @returns whether there was any.
bool ActiveSet::release(bool lowest) {
  double worst = 1e-12 * (1.0 + gradient_.cwiseAbs().maxCoeff());
  Index bound = -1;
  std::size_t row = most;
  for (std::size_t w = 0; w < row_count_; ++w) {
    if (-multipliers_[w] * limits_.rows.row(held_rows_[w]).norm() <= worst) continue;
    worst = -multipliers_[w] * limits_.rows.row(held_rows_[w]).norm();
    row = w;
    if (lowest) break;
  }
  for (Index i = 0; i < n_ && !(lowest && row < most); ++i) {
    const Held held = held_[static_cast<std::size_t>(i)];
    if (held == Held::no) continue;
    double pull = uphill_[i];
    for (std::size_t w = 0; w < row_count_; ++w)
      pull -= multipliers_[w] * limits_.rows(held_rows_[w], i);
    if (held == Held::high) pull = -pull;
    if (pull <= worst || limits_.high[i] <= limits_.low[i]) continue;
    worst = pull;
    bound = i;
    if (lowest) break;
  }
  if (bound >= 0) {
    held_[static_cast<std::size_t>(bound)] = Held::no;
  } else if (row < most) {
    held_rows_[row] = held_rows_[--row_count_];
  }
  return bound >= 0 || row < most;
}

Amounts ActiveSet::run() {
  hold_at_start();
  // Each round holds or frees one; a few dozen are more than any set of doses has taken.
  for (int round = 0; round < 60; ++round) {
    gather_free();
    move();
    if (step()) continue;
    if (!release(round > 30)) break;
  }
  return at_;
}

}  // namespace

Amounts bounded_step(const Amounts& gradient, const Curvature& curvature,
                     const StepLimits& limits) {
  return ActiveSet(gradient, curvature, limits).run();
}

}  // namespace vialwright::topup
