#include <fmt/format.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>

#include "colour/colour.hpp"

namespace vialwright::colour {
namespace {

Eigen::Vector3d from_chromaticity(double x, double y) { return {x / y, 1.0, (1.0 - x - y) / y}; }

/// The white of sRGB: chromaticity 0.3127, 0.3290, with Y = 1.
Eigen::Vector3d srgb_white() { return from_chromaticity(0.3127, 0.3290); }

/// From XYZ, Y of white = 1, to linear red, green, blue: from the chromaticities of the standard
/// rather than its rounded matrix, so that white is 1, 1, 1.
Eigen::Matrix3d xyz_to_linear_rgb() {
  Eigen::Matrix3d primaries;
  primaries << from_chromaticity(0.64, 0.33), from_chromaticity(0.30, 0.60),
      from_chromaticity(0.15, 0.06);
  const Eigen::Vector3d amounts = primaries.inverse() * srgb_white();
  return (primaries * amounts.asDiagonal()).inverse();
}

/// Source: K. M. Lam (1985), the linear transform in use as "Bradford" (ICC.1:2010, annex E).
Eigen::Matrix3d bradford() {
  Eigen::Matrix3d made;
  made << 0.8951, 0.2664, -0.1614,  //
      -0.7502, 1.7135, 0.0367,      //
      0.0389, -0.0685, 1.0296;
  return made;
}

/// From XYZ under one white (Y = 100) to linear red, green, blue of the display.
Eigen::Matrix3d to_linear_rgb(const Xyz& white) {
  const Eigen::Matrix3d cones = bradford();
  const Eigen::Vector3d seen = cones * Eigen::Vector3d(white.x, white.y, white.z);
  const Eigen::Vector3d shown = cones * srgb_white();
  return xyz_to_linear_rgb() * cones.inverse() * shown.cwiseQuotient(seen).asDiagonal() * cones;
}

double encoded(double linear) {
  if (linear <= 0.0031308) return 12.92 * linear;
  return 1.055 * std::pow(linear, 1.0 / 2.4) - 0.055;
}

Eigen::Vector3d codes(const Lab& lab, const Xyz& white, const Eigen::Matrix3d& transform) {
  const Xyz seen = xyz(lab, white);
  const Eigen::Vector3d linear = transform * Eigen::Vector3d(seen.x, seen.y, seen.z);
  return 255.0 * linear.unaryExpr([](double each) { return encoded(each); });
}

/// Inside where every channel rounds to a code that exists.
bool inside(const Eigen::Vector3d& codes) {
  return codes.minCoeff() >= -0.5 && codes.maxCoeff() < 255.5;
}

std::uint8_t code(double value) {
  return static_cast<std::uint8_t>(std::lround(std::clamp(value, 0.0, 255.0)));
}

}  // namespace

Display display(const Lab& lab, const Xyz& white) {
  require(std::isfinite(lab.l) && std::isfinite(lab.a) && std::isfinite(lab.b),
          "a colour to show is finite");
  const Eigen::Matrix3d transform = to_linear_rgb(white);
  const double l = std::clamp(lab.l, 0.0, 100.0);
  const auto shown = [&](double share) {
    return codes({l, share * lab.a, share * lab.b}, white, transform);
  };
  const bool displayable = l == lab.l && inside(shown(1.0));
  double share = 1.0;
  if (!inside(shown(1.0))) {
    double from = 0.0, to = 1.0;  // grey is inside; a chroma step of 2^-30 is below any code
    for (int step = 0; step < 30; ++step) {
      const double middle = 0.5 * (from + to);
      (inside(shown(middle)) ? from : to) = middle;
    }
    share = from;
  }
  const Eigen::Vector3d chosen = shown(share);
  return {code(chosen[0]), code(chosen[1]), code(chosen[2]), displayable};
}

std::string Display::hex() const { return fmt::format("#{:02x}{:02x}{:02x}", red, green, blue); }

}  // namespace vialwright::colour
