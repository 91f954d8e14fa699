#include "contents/bounds.hpp"

#include <Eigen/Cholesky>
#include <algorithm>

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// min 1/2 l' Q l + l' b over l >= 0; the point is mean + covariance l, and must end >= 0.
class Dual {
 public:
  Dual(const VectorXd& mean, const MatrixXd& covariance, const std::vector<char>& bounded)
      : mean_(mean),
        covariance_(covariance),
        bounded_(bounded),
        lift_(VectorXd::Zero(mean.size())) {}

  [[nodiscard]] Bounded solve() {
    // Each bound enters and leaves a few times at most; the limit only guards against rounding.
    for (Index round = 0; round < 8 * mean_.size(); ++round) {
      const Index worst = most_negative();
      if (worst < 0) break;
      held_.push_back(worst);
      while (!settle()) {
      }
    }
    return answer();
  }

 private:
  [[nodiscard]] VectorXd point() const { return mean_ + covariance_ * lift_; }

  [[nodiscard]] bool held(Index i) const { return std::ranges::find(held_, i) != held_.end(); }

  [[nodiscard]] Index most_negative() const {
    const VectorXd now = point();
    Index worst = -1;
    double depth = 1e-12;  // in standard deviations: rounding is no breach
    for (Index i = 0; i < now.size(); ++i) {
      const double u = std::sqrt(covariance_(i, i));
      if (bounded_[static_cast<std::size_t>(i)] == 0 || held(i) || !(u > 0.0)) continue;
      if (-now[i] / u > depth) {
        depth = -now[i] / u;
        worst = i;
      }
    }
    return worst;
  }

  /// Multipliers that put every held coordinate at zero; one that would pull is let go.
  /// @returns whether all push.
  bool settle() {
    const auto count = static_cast<Index>(held_.size());
    MatrixXd among(count, count);
    VectorXd below(count);
    for (Index a = 0; a < count; ++a) {
      below[a] = -mean_[held_[static_cast<std::size_t>(a)]];
      for (Index b = 0; b < count; ++b)
        among(a, b) =
            covariance_(held_[static_cast<std::size_t>(a)], held_[static_cast<std::size_t>(b)]);
    }
    const VectorXd wanted = among.ldlt().solve(below);
    double step = 1.0;
    Index leaves = -1;
    for (Index a = 0; a < count; ++a) {
      const double now = lift_[held_[static_cast<std::size_t>(a)]];
      if (wanted[a] > 0.0) continue;
      const double until = now > 0.0 ? now / (now - wanted[a]) : 0.0;
      if (until < step || leaves < 0) {
        step = std::min(step, until);
        leaves = a;
      }
    }
    for (Index a = 0; a < count; ++a) {
      double& lift = lift_[held_[static_cast<std::size_t>(a)]];
      lift += step * (wanted[a] - lift);
    }
    if (leaves < 0) return true;
    lift_[held_[static_cast<std::size_t>(leaves)]] = 0.0;
    held_.erase(held_.begin() + leaves);
    return held_.empty();
  }

  [[nodiscard]] Bounded answer() const {
    Bounded found;
    found.point = point();
    found.active.assign(static_cast<std::size_t>(mean_.size()), 0);
    for (const Index i : held_) {
      found.active[static_cast<std::size_t>(i)] = 1;
      found.point[i] = 0.0;
    }
    for (Index i = 0; i < found.point.size(); ++i)
      if (bounded_[static_cast<std::size_t>(i)] != 0)
        found.point[i] = std::max(0.0, found.point[i]);
    found.cost = lift_.dot(covariance_ * lift_);
    found.count = static_cast<int>(held_.size());
    return found;
  }

  const VectorXd& mean_;
  const MatrixXd& covariance_;
  const std::vector<char>& bounded_;
  VectorXd lift_;  ///< multipliers, >= 0
  std::vector<Index> held_;
};

}  // namespace

Bounded nearest_within_bounds(const VectorXd& mean, const MatrixXd& covariance,
                              const std::vector<char>& bounded) {
  return Dual(mean, covariance, bounded).solve();
}

}  // namespace vialwright::contents
