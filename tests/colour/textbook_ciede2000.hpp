/// CIEDE2000 as its paper writes it, angles in degrees, for tests: another road than the program's.
/// Source: Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21, equations 2 to 22.
#pragma once

#include <cmath>
#include <numbers>

#include "colour/colour.hpp"

namespace vialwright::colour::testing {

/// How far the two hues are from opposite and the mean hue from 0, where the formula jumps;
/// degrees.
struct Jumps {
  double opposite = 180.0, red = 180.0;
};

inline double textbook_00(const Lab& one, const Lab& other, Jumps* jumps = nullptr) {
  const double degree = std::numbers::pi / 180.0;
  const auto seventh = [](double c) { return std::pow(c, 7) / (std::pow(c, 7) + std::pow(25, 7)); };
  const double mean_c = 0.5 * (std::hypot(one.a, one.b) + std::hypot(other.a, other.b));
  const double g = 0.5 * (1.0 - std::sqrt(seventh(mean_c)));
  const double a1 = (1.0 + g) * one.a, a2 = (1.0 + g) * other.a;
  const double c1 = std::hypot(a1, one.b), c2 = std::hypot(a2, other.b);
  const auto hue = [&](double b, double a) {
    if (a == 0.0 && b == 0.0) return 0.0;
    const double h = std::atan2(b, a) / degree;
    return h < 0.0 ? h + 360.0 : h;
  };
  const double h1 = hue(one.b, a1), h2 = hue(other.b, a2);
  double dh = h2 - h1, mean_h = h1 + h2;
  if (c1 * c2 == 0.0) {
    dh = 0.0;
  } else if (std::abs(h1 - h2) <= 180.0) {
    mean_h = 0.5 * (h1 + h2);
  } else {
    dh += dh > 0.0 ? -360.0 : 360.0;
    mean_h = 0.5 * (h1 + h2 + (h1 + h2 < 360.0 ? 360.0 : -360.0));
  }
  if (jumps != nullptr)
    *jumps = {std::abs(std::abs(h2 - h1) - 180.0), std::min(mean_h, std::abs(360.0 - mean_h))};
  const double dH = 2.0 * std::sqrt(c1 * c2) * std::sin(0.5 * dh * degree);
  const double l = 0.5 * (one.l + other.l), c = 0.5 * (c1 + c2);
  const double t = 1.0 - 0.17 * std::cos((mean_h - 30.0) * degree) +
                   0.24 * std::cos(2.0 * mean_h * degree) +
                   0.32 * std::cos((3.0 * mean_h + 6.0) * degree) -
                   0.20 * std::cos((4.0 * mean_h - 63.0) * degree);
  const double turn = 30.0 * std::exp(-std::pow((mean_h - 275.0) / 25.0, 2));
  const double s_l = 1.0 + 0.015 * std::pow(l - 50.0, 2) / std::sqrt(20.0 + std::pow(l - 50.0, 2));
  const double s_c = 1.0 + 0.045 * c, s_h = 1.0 + 0.015 * c * t;
  const double r_t = -std::sin(2.0 * turn * degree) * 2.0 * std::sqrt(seventh(c));
  const double x = (other.l - one.l) / s_l, y = (c2 - c1) / s_c, z = dH / s_h;
  return std::sqrt(x * x + y * y + z * z + r_t * y * z);
}

}  // namespace vialwright::colour::testing
