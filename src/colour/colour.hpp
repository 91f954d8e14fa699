/// Colour science: spectra, observers and illuminants, CIELAB, differences, colours for a display.
/// Wavelengths in nm. Nothing here knows of vials.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "quantity/quantity.hpp"

namespace vialwright::colour {

// ---- spectra -------------------------------------------------------------------------------

/// Values at wavelengths, strictly increasing; the steps may differ.
struct Spectrum {
  std::vector<double> nm, value;
  bool operator==(const Spectrum&) const = default;
};

/// Wavelengths first, first + step, ... , at most last.
struct Grid {
  double first = 380.0, last = 780.0, step = 5.0;
  [[nodiscard]] int size() const;
  [[nodiscard]] double at(int i) const { return first + step * i; }
  bool operator==(const Grid&) const = default;
};

/// Between the nodes: `linear` (as CIE 15 states for tables of illuminants), `smooth` (monotone
/// cubic: no overshoot, so an absorptivity stays >= 0). Outside the range the nearest value holds,
/// as CIE 15:2018, 7.2.3 recommends.
enum class Between { linear, smooth };
[[nodiscard]] double at(const Spectrum& spectrum, double nm, Between between = Between::smooth);
[[nodiscard]] std::vector<double> on(const Spectrum& spectrum, const Grid& grid,
                                     Between between = Between::smooth);
/// Everything wrong with it: too few nodes, an order that does not rise, values that are not
/// finite.
[[nodiscard]] Problems problems(const Spectrum& spectrum, std::string_view where);

// ---- observers, illuminants, tristimulus values ---------------------------------------------

enum class Observer { cie1931, cie1964 };  ///< 2 and 10 degrees
enum class Illuminant { a, d50, d65 };
[[nodiscard]] std::string_view word(Observer observer);      ///< "2", "10"
[[nodiscard]] std::string_view word(Illuminant illuminant);  ///< "A", "D50", "D65"
[[nodiscard]] std::optional<Observer> observer(std::string_view word);
[[nodiscard]] std::optional<Illuminant> illuminant(std::string_view word);

/// Relative spectral power, 100 at 560 nm, 5 nm (table of CIE 15:2018, in data/).
[[nodiscard]] const Spectrum& power(Illuminant illuminant);

struct Xyz {
  double x = 0.0, y = 0.0, z = 0.0;
  bool operator==(const Xyz&) const = default;
};
struct Lab {
  double l = 0.0, a = 0.0, b = 0.0;
  bool operator==(const Lab&) const = default;
};
struct Lch {
  double l = 0.0, c = 0.0, h = 0.0;  ///< h in degrees, 0 <= h < 360; 0 where c is 0
};

/// X = sum_i x_i T_i and so on: the products of illuminant, observer and step, scaled so that a
/// perfect transmitter has Y = 100. `white` are their unrounded sums.
struct Weights {
  Grid grid;
  std::vector<double> x, y, z;  ///< (grid.size())
  Xyz white;
};
/// By summation on the grid (CIE 15:2018, 7.1), 5 nm from 380 to 780 unless told otherwise.
[[nodiscard]] Weights weights(Observer observer, const Spectrum& illuminant, const Grid& grid = {});
/// The same for a standard illuminant on the standard grid; computed once.
[[nodiscard]] const Weights& weights(Observer observer, Illuminant illuminant);

/// @param factor  transmittance or reflectance factor on the grid of the weights, 0..1.
[[nodiscard]] Xyz xyz(std::span<const double> factor, const Weights& weights);

/// CIELAB (ISO/CIE 11664-4). The linear part below (6/29)^3 goes on through zero.
[[nodiscard]] Lab lab(const Xyz& xyz, const Xyz& white);
/// The same with d(L, a, b)/d(X, Y, Z).
[[nodiscard]] Lab lab(const Xyz& xyz, const Xyz& white, Eigen::Matrix3d& gradient);
[[nodiscard]] Xyz xyz(const Lab& lab, const Xyz& white);
[[nodiscard]] Lch lch(const Lab& lab);

// ---- differences ---------------------------------------------------------------------------

/// Euclid in CIELAB (CIE 1976).
[[nodiscard]] double difference_76(const Lab& one, const Lab& other);
/// CIEDE2000 (ISO/CIE 11664-6), kL = kC = kH = 1. Meant for small differences (up to about 5). It
/// jumps where the two hues are opposite (by tens between strong colours) and, by up to 1e-5, where
/// the mean hue is 0. Which side a pair of opposites takes is decided by exact signs. Symmetric to
/// the last bit; NaN in, NaN out.
/// Source: Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21.
[[nodiscard]] double difference_00(const Lab& one, const Lab& other);

/// Many colours, one array a coordinate.
struct Labs {
  std::span<const double> l, a, b;
};
/// CIEDE2000 of many colours against one, and pair by pair: the answers of one by one to 1e-11,
/// opposite hues too. NaN in, NaN out. Dispatches at run time to the widest vectors; every
/// instruction set gives the same bits.
void difference_00(const Labs& colours, const Lab& to, std::span<double> difference);
void difference_00(const Labs& ones, const Labs& others, std::span<double> difference);
/// CIELAB of many tristimulus values (x, y, z arrays), in place allowed.
void lab(std::span<const double> x, std::span<const double> y, std::span<const double> z,
         const Xyz& white, std::span<double> l, std::span<double> a, std::span<double> b);

// ---- for a display -------------------------------------------------------------------------

/// sRGB (IEC 61966-2-1), D65. A colour outside is brought in by less chroma at the same lightness
/// and hue, and says so.
struct Display {
  std::uint8_t red = 255, green = 255, blue = 255;
  bool displayable = true;
  [[nodiscard]] std::string hex() const;  ///< "#rrggbb"
};
/// @param white  of the viewing that gave the colour; other whites than D65 are adapted (Bradford).
[[nodiscard]] Display display(const Lab& lab, const Xyz& white);

}  // namespace vialwright::colour
