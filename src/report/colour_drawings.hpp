/// Private to report: drawings about colour (docs/look.md). Data in, one <svg> out, so that any
/// page can use them. No liquid colour outside a glass: spectra and maps are ink.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "report/drawing.hpp"

namespace vialwright::report {

/// The vial large, liquid in its estimated colour; `hex` empty: its surface only.
struct LargeGlass {
  double full = 0.0;  ///< share of the brim, 0..1
  std::string hex;
  std::string alternative;
};
[[nodiscard]] std::string large_glass_svg(const LargeGlass& glass);

/// What the liquid absorbs in a layer of 1 cm, split by component, and what was read.
struct SpectraDrawn {
  struct Part {
    std::string name;
    std::vector<double> absorbance;  ///< beside `nm`
  };
  std::vector<double> nm;                       ///< rising
  std::vector<Part> parts;                      ///< thin lines, each named at its peak
  std::vector<double> total, u;                 ///< beside `nm`; drawn as a soft band, 95 % of it
  std::vector<std::pair<double, double>> read;  ///< nm and absorbance: beads
  std::string alternative;
};
[[nodiscard]] std::string spectra_svg(const SpectraDrawn& drawn);

/// What a vial can still become, seen in two components. Clear: reached by adding. Hatched: not.
struct ReachDrawn {
  using Point = std::pair<double, double>;
  std::string x_name, y_name, unit;
  double x_from = 0.0, x_to = 1.0, y_from = 0.0, y_to = 1.0;  ///< what the drawing shows
  Point now;
  double u_x = 0.0, u_y = 0.0;
  /// Where the corner of what can be reached lies once so much has been added; the last is the
  /// wall.
  struct Room {
    double grams = 0.0;
    Point corner;
  };
  std::vector<Room> rooms;
  struct Target {
    std::string letter;
    std::vector<Point> outline;  ///< closed; a box, or what looks alike where colour is wanted
    bool reached = true;         ///< else its outline is broken
  };
  std::vector<Target> targets;
  std::vector<Point> path;  ///< the top-up from now on, dose by dose; may be empty
  std::string alternative;
};
[[nodiscard]] std::string reach_svg(const ReachDrawn& drawn);

/// CIEDE2000 to a target: no bell, for a difference is never below zero. As channel_svg, with the
/// mound from `density` (any scale) at equal steps from 0 to `density_to`.
struct DifferenceDrawn {
  double limit = 1.0;
  double mean = 0.0, low = 0.0, high = 0.0;  ///< of the difference; 95 %
  std::vector<double> density;
  double density_to = 1.0;
  bool binds = false;
  double clear = narrow_clear;  ///< hundredths of the width
  std::string alternative;
};
[[nodiscard]] std::string difference_svg(const DifferenceDrawn& drawn);

}  // namespace vialwright::report
