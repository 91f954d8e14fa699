/// The paths that light takes through a vial or cell. Private to this module.
#pragma once

#include <vector>

namespace vialwright::mixing {

/// A share of the light that crosses so much liquid; the shares sum to 1.
struct Chord {
  double length_cm = 0.0, share = 0.0;
};

/// Through the central strip of a round vial. @param strip_rel  0..1; 0 is the axis alone.
[[nodiscard]] std::vector<Chord> chords(double diameter_cm, double strip_rel);

/// Gauss-Legendre rule on 0..1.
struct Node {
  double at = 0.0, weight = 0.0;
};
[[nodiscard]] std::vector<Node> gauss_legendre(int nodes);

}  // namespace vialwright::mixing
