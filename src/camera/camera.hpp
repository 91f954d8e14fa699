/// A camera as a colour instrument: from the counts of a linear raw image to CIELAB with its
/// uncertainty. One exposure for dark, blank and vial; nothing that a camera does to please the eye
/// (white balance, tone curve, compression) may come between.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "colour/colour.hpp"

namespace vialwright::camera {

// ---- from pixels to a signal ------------------------------------------------------------------

struct Limits {
  double full_counts = 4095.0;  ///< largest count of the sensor
  double clipped_share = 0.95;  ///< of full; above it a channel no longer is linear
  double dark_counts = 20.0;    ///< above the dark reading; below it noise and offset decide
  double most_rejected =
      0.05;               ///< share of pixels; more, and the median of the rest is drawn aside
  int least_pixels = 25;  ///< used ones, for a median and its scatter
  bool operator==(const Limits&) const = default;
};
[[nodiscard]] Problems problems(const Limits& limits, std::string_view where);

/// One region of an image: red, green, blue.
struct Counts {
  Eigen::Vector3d value = Eigen::Vector3d::Zero();       ///< median of the pixels used
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();  ///< of that median
  int used = 0, clipped = 0, dark = 0;                   ///< pixels; clipped and dark are left out
};

/// The median of a region. A pixel is left out when any of its channels is clipped or dark. The
/// covariance takes the pixels for independent: give pixels of the raw mosaic, not interpolated
/// ones.
/// @param dark  the dark reading of the same region; without it (for the dark reading itself) no
///              pixel is too dark.
/// @returns an error with the reason where too few pixels are left or too many were left out.
[[nodiscard]] Result<Counts> counts(std::span<const Eigen::Vector3d> pixels,
                                    const std::optional<Eigen::Vector3d>& dark,
                                    const Limits& limits, std::string_view where);

/// Share of the blank's light per channel, 0 < value, 1 for the blank itself.
struct Signal {
  Eigen::Vector3d value = Eigen::Vector3d::Ones();
  Eigen::Matrix3d covariance = Eigen::Matrix3d::Zero();
};

/// (vial - dark) / (blank - dark). The blank is a vial of the same type with solvent only, in the
/// same place, so that it also levels out the field of the light.
/// @note the doubt of dark and blank is in the covariance of every signal they serve; where many
///       signals share them it is common to all of these, not new in each.
/// @returns an error naming the channel where blank or vial is clipped, or too near the dark.
[[nodiscard]] Result<Signal> signal(const Counts& vial, const Counts& dark, const Counts& blank,
                                    const Limits& limits, std::string_view where);

// ---- from signals to colour -------------------------------------------------------------------

/// XYZ = coefficients x terms. `linear`: r, g, b. `root_polynomial`: and sqrt(rg), sqrt(gb),
/// sqrt(rb). Both scale with exposure; a plain polynomial does not.
/// Source: Finlayson, Mackiewicz & Hurlbert, IEEE Trans. Image Process. 24 (2015) 1460.
enum class Form { linear, root_polynomial };
[[nodiscard]] std::string_view word(Form form);  ///< "linear", "root-polynomial"

/// A vial of known colour. Make patches from the line's own dyes: printed charts have other
/// spectra.
struct Patch {
  std::string name;
  Signal signal;
  colour::Xyz truth;  ///< under the white of the calibration
};

/// How well a form predicts patches that it has not seen.
struct CrossValidated {
  Form form = Form::linear;
  double rms = 0.0;  ///< CIELAB difference (1976) of each patch predicted from all others
};

struct Calibration {
  Form form = Form::linear;
  colour::Xyz white;
  Eigen::Matrix<double, 3, Eigen::Dynamic> coefficients;  ///< (3, terms)
  Eigen::MatrixXd
      covariance;  ///< (3 terms, 3 terms): X, Y, Z of the first term, of the second, ...
  /// Covariance in CIELAB of what is left for one vial beyond the noise of its signal: what the
  /// form cannot follow and the doubt of the patches' own colours.
  Eigen::Matrix3d scatter;
  int patches = 0;
  int freedom = 0;                    ///< patches - terms: the count behind `scatter`
  Eigen::MatrixXd spread;             ///< (terms, terms): inverse of the sum of terms x terms'
  double largest_leverage = 0.0;      ///< of the patches; beyond it a vial lies outside of them
  std::vector<CrossValidated> tried;  ///< every form that there were patches enough for
  std::vector<std::string> warnings;  ///< few patches; a patch that the others contradict
};

/// Fits both forms by least squares in CIELAB and keeps the linear one, unless the root polynomial
/// predicts unseen patches better by more than the standard error of that difference.
/// @returns every reason against: fewer patches than terms + 5, signals that are not above zero,
///          colours that are not finite, patches that do not span the form.
[[nodiscard]] Checked<Calibration> calibrate(std::span<const Patch> patches,
                                             const colour::Xyz& white, std::string_view where);

/// A colour read by a camera.
struct Estimate {
  colour::Lab lab;
  Eigen::Matrix3d covariance;  ///< of signal, coefficients and scatter together
  bool outside = false;        ///< further out than any patch: the doubt may be larger than stated
};
/// @returns an error where a signal is not above zero.
[[nodiscard]] Result<Estimate> estimate(const Signal& signal, const Calibration& calibration,
                                        std::string_view where);

}  // namespace vialwright::camera
