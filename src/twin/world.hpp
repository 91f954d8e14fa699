/// One draw of every hidden error of a line: what no reading shows alone. Private.
///
/// At hardness 0 every error is Gaussian with the line file's own uncertainty and holds still for
/// the shift. With hardness the *form* departs (drift, gradients, heavy tails, response), while the
/// size stays what the line file promises: an honest file, a wrong model.
#pragma once

#include <cstdint>
#include <vector>

#include "plant/plant.hpp"
#include "recipe/recipe.hpp"
#include "twin/air.hpp"
#include "twin/optics.hpp"

namespace vialwright::twin {

/// A random walk through nodes five minutes apart, straight between them.
class Walk {
 public:
  Walk() = default;
  Walk(Random& random, double sd_per_sqrt_hour, double length_s);
  [[nodiscard]] double at(double t_s) const;

 private:
  std::vector<double> nodes_;
};

/// A gain that runs away from a moment on; the fault "drifting meter".
struct Ramp {
  double from_s = 0.0, per_s = 0.0;
  [[nodiscard]] double at(double t_s) const { return t_s > from_s ? (t_s - from_s) * per_s : 0.0; }
};

struct InstrumentTruth {
  double offset = 0.0, gain = 0.0, zero_rate = 0.0;
  double response_s = 0.0;  ///< first-order time constant of a meter
  Walk drift;               ///< of the offset
  Ramp runaway;             ///< of the gain
};

struct LotTruth {
  int stock = 0;                 ///< index into Book::stocks
  std::vector<double> mg_per_g;  ///< a component, when the lot is half used
  std::vector<double> gradient;  ///< from half used to empty, mg/g; the first draw has its opposite
  std::vector<Dye> dyes;         ///< a component
};

/// A colour gauge beside what its file says.
struct GaugeTruth {
  double path_score = 0.0;  ///< of its own cell
  double stray = 0.0;       ///< share of the light, in the middle of the range
  double shift_nm = 0.0;    ///< where it looks, less where it says so
  double aside = 0.0;       ///< of the vial's middle, inner radii
};

/// One stock at one station.
struct Nozzle {
  double bias = 0.0;          ///< of its doses, in units of the dose spread; constant in a shift
  double flow_g_per_s = 0.0;  ///< while the valve is open
  double wave_period_s = 1.0, wave_phase = 0.0;  ///< of the pressure behind it
};

struct World {
  double hardness = 0.0;
  std::uint64_t seed = 0;
  double length_s = 0.0;             ///< of the shift, for what drifts
  double dose_spread_factor = 1.0;   ///< of every station's spread over the line file's
  std::vector<double> fade_per_day;  ///< a component; empty = nothing fades
  Air air;
  std::vector<InstrumentTruth> instruments;
  std::vector<GaugeTruth> gauges;            ///< beside Plant::instruments
  std::vector<LotTruth> lots;                ///< those of the book, then lots nobody was told of
  std::vector<std::vector<Nozzle>> nozzles;  ///< [station][k], beside Station::stocks
  std::vector<double> density_g_per_ml;      ///< a stock, at 20 Cel
  std::vector<double> tare_shift_g;          ///< a container: the lot of glass
  std::vector<double> open_loss_g_per_h;     ///< a container, in a room at 20 Cel and 50 %
};

/// Parts of a variance that a container's line file gives as one number.
inline constexpr double shared_part = 0.6, own_part = 0.8;  // 0.36 + 0.64 = 1

/// @param length_s  of the shift; drift is drawn for this long.
[[nodiscard]] World draw_world(const plant::Plant& plant, const recipe::Book& book,
                               std::uint64_t seed, double hardness, double length_s);

/// Draws how fast each component fades in this world, by the book and its doubt.
void let_fade(const recipe::Book& book, std::uint64_t seed, World& world);

/// Strength of a lot after a part of it was used, 0 to 1. Never negative.
[[nodiscard]] double strength(const LotTruth& lot, std::size_t component, double used);

[[nodiscard]] constexpr std::size_t at(int index) { return static_cast<std::size_t>(index); }

}  // namespace vialwright::twin
