// CIEDE2000 without angles where they are not needed: hues are directions in the plane (a', b), the
// mean hue bisects two of them, and T is a polynomial in its cosine. Only the rotation term needs
// an angle. Which side the bisector lies on when the hues are opposite is decided by exact signs,
// so the answer does not hang on the last bit of an arc tangent.
#include <cmath>
#include <numbers>

#include "colour/colour.hpp"

namespace vialwright::colour {
namespace {

constexpr double seventh_power_of_25 = 6103515625.0;
constexpr double degree = std::numbers::pi / 180.0;

double seventh_root_share(double chroma) {  // sqrt(C^7 / (C^7 + 25^7))
  const double c2 = chroma * chroma, c7 = (c2 * c2) * (c2 * chroma);
  return std::sqrt(c7 / (c7 + seventh_power_of_25));
}

double length(double x, double y) { return std::sqrt(x * x + y * y); }

struct Direction {
  double x, y;
};

/// Hues and chromas of a pair with a' in place of a.
struct Hues {
  double c1, c2;      ///< C'
  double cross, dot;  ///< C1' C2' sin and cos of the angle from one to the other
  Direction u1, u2;   ///< of length 1, or 0 without chroma
};

Direction unit(double x, double y, double size) {
  return size > 0.0 ? Direction{x / size, y / size} : Direction{0.0, 0.0};
}

Hues hues(const Lab& one, const Lab& other) {
  const double mean = 0.5 * (length(one.a, one.b) + length(other.a, other.b));
  const double stretch = 1.5 - 0.5 * seventh_root_share(mean);
  const double a1 = stretch * one.a, a2 = stretch * other.a;
  const double c1 = length(a1, one.b), c2 = length(a2, other.b);
  return {c1,
          c2,
          a1 * other.b - a2 * one.b,
          a1 * a2 + one.b * other.b,
          unit(a1, one.b, c1),
          unit(a2, other.b, c2)};
}

/// Whether the second hue lies ahead of the first by less than half a turn, or by half a turn
/// exactly and has the larger angle of the two, 0 <= h < 360.
bool ahead(const Hues& h) {
  if (h.cross != 0.0) return h.cross > 0.0;
  return h.u1.y > 0.0 || (h.u1.y == 0.0 && h.u1.x > 0.0);
}

/// 2 sqrt(C1' C2') sin(dh / 2), by the form that does not cancel.
double hue_difference(const Hues& h, bool is_ahead) {
  const double product = h.c1 * h.c2;
  if (product == 0.0) return 0.0;
  if (h.dot > 0.0) return h.cross / std::sqrt(0.5 * (product + h.dot));
  const double size = std::sqrt(2.0 * (product - h.dot));
  return is_ahead ? size : -size;
}

/// Bisects the hues; by their sum, or by their difference where they are more than 90 degrees
/// apart.
Direction mean_hue(const Hues& h, bool is_ahead) {
  if (h.dot >= 0.0) {
    const double x = h.u1.x + h.u2.x, y = h.u1.y + h.u2.y;
    return unit(x, y, length(x, y));
  }
  const double sign = is_ahead ? 1.0 : -1.0;
  const double x = sign * (h.u2.y - h.u1.y), y = sign * (h.u1.x - h.u2.x);
  return unit(x, y, length(x, y));
}

/// T of the standard, with cos(2h + ...) and so on written out in cos h and sin h.
double hue_weight(Direction h) {
  static const double c30 = std::cos(30.0 * degree), s30 = std::sin(30.0 * degree);
  static const double c6 = std::cos(6.0 * degree), s6 = std::sin(6.0 * degree);
  static const double c63 = std::cos(63.0 * degree), s63 = std::sin(63.0 * degree);
  const double c1 = h.x, s1 = h.y;
  const double c2 = c1 * c1 - s1 * s1, s2 = 2.0 * s1 * c1;
  const double c3 = c2 * c1 - s2 * s1, s3 = s2 * c1 + c2 * s1;
  const double c4 = c2 * c2 - s2 * s2, s4 = 2.0 * s2 * c2;
  return 1.0 - 0.17 * (c1 * c30 + s1 * s30) + 0.24 * c2 + 0.32 * (c3 * c6 - s3 * s6) -
         0.20 * (c4 * c63 + s4 * s63);
}

/// The standard counts degrees from 275 without going round: a mean hue of 1 degree is 274 away,
/// one of 359 degrees 84, so the difference jumps there by up to 8e-6.
double rotation(Direction mean, double mean_chroma) {
  double hue = std::atan2(mean.y, mean.x) / degree;
  if (hue < 0.0) hue += 360.0;
  const double off = (hue - 275.0) / 25.0;
  const double angle = 60.0 * degree * std::exp(-off * off);
  return -2.0 * seventh_root_share(mean_chroma) * std::sin(angle);
}

}  // namespace

double difference_00(const Lab& one, const Lab& other) {
  const Hues h = hues(one, other);
  const bool is_ahead = ahead(h);
  const Direction mean = mean_hue(h, is_ahead);
  const double mean_chroma = 0.5 * (h.c1 + h.c2);
  const double from_grey = 0.5 * (one.l + other.l) - 50.0, squared = from_grey * from_grey;
  const double l = (other.l - one.l) / (1.0 + 0.015 * squared / std::sqrt(20.0 + squared));
  const double c = (h.c2 - h.c1) / (1.0 + 0.045 * mean_chroma);
  const double hue = hue_difference(h, is_ahead) / (1.0 + 0.015 * mean_chroma * hue_weight(mean));
  // Never below zero: the rotation is less than 2 in size.
  return std::sqrt(l * l + c * c + hue * hue + rotation(mean, mean_chroma) * c * hue);
}

}  // namespace vialwright::colour
