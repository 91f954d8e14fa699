/// What colour gauges say of a vial. Private.
///
/// The estimator averages over chords of an even strip, takes triangular bands, a stray light that
/// is one number, and a bias that is one constant a session. Here the strip stands a little aside
/// and fades towards its edges, bands are rounder and shifted, stray light rises towards the blue,
/// and a session stretches what it shows.
#pragma once

#include <cstdint>

#include "twin/body.hpp"

namespace vialwright::twin {

/// What a colour gauge shows, as its ColourGauge says: bands, L* a* b*, or channel absorbances.
struct ColourSeen {
  std::vector<double> values;
  std::vector<double> raw, dark, blank;  ///< counts, of channels
};

inline constexpr double full_scale = 4095.0;  ///< counts, twelve bits

/// One look.
struct Look {
  int instrument = 0;
  int session = 0;
  double glare = 0.0;       ///< light that comes from elsewhere, of that through clear solvent
  const Curve& absorbance;  ///< of what stands before the gauge, 1/cm
  double path_score = 0.0;  ///< of the vial's glass, standard score
};

/// Light of a session, two hours long; its bias is drawn from the seed and the session alone.
[[nodiscard]] int session_at(double t_s);

[[nodiscard]] ColourSeen looked_at(const Look& look, const plant::Plant& plant,
                                   const plant::Container& container, const World& world,
                                   Random& random);

/// How far the path through this vial is off, standard score: its diameter's part as far as that
/// goes, the glass's own for the rest.
[[nodiscard]] double path_score(const Body& body, const plant::Container& container,
                                const plant::ColourGauge& gauge);

}  // namespace vialwright::twin
