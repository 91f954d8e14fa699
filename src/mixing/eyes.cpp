#include "mixing/eyes.hpp"

#include <array>
#include <cmath>

#include "mixing/absorption.hpp"

namespace vialwright::mixing {
namespace {

/// Five-point Gauss rule for the weight 1 - |x| on -1..1: exact to the ninth degree. The nodes are
/// the roots of x (x^4 + a x^2 + b), which is orthogonal to x and x^3 under that weight, whose even
/// moments are 2 / ((n + 1)(n + 2)).
struct Triangle {
  std::array<double, 5> at{}, weight{};

  Triangle() {
    const double m2 = 1.0 / 6.0, m4 = 1.0 / 15.0, m6 = 1.0 / 28.0, m8 = 1.0 / 45.0;
    const double a = (m4 * m6 - m2 * m8) / (m2 * m6 - m4 * m4), b = -(m6 + a * m4) / m2;
    const double root = std::sqrt(0.25 * a * a - b);
    const double inner = -0.5 * a - root, outer = -0.5 * a + root;  // squares of the nodes
    const double at_inner = (m2 * outer - m4) / (2.0 * inner * (outer - inner));
    const double at_outer = (m4 - m2 * inner) / (2.0 * outer * (outer - inner));
    at = {-std::sqrt(outer), -std::sqrt(inner), 0.0, std::sqrt(inner), std::sqrt(outer)};
    weight = {at_outer, at_inner, 1.0 - 2.0 * (at_inner + at_outer), at_inner, at_outer};
  }
};

Eyes of_bands(const plant::ColourGauge& gauge) {
  Eyes eyes;
  const std::vector<double> centres = wavelengths(gauge.bands);
  eyes.blank = Eigen::VectorXd::Ones(static_cast<Eigen::Index>(centres.size()));
  if (gauge.bandwidth_nm <= 0.0) {
    eyes.nm = centres;
    eyes.band_weights = {1.0};
    return eyes;
  }
  const Triangle triangle;
  for (std::size_t p = 0; p < triangle.at.size(); ++p) {
    eyes.band_weights.push_back(triangle.weight[p]);
    for (const double centre : centres)
      eyes.nm.push_back(centre + gauge.bandwidth_nm * triangle.at[p]);
  }
  return eyes;
}

Eyes of_observer(const plant::ColourGauge& gauge) {
  Eyes eyes;
  const colour::Weights& weights = colour::weights(gauge.observer, gauge.illuminant);
  eyes.nm = wavelengths(weights.grid);
  eyes.blank.resize(3);
  eyes.blank << weights.white.x, weights.white.y, weights.white.z;
  eyes.weights.resize(3, static_cast<Eigen::Index>(eyes.nm.size()));
  int row = 0;
  for (const auto* each : {&weights.x, &weights.y, &weights.z})
    eyes.weights.row(row++) =
        Eigen::Map<const Eigen::RowVectorXd>(each->data(), eyes.weights.cols());
  return eyes;
}

/// Nothing is seen outside the table of a sensitivity.
double sensitivity(const colour::Spectrum& channel, double nm) {
  if (nm < channel.nm.front() || nm > channel.nm.back()) return 0.0;
  return colour::at(channel, nm, colour::Between::linear);
}

Eyes of_channels(const plant::ColourGauge& gauge) {
  Eyes eyes;
  eyes.nm = wavelengths(colour::Grid{});
  const auto values = static_cast<Eigen::Index>(gauge.channels.size());
  eyes.blank = Eigen::VectorXd::Ones(values);
  eyes.weights.resize(values, static_cast<Eigen::Index>(eyes.nm.size()));
  for (Eigen::Index v = 0; v < values; ++v) {
    const colour::Spectrum& channel = gauge.channels[static_cast<std::size_t>(v)];
    for (Eigen::Index j = 0; j < eyes.weights.cols(); ++j)
      eyes.weights(v, j) = sensitivity(channel, eyes.nm[static_cast<std::size_t>(j)]);
    const double blank = eyes.weights.row(v).sum();
    require(blank > 0.0, "a channel sees some light between 380 and 780 nm");
    eyes.weights.row(v) /= blank;
  }
  return eyes;
}

}  // namespace

Eigen::MatrixXd Eyes::sums(const Eigen::MatrixXd& light) const {
  if (weights.size() > 0) return weights * light;
  Eigen::MatrixXd sum = band_weights.front() * light.topRows(values());
  for (std::size_t p = 1; p < band_weights.size(); ++p)
    sum += band_weights[p] * light.middleRows(static_cast<Eigen::Index>(p) * values(), values());
  return sum;
}

Eyes eyes(const plant::ColourGauge& gauge) {
  switch (gauge.gives) {
    case plant::ColourGauge::Gives::spectrum:
      return of_bands(gauge);
    case plant::ColourGauge::Gives::lab:
      return of_observer(gauge);
    case plant::ColourGauge::Gives::channels:
      return of_channels(gauge);
  }
  return of_observer(gauge);
}

}  // namespace vialwright::mixing
