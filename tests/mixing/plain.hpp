/// The same physics once more, plainly: any number type (so that it differentiates itself), fine
/// Simpson sums instead of Gauss rules, no vectors. Shares with the engine only the interpolation
/// of a table and the CIE weights, which have their own tests.
#pragma once

#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

#include "mixing/mixing.hpp"

namespace vialwright::mixing::testing {

template <class T>
T simpson(double from, double to, int intervals, const std::function<T(double)>& f) {
  const double h = (to - from) / intervals;
  T sum = f(from) + f(to);
  for (int i = 1; i < intervals; ++i) sum += (i % 2 ? 4.0 : 2.0) * f(from + h * i);
  return sum * (h / 3.0);
}

template <class T>
struct Plain {
  const recipe::Book& book;
  std::vector<T> amounts;
  T path{1.0}, stray{0.0};

  /// Decadic absorbance of 1 cm.
  [[nodiscard]] T absorbance(double nm) const {
    T sum = 0.0 * amounts[0];
    const std::size_t components = book.components.size();
    for (std::size_t i = 0; i < amounts.size(); ++i) {
      if (i >= components)
        sum += foreign_shape(static_cast<int>(i - components), nm) * amounts[i];
      else if (!book.components[i].absorptivity.nm.empty())
        sum += colour::at(book.components[i].absorptivity, nm) * amounts[i];
    }
    return sum;
  }
  [[nodiscard]] T through(double nm, double cm) const {
    using std::exp;
    return exp(-std::numbers::ln10 * cm * path * absorbance(nm));
  }
  /// Mean over the chords of a strip, radius 1/2 diameter.
  [[nodiscard]] T through_round(double nm, double diameter_cm, double strip) const {
    using std::exp;
    if (strip == 0.0) return through(nm, diameter_cm);
    const T natural = -std::numbers::ln10 * path * absorbance(nm);
    return simpson<T>(0.0, std::asin(strip), 200,
                      [&](double angle) -> T {
                        return exp(natural * (diameter_cm * std::cos(angle))) * std::cos(angle);
                      }) /
           strip;
  }
};

template <class T>
T lab_function(const T& t) {
  using std::pow;
  if (t > 216.0 / 24389.0) return pow(t, 1.0 / 3.0);
  return t * (841.0 / 108.0) + 4.0 / 29.0;
}

/// CIELAB of light given wavelength by wavelength on the grid of the weights.
template <class T>
std::vector<T> lab_of(const colour::Weights& weights, const std::function<T(double)>& light) {
  T x = 0.0 * light(weights.grid.at(0)), y = x, z = x;
  double xn = 0.0, yn = 0.0, zn = 0.0;
  for (int i = 0; i < weights.grid.size(); ++i) {
    const T here = light(weights.grid.at(i));
    const auto band = static_cast<std::size_t>(i);
    x += weights.x[band] * here, y += weights.y[band] * here, z += weights.z[band] * here;
    xn += weights.x[band], yn += weights.y[band], zn += weights.z[band];
  }
  const T fx = lab_function<T>(x / xn), fy = lab_function<T>(y / yn), fz = lab_function<T>(z / zn);
  return {116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)};
}

/// What a gauge shows, through a vial of that inner diameter or its own cell.
template <class T>
std::vector<T> shown(const Plain<T>& liquid, const plant::ColourGauge& gauge, double diameter_cm) {
  using std::log;
  using Gives = plant::ColourGauge::Gives;
  const std::function<T(double)> light = [&](double nm) -> T {
    const T through = gauge.path_cm > 0.0 ? liquid.through(nm, gauge.path_cm)
                                          : liquid.through_round(nm, diameter_cm, gauge.strip_rel);
    return (through + liquid.stray) / (1.0 + liquid.stray);
  };
  if (gauge.gives == Gives::lab)
    return lab_of<T>(colour::weights(gauge.observer, gauge.illuminant), light);
  std::vector<T> values;
  const auto as_absorbance = [](const T& value) -> T { return -log(value) / std::numbers::ln10; };
  if (gauge.gives == Gives::channels) {
    for (const colour::Spectrum& channel : gauge.channels) {
      T sum = 0.0 * light(500.0);
      double blank = 0.0;
      for (double nm = 380.0; nm <= 780.0; nm += 5.0) {
        const double seen = nm < channel.nm.front() || nm > channel.nm.back()
                                ? 0.0
                                : colour::at(channel, nm, colour::Between::linear);
        sum += seen * light(nm), blank += seen;
      }
      values.push_back(as_absorbance(sum / blank));
    }
    return values;
  }
  const double width = gauge.bandwidth_nm;
  for (int i = 0; i < gauge.bands.size(); ++i) {
    const double centre = gauge.bands.at(i);
    T value = light(centre);
    if (width > 0.0) {
      const auto passed = [&](double off) -> T {
        return light(centre + off) * ((width - std::abs(off)) / (width * width));
      };
      value = simpson<T>(-width, 0.0, 80, passed) + simpson<T>(0.0, width, 80, passed);
    }
    values.push_back(gauge.absorbance ? as_absorbance(value) : value);
  }
  return values;
}

}  // namespace vialwright::mixing::testing
