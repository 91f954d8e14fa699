#include <fmt/format.h>

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

#include "camera/camera.hpp"
#include "camera/fit.hpp"
#include "camera/terms.hpp"

namespace vialwright::camera {
namespace {

constexpr int spare = 5;         // degrees of freedom for the scatter, so that its doubt is finite
constexpr int good_number = 30;  // patches; common practice
constexpr double contradicts = 3.0;

/// One form, fitted, and what it says of each patch from all the others.
struct Candidate {
  Form form;
  Samples samples;
  Coefficients coefficients;
  Eigen::VectorXd unseen;  ///< CIELAB difference of each patch, predicted without it
  [[nodiscard]] double rms() const {
    return std::sqrt(unseen.squaredNorm() / static_cast<double>(unseen.size()));
  }
};

std::optional<Candidate> candidate(Form form, std::span<const Patch> patches,
                                   const colour::Xyz& white) {
  if (static_cast<int>(patches.size()) < terms_of(form) + spare) return std::nullopt;
  Candidate made{form, samples(form, patches, white), {}, {}};
  const auto start = fit_in_xyz(made.samples);
  if (!start) return std::nullopt;
  made.coefficients = fit_in_lab(made.samples, *start);
  made.unseen = unseen_residuals(made.samples, made.coefficients).rowwise().norm();
  if (!made.unseen.allFinite()) return std::nullopt;
  return made;
}

/// Whether the larger form predicts unseen patches better by more than the doubt of that statement.
bool clearly_better(const Candidate& larger, const Candidate& smaller) {
  const Eigen::ArrayXd gain = smaller.unseen.array().square() - larger.unseen.array().square();
  const auto n = static_cast<double>(gain.size());
  const double error = std::sqrt((gain - gain.mean()).square().sum() / ((n - 1.0) * n));
  return gain.mean() > std::max(error, 1e-8);  // 1e-4 in CIELAB: below it rounding decides
}

Eigen::Matrix3d without_negative_directions(const Eigen::Matrix3d& covariance) {
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(covariance);
  return eigen.eigenvectors() * eigen.eigenvalues().cwiseMax(0.0).asDiagonal() *
         eigen.eigenvectors().transpose();
}

/// What the noise of the patches' signals alone would scatter, on average.
Eigen::Matrix3d scatter_of_signals(const Candidate& fitted, std::span<const Patch> patches) {
  Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
  for (const Patch& patch : patches) {
    Eigen::Matrix3d by_xyz;
    const Eigen::Vector3d xyz = fitted.coefficients * terms(fitted.form, patch.signal.value);
    static_cast<void>(colour::lab(as_xyz(xyz), fitted.samples.white, by_xyz));
    const Eigen::Matrix3d gradient =
        by_xyz * fitted.coefficients * terms_gradient(fitted.form, patch.signal.value);
    sum += gradient * patch.signal.covariance * gradient.transpose();
  }
  return sum / static_cast<double>(patches.size());
}

std::vector<std::string> warnings(const Candidate& fitted, std::span<const Patch> patches) {
  std::vector<std::string> made;
  if (static_cast<int>(patches.size()) < good_number)
    made.push_back(fmt::format("{} patches are few; {} or more give a calibration to rely on",
                               patches.size(), good_number));
  const auto n = static_cast<double>(patches.size());
  for (std::size_t i = 0; i < patches.size(); ++i) {
    const double own = fitted.unseen[static_cast<Eigen::Index>(i)];
    const double others = std::sqrt((fitted.unseen.squaredNorm() - own * own) / (n - 1.0));
    if (own > contradicts * others)
      made.push_back(
          fmt::format("patch '{}' is {:.1f} from what all others say of it (they: {:.1f})",
                      patches[i].name, own, others));
  }
  return made;
}

Calibration finished(const Candidate& best, std::span<const Patch> patches) {
  Calibration made;
  made.form = best.form;
  made.white = best.samples.white;
  made.coefficients = best.coefficients;
  made.patches = static_cast<int>(patches.size());
  made.freedom = made.patches - terms_of(best.form);
  const Eigen::MatrixXd residual = residuals(best.samples, best.coefficients);
  const Eigen::Matrix3d row = residual.transpose() * residual / made.freedom;
  made.covariance = coefficient_covariance(best.samples, best.coefficients, row);
  made.scatter = without_negative_directions(row - scatter_of_signals(best, patches));
  const Eigen::MatrixXd& terms = best.samples.terms;
  made.spread = (terms.transpose() * terms)
                    .ldlt()
                    .solve(Eigen::MatrixXd::Identity(terms.cols(), terms.cols()));
  made.largest_leverage = (terms * made.spread).cwiseProduct(terms).rowwise().sum().maxCoeff();
  made.warnings = warnings(best, patches);
  return made;
}

bool finite(const colour::Xyz& xyz) {
  return std::isfinite(xyz.x) && std::isfinite(xyz.y) && std::isfinite(xyz.z);
}

Problems problems(std::span<const Patch> patches, const colour::Xyz& white,
                  std::string_view where) {
  Problems found;
  const auto add = [&](std::string what, std::string mend) {
    found.push_back({Error::Kind::bad_input, std::move(what), std::string(where), std::move(mend)});
  };
  const int least = terms_of(Form::linear) + spare;
  if (static_cast<int>(patches.size()) < least)
    add(fmt::format("{} patches do not make a calibration", patches.size()),
        fmt::format("read at least {}, better {}, made from the line's own dyes", least,
                    good_number));
  if (!finite(white) || !(std::min({white.x, white.y, white.z}) > 0.0))
    add("the white is not three numbers above zero", "give X, Y and Z of the white, such as D65's");
  for (const Patch& patch : patches) {
    if (!(patch.signal.value.minCoeff() > 0.0) || !patch.signal.value.allFinite() ||
        !patch.signal.covariance.allFinite())
      add(fmt::format("the signal of patch '{}' is not above zero in every channel", patch.name),
          "read the patch again, or leave it out");
    if (!finite(patch.truth))
      add(fmt::format("the colour of patch '{}' is not finite", patch.name),
          "give its X, Y and Z, or leave it out");
  }
  return found;
}

}  // namespace

Checked<Calibration> calibrate(std::span<const Patch> patches, const colour::Xyz& white,
                               std::string_view where) {
  Problems found = problems(patches, white, where);
  if (!found.empty()) return tl::unexpected<Problems>(std::move(found));
  const auto linear = candidate(Form::linear, patches, white);
  if (!linear)
    return tl::unexpected<Problems>(
        Problems{{Error::Kind::bad_input, "the patches' signals do not differ in three ways",
                  std::string(where), "add patches of other hues, at least two of each dye"}});
  const auto rooted = candidate(Form::root_polynomial, patches, white);
  const bool take_roots = rooted && clearly_better(*rooted, *linear);
  Calibration made = finished(take_roots ? *rooted : *linear, patches);
  made.tried.push_back({Form::linear, linear->rms()});
  if (rooted) made.tried.push_back({Form::root_polynomial, rooted->rms()});
  return made;
}

Result<Estimate> estimate(const Signal& signal, const Calibration& calibration,
                          std::string_view where) {
  if (!(signal.value.minCoeff() > 0.0) || !signal.value.allFinite())
    return bad_input("a camera signal is not above zero in every channel", std::string(where),
                     "read the vial again with a longer exposure");
  const Eigen::VectorXd made = terms(calibration.form, signal.value);
  Eigen::Matrix3d by_xyz;
  const Eigen::Vector3d xyz = calibration.coefficients * made;
  const colour::Lab lab = colour::lab(as_xyz(xyz), calibration.white, by_xyz);
  const Eigen::Matrix3d by_signal =
      by_xyz * calibration.coefficients * terms_gradient(calibration.form, signal.value);
  const Eigen::MatrixXd by_coefficients = coefficient_gradient(made, by_xyz);
  // With n degrees of freedom behind the scatter of three coordinates the error follows Student's t
  // in three dimensions, whose covariance is n / (n - 4) times the one estimated (Gelman et al.,
  // Bayesian Data Analysis, 3rd ed. (2013), 3.6, with n - 2 degrees of freedom for t).
  const double widened = calibration.freedom / (calibration.freedom - 4.0);
  const Eigen::Matrix3d learned =
      by_coefficients * calibration.covariance * by_coefficients.transpose() + calibration.scatter;
  const double leverage = made.dot(calibration.spread * made);
  return Estimate{lab, by_signal * signal.covariance * by_signal.transpose() + widened * learned,
                  leverage > calibration.largest_leverage};
}

}  // namespace vialwright::camera
