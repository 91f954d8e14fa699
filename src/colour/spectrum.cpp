#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "colour/colour.hpp"

namespace vialwright::colour {
namespace {

double width(const Spectrum& s, std::size_t i) { return s.nm[i + 1] - s.nm[i]; }
double secant(const Spectrum& s, std::size_t i) {
  return (s.value[i + 1] - s.value[i]) / width(s, i);
}

/// At an end: the parabola through three nodes, held back so that the curve does not overshoot.
double end_slope(double near_width, double far_width, double near_secant, double far_secant) {
  const double slope = ((2.0 * near_width + far_width) * near_secant - near_width * far_secant) /
                       (near_width + far_width);
  if (slope * near_secant <= 0.0) return 0.0;
  if (near_secant * far_secant < 0.0 && std::abs(slope) > std::abs(3.0 * near_secant))
    return 3.0 * near_secant;
  return slope;
}

/// Weighted harmonic mean of the two secants, 0 at an extreme value.
/// Source: Fritsch & Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300.
double slope_at(const Spectrum& s, std::size_t i) {
  const std::size_t last = s.nm.size() - 1;
  if (last == 1) return secant(s, 0);
  if (i == 0) return end_slope(width(s, 0), width(s, 1), secant(s, 0), secant(s, 1));
  if (i == last)
    return end_slope(width(s, last - 1), width(s, last - 2), secant(s, last - 1),
                     secant(s, last - 2));
  const double before = secant(s, i - 1), after = secant(s, i);
  if (before * after <= 0.0) return 0.0;
  const double w1 = 2.0 * width(s, i) + width(s, i - 1), w2 = width(s, i) + 2.0 * width(s, i - 1);
  return (w1 + w2) / (w1 / before + w2 / after);
}

/// The cubic of Hermite between nodes i and i + 1.
double smooth_between(const Spectrum& s, std::size_t i, double nm) {
  const double h = width(s, i), t = (nm - s.nm[i]) / h, rest = 1.0 - t;
  const double from = s.value[i], to = s.value[i + 1];
  const double value = rest * rest * (1.0 + 2.0 * t) * from + t * t * (3.0 - 2.0 * t) * to +
                       h * t * rest * (rest * slope_at(s, i) - t * slope_at(s, i + 1));
  return std::clamp(value, std::min(from, to), std::max(from, to));  // but for rounding, a no-op
}

}  // namespace

int Grid::size() const {
  if (!(step > 0.0) || !(last >= first)) return 0;
  return static_cast<int>(std::floor((last - first) / step + 1e-9)) + 1;
}

double at(const Spectrum& spectrum, double nm, Between between) {
  require(spectrum.nm.size() == spectrum.value.size() && !spectrum.nm.empty(),
          "a spectrum has one value a wavelength, and at least one");
  if (!(nm > spectrum.nm.front())) return spectrum.value.front();
  if (nm >= spectrum.nm.back()) return spectrum.value.back();
  const auto above = std::upper_bound(spectrum.nm.begin(), spectrum.nm.end(), nm);
  const auto i = static_cast<std::size_t>(above - spectrum.nm.begin()) - 1;
  if (between == Between::smooth) return smooth_between(spectrum, i, nm);
  return spectrum.value[i] + secant(spectrum, i) * (nm - spectrum.nm[i]);
}

std::vector<double> on(const Spectrum& spectrum, const Grid& grid, Between between) {
  std::vector<double> values(static_cast<std::size_t>(grid.size()));
  for (int i = 0; i < grid.size(); ++i)
    values[static_cast<std::size_t>(i)] = at(spectrum, grid.at(i), between);
  return values;
}

Problems problems(const Spectrum& spectrum, std::string_view where) {
  Problems found;
  const auto add = [&](std::string what, std::string mend) {
    found.push_back({Error::Kind::bad_input, std::move(what), std::string(where), std::move(mend)});
  };
  if (spectrum.nm.size() != spectrum.value.size())
    add(fmt::format("{} wavelengths but {} values", spectrum.nm.size(), spectrum.value.size()),
        "give one value for each wavelength");
  if (spectrum.nm.size() < 2)
    add(fmt::format("{} wavelengths are no spectrum", spectrum.nm.size()),
        "give at least two, such as 400 and 700 nm");
  for (std::size_t i = 0; i < spectrum.nm.size(); ++i) {
    if (!std::isfinite(spectrum.nm[i]) || spectrum.nm[i] <= 0.0)
      add(fmt::format("wavelength {} is {}", i + 1, spectrum.nm[i]),
          "write nanometres, such as 550");
    else if (i > 0 && spectrum.nm[i] <= spectrum.nm[i - 1])
      add(fmt::format("wavelength {} follows {}", spectrum.nm[i], spectrum.nm[i - 1]),
          "sort the wavelengths so that each is longer than the one before");
  }
  for (std::size_t i = 0; i < spectrum.value.size(); ++i)
    if (!std::isfinite(spectrum.value[i]))
      add(fmt::format("value {} is {}", i + 1, spectrum.value[i]), "write a finite number");
  return found;
}

}  // namespace vialwright::colour
