#include "colour/cielab.hpp"

#include <cmath>
#include <numbers>

#include "colour/colour.hpp"

namespace vialwright::colour {
namespace {

double f(double t) { return t > lab_bend ? std::cbrt(t) : lab_steepness * t + lab_offset; }

double f_slope(double t) {
  if (t <= lab_bend) return lab_steepness;
  const double root = std::cbrt(t);
  return 1.0 / (3.0 * root * root);
}

double f_inverse(double value) {
  return value > 6.0 / 29.0 ? value * value * value : (value - lab_offset) / lab_steepness;
}

}  // namespace

Lab lab(const Xyz& xyz, const Xyz& white) {
  const double fx = f(xyz.x / white.x), fy = f(xyz.y / white.y), fz = f(xyz.z / white.z);
  return {116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)};
}

Lab lab(const Xyz& xyz, const Xyz& white, Eigen::Matrix3d& gradient) {
  const double dx = f_slope(xyz.x / white.x) / white.x;
  const double dy = f_slope(xyz.y / white.y) / white.y;
  const double dz = f_slope(xyz.z / white.z) / white.z;
  gradient << 0.0, 116.0 * dy, 0.0,  //
      500.0 * dx, -500.0 * dy, 0.0,  //
      0.0, 200.0 * dy, -200.0 * dz;
  return lab(xyz, white);
}

Xyz xyz(const Lab& lab, const Xyz& white) {
  const double fy = (lab.l + 16.0) / 116.0, fx = fy + lab.a / 500.0, fz = fy - lab.b / 200.0;
  return {white.x * f_inverse(fx), white.y * f_inverse(fy), white.z * f_inverse(fz)};
}

Lch lch(const Lab& lab) {
  const double chroma = std::hypot(lab.a, lab.b);
  if (chroma == 0.0) return {lab.l, 0.0, 0.0};
  double degrees = std::atan2(lab.b, lab.a) * 180.0 / std::numbers::pi;
  if (degrees < 0.0) degrees += 360.0;
  return {lab.l, chroma, degrees < 360.0 ? degrees : 0.0};  // -1e-20 + 360 rounds to 360
}

double difference_76(const Lab& one, const Lab& other) {
  return std::hypot(one.l - other.l, one.a - other.a, one.b - other.b);
}

}  // namespace vialwright::colour
