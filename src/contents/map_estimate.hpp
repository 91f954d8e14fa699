/// Private: the most probable values of unknowns with a Gaussian prior, given scalar readings.
/// It knows nothing of vials: balances of flows, weighings and concentrations are all the same.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace vialwright::contents {

/// Independent Gaussian priors of n unknowns.
struct Unknowns {
  Eigen::VectorXd mean, variance;  ///< (n); variance >= 0
  std::vector<char> bounded;       ///< (n): the unknown cannot be negative
  std::vector<char> vague;         ///< (n): the prior is a wide guess and testifies to nothing
};

/// Adds one unknown. @returns its index.
int add(Unknowns& unknowns, double mean, double variance, bool bounded = false, bool vague = false);

/// What was read, (m); a variance of 0 makes the reading an exact constraint.
struct Observed {
  Eigen::VectorXd value, variance;
};

/// How the readings hang on the unknowns.
class Response {
 public:
  virtual ~Response() = default;
  /// @param predicted (m) and @param gradient (n, m), one column a reading: both are set whole.
  virtual void linearise(const Eigen::VectorXd& unknowns, Eigen::VectorXd& predicted,
                         Eigen::MatrixXd& gradient) const = 0;
  /// Far enough from linear that a whole step may go too far? Steps are then shortened until they
  /// bring unknowns and readings closer to what is thought.
  [[nodiscard]] virtual bool curved() const { return false; }
  /// The same as linearise.
  /// @returns sum of squares, in units of their noise, of misfits that no row shows: readings may
  ///          have been turned into as many rows as they see directions.
  virtual double linearise_all(const Eigen::VectorXd& unknowns, Eigen::VectorXd& predicted,
                               Eigen::MatrixXd& gradient) const {
    linearise(unknowns, predicted, gradient);
    return 0.0;
  }
};

/// The posterior about its mode. `mean` and `covariance` are the Gaussian that fits the posterior
/// there without regard to the bounds; truncation.hpp cuts it off at zero.
struct Fit {
  Eigen::VectorXd mode;        ///< (n), bounds respected
  Eigen::VectorXd at;          ///< (n) where the gradient was taken: the mode but for rounding
  Eigen::VectorXd mean;        ///< (n)
  Eigen::MatrixXd covariance;  ///< (n, n)
  Eigen::VectorXd residual;    ///< (m) reading less what `mean` says
  Eigen::MatrixXd gradient;    ///< (n, m) at the mode
  Eigen::MatrixXd weight;      ///< (m, m) inverse covariance of the readings before they were read
  Eigen::VectorXd pull;        ///< (m) weight * innovation; residual / variance where that is > 0
  Eigen::MatrixXd reach;       ///< (n, m) how far each unknown moves with each reading
  std::vector<char> at_bound;  ///< (n)
  double chi_squared = 0.0;    ///< residuals and priors, the vague ones apart
  int degrees = 0;  ///< readings (and bounds that hold) less vague unknowns that are seen
  int iterations = 0;
};

/// Gauss-Newton in the space of the readings: with S = H P H' + R, the step is
/// x = mu + P H' S^-1 (y - h + H (x - mu)), which needs neither R nor P to be invertible.
/// Bounds by an active set on the dual.
/// @pre sizes agree; exact readings do not repeat each other.
/// Source: Bell & Cathey, IEEE Trans. Automatic Control 38 (1993) 294 (iterated update is
/// Gauss-Newton); from memory.
[[nodiscard]] Fit map_estimate(const Unknowns& unknowns, const Observed& observed,
                               const Response& response, int max_iterations);

}  // namespace vialwright::contents
