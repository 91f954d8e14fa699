#include "mixing/eyes.hpp"

#include <algorithm>
#include <cmath>

#include "mixing/absorption.hpp"

namespace vialwright::mixing {
namespace {

/// A pass band is a triangle over its centre -/+ bandwidth, seen at so many wavelengths a side that
/// the bends between the nodes of a table of absorptivities, 5 nm apart, move an absorbance by less
/// than 1e-4.
int nodes_a_side(double bandwidth_nm) {
  return std::clamp(static_cast<int>(std::ceil(bandwidth_nm / 2.5)) + 1, 2, 12);
}

void add_group(Eyes& eyes, const std::vector<double>& centres, double off, double weight) {
  eyes.bands.push_back(weight);
  for (const double centre : centres) eyes.nm.push_back(centre + off);
  eyes.nm.resize(eyes.bands.size() * padded(centres.size()), eyes.nm.back());
}

Eyes of_bands(const plant::ColourGauge& gauge) {
  Eyes eyes;
  const std::vector<double> centres = wavelengths(gauge.bands);
  eyes.blank = Eigen::VectorXd::Ones(static_cast<Eigen::Index>(centres.size()));
  if (gauge.bandwidth_nm <= 0.0) {
    add_group(eyes, centres, 0.0, 1.0);
    return eyes;
  }
  for (const Node& node : gauss_legendre(nodes_a_side(gauge.bandwidth_nm)))
    for (const double side : {-1.0, 1.0})
      add_group(eyes, centres, side * node.at * gauge.bandwidth_nm, node.weight * (1.0 - node.at));
  return eyes;
}

Eyes of_observer(const plant::ColourGauge& gauge) {
  Eyes eyes;
  const colour::Weights& weights = colour::weights(gauge.observer, gauge.illuminant);
  eyes.nm = wavelengths(weights.grid);
  eyes.blank = Eigen::Vector3d{weights.white.x, weights.white.y, weights.white.z};
  eyes.weights = Rows(3, eyes.nm.size());
  std::ranges::copy(weights.x, eyes.weights[0]);
  std::ranges::copy(weights.y, eyes.weights[1]);
  std::ranges::copy(weights.z, eyes.weights[2]);
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
  eyes.blank = Eigen::VectorXd::Ones(static_cast<Eigen::Index>(gauge.channels.size()));
  eyes.weights = Rows(gauge.channels.size(), eyes.nm.size());
  for (std::size_t v = 0; v < gauge.channels.size(); ++v) {
    double blank = 0.0;
    for (const double nm : eyes.nm) blank += sensitivity(gauge.channels[v], nm);
    require(blank > 0.0, "a channel sees some light between 380 and 780 nm");
    std::ranges::transform(eyes.nm, eyes.weights[v],
                           [&](double nm) { return sensitivity(gauge.channels[v], nm) / blank; });
  }
  return eyes;
}

}  // namespace

Eigen::VectorXd Eyes::sums(std::span<const double> light) const {
  Eigen::VectorXd sum(bands.empty() ? blank.size() : static_cast<Eigen::Index>(padded(values())));
  const std::span<double> into{sum.data(), static_cast<std::size_t>(sum.size())};
  if (bands.empty())
    weigh(weights, light, into);
  else
    fold(bands, light, into);
  sum.conservativeResize(blank.size());
  return sum;
}

Eigen::MatrixXd Eyes::sums(const Rows& natural, std::size_t amounts,
                           std::span<const double> slope) const {
  const auto columns = static_cast<Eigen::Index>(amounts);
  if (bands.empty()) {
    Eigen::MatrixXd sum(blank.size(), columns);
    weigh_each(weights, natural, amounts, slope,
               {sum.data(), static_cast<std::size_t>(sum.size())});
    return sum;
  }
  Eigen::MatrixXd sum(static_cast<Eigen::Index>(padded(values())), columns);
  fold_each(bands, natural, amounts, slope, {sum.data(), static_cast<std::size_t>(sum.size())});
  return sum.topRows(blank.size());
}

Eyes eyes(const plant::ColourGauge& gauge) {
  using Gives = plant::ColourGauge::Gives;
  if (gauge.gives == Gives::spectrum) return of_bands(gauge);
  return gauge.gives == Gives::channels ? of_channels(gauge) : of_observer(gauge);
}

}  // namespace vialwright::mixing
