#include "topup/search_step.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <optional>
#include <vector>

namespace vialwright::topup {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

class ActiveSet {
 public:
  ActiveSet(const VectorXd& gradient, const MatrixXd& curvature, const MatrixXd& rows,
            const VectorXd& room)
      : gradient_(gradient), curvature_(curvature), factor_(curvature), rows_(rows), room_(room) {}

  VectorXd run();

 private:
  struct Move {
    VectorXd along, multipliers;
  };
  /// To the best point where the active rows keep their values.
  [[nodiscard]] Move move(const VectorXd& at) const;
  [[nodiscard]] std::optional<Index> to_free(const VectorXd& multipliers) const;
  [[nodiscard]] bool is_active(Index row) const {
    return std::ranges::find(active_, row) != active_.end();
  }

  const VectorXd& gradient_;
  const MatrixXd& curvature_;
  Eigen::LLT<MatrixXd> factor_;
  const MatrixXd& rows_;
  const VectorXd& room_;
  std::vector<Index> active_;
};

ActiveSet::Move ActiveSet::move(const VectorXd& at) const {
  const VectorXd uphill = gradient_ - curvature_ * at;
  const auto count = static_cast<Index>(active_.size());
  if (count == 0) return {factor_.solve(uphill), VectorXd(0)};
  MatrixXd held(count, at.size());
  for (Index i = 0; i < count; ++i) held.row(i) = rows_.row(active_[static_cast<std::size_t>(i)]);
  const MatrixXd turned = factor_.solve(held.transpose());
  const VectorXd multipliers =
      Eigen::LDLT<MatrixXd>(held * turned).solve(turned.transpose() * uphill);
  return {factor_.solve(uphill - held.transpose() * multipliers), multipliers};
}

/// The lowest of the rows that hold the point back, so that a point where many rows meet does not
/// send the search round in circles (Bland's rule, as in the simplex method).
std::optional<Index> ActiveSet::to_free(const VectorXd& multipliers) const {
  std::optional<Index> freed;
  for (Index i = 0; i < multipliers.size(); ++i) {
    if (multipliers[i] >= -1e-12) continue;
    const auto row = [&](Index k) { return active_[static_cast<std::size_t>(k)]; };
    if (!freed || row(i) < row(*freed)) freed = i;
  }
  return freed;
}

VectorXd ActiveSet::run() {
  VectorXd at = VectorXd::Zero(gradient_.size());
  // Each round fixes or frees a row; a few dozen are more than any set of doses has taken.
  for (int round = 0; round < 60; ++round) {
    Move next = move(at);
    // As many rows as doses hold the point: what is left of the move is rounding.
    if (static_cast<Index>(active_.size()) == at.size()) next.along.setZero();
    double share = 1.0;
    Index blocking = -1;
    for (Index i = 0; i < rows_.rows(); ++i) {
      const double speed = rows_.row(i).dot(next.along);
      if (speed <= 1e-13 * rows_.row(i).norm() * next.along.norm() || is_active(i)) continue;
      const double reach = std::max(0.0, room_[i] - rows_.row(i).dot(at)) / speed;
      if (reach >= share) continue;
      share = reach;
      blocking = i;
    }
    at += share * next.along;
    if (blocking >= 0) {
      active_.push_back(blocking);
      continue;
    }
    const auto freed = to_free(next.multipliers);
    if (!freed) return at;
    active_.erase(active_.begin() + *freed);
  }
  return at;
}

}  // namespace

VectorXd quadratic_step(const VectorXd& gradient, const MatrixXd& curvature, const MatrixXd& rows,
                        const VectorXd& room) {
  return ActiveSet(gradient, curvature, rows, room).run();
}

}  // namespace vialwright::topup
