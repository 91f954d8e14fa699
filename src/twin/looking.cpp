#include "twin/looking.hpp"

#include <algorithm>
#include <cmath>

#include "twin/dosing.hpp"

namespace vialwright::twin {
namespace {

constexpr double session_s = 7200.0;
constexpr double finest_step = 1e-4;  ///< no gauge prints more, of absorbances and L* a* b* alike

double departs(const World& world) { return std::min(world.hardness, 1.0); }

// ---- the light that arrives --------------------------------------------------------------------

/// Over the chords of a round vial, as far as the gauge looks to either side.
Curve through_vial(const Curve& absorbance, double diameter_cm, double strip, double aside,
                   double hardness) {
  constexpr int chords = 12;
  if (strip <= 0.0 || absorbance.empty()) return transmittance(absorbance, diameter_cm);
  Curve sum;
  double all = 0.0;
  for (int k = 0; k < chords; ++k) {
    const double place = 2.0 * (k + 0.5) / chords - 1.0;  // -1 to 1 over the strip
    const double x = std::clamp(place * strip + aside, -0.999, 0.999);
    const double weight = 1.0 - 0.3 * hardness * place * place;
    add(sum, transmittance(absorbance, diameter_cm * std::sqrt(1.0 - x * x)), weight);
    all += weight;
  }
  for (double& value : sum) value /= all;
  return sum;
}

Curve arriving(const Look& look, const plant::ColourGauge& gauge, const plant::Container& container,
               const World& world) {
  const GaugeTruth& truth = world.gauges[at(look.instrument)];
  const double score = gauge.path_cm > 0.0 ? truth.path_score : look.path_score;
  const double factor = std::max(1.0 + gauge.u_path_rel * score, 0.1);
  Curve light = gauge.path_cm > 0.0
                    ? transmittance(look.absorbance, gauge.path_cm * factor)
                    : through_vial(look.absorbance, container.inner_diameter_mm / 10.0 * factor,
                                   gauge.strip_rel, departs(world) * truth.aside, departs(world));
  for (std::size_t n = 0; n < light.size(); ++n) {
    const double bluer = (560.0 - fine.at(static_cast<int>(n))) / 200.0;
    const double stray = truth.stray * std::max(1.0 + 0.3 * departs(world) * bluer, 0.0);
    light[n] = (light[n] + stray) / (1.0 + stray) + look.glare;
  }
  return light;
}

// ---- what a gauge makes of it ------------------------------------------------------------------

double absorbance(double light) { return -std::log10(std::max(light, 1e-6)); }

/// Weight of a band at a distance from its centre: a triangle, rounder with hardness; width is that
/// at half height.
double passes(double away_nm, double width_nm, double rounder) {
  const double triangle = std::max(1.0 - std::abs(away_nm) / width_nm, 0.0);
  const double round = std::exp(-4.0 * std::log(2.0) * std::pow(away_nm / width_nm, 2));
  return (1.0 - rounder) * triangle + rounder * round;
}

double band_mean(const Curve& light, double centre_nm, double width_nm, double rounder) {
  if (width_nm <= 0.0) return value_at(light, centre_nm);
  double sum = 0.0, all = 0.0;
  for (double away = -std::floor(1.5 * width_nm); away <= 1.5 * width_nm; away += 1.0) {
    const double weight = passes(away, width_nm, rounder);
    sum += weight * value_at(light, centre_nm + away);
    all += weight;
  }
  return sum / all;
}

std::vector<double> bands(const Curve& light, const plant::ColourGauge& gauge,
                          const GaugeTruth& truth, double rounder) {
  std::vector<double> values;
  for (int i = 0; i < gauge.bands.size(); ++i) {
    const double mean =
        band_mean(light, gauge.bands.at(i) + truth.shift_nm, gauge.bandwidth_nm, rounder);
    values.push_back(gauge.absorbance ? absorbance(mean) : mean);
  }
  return values;
}

Curve shifted(const Curve& light, double by_nm) {
  Curve moved(light.size());
  for (std::size_t n = 0; n < light.size(); ++n) {
    moved[n] = value_at(light, fine.at(static_cast<int>(n)) + by_nm);
  }
  return moved;
}

std::vector<double> channels(const Curve& light, const plant::ColourGauge& gauge,
                             const GaugeTruth& truth) {
  std::vector<double> values;
  for (const colour::Spectrum& channel : gauge.channels) {
    double sum = 0.0, all = 0.0;
    for (int n = 0; n < fine.size(); ++n) {
      const double nm = fine.at(n);
      if (nm < channel.nm.front() || nm > channel.nm.back()) continue;
      const double sees = colour::at(channel, nm);
      sum += sees * value_at(light, nm + truth.shift_nm);
      all += sees;
    }
    values.push_back(absorbance(sum / all));
  }
  return values;
}

std::vector<double> shown(const Curve& light, const plant::ColourGauge& gauge,
                          const GaugeTruth& truth, double rounder) {
  using Gives = plant::ColourGauge::Gives;
  if (gauge.gives == Gives::spectrum) return bands(light, gauge, truth, rounder);
  if (gauge.gives == Gives::channels) return channels(light, gauge, truth);
  const colour::Lab lab = looks(shifted(light, truth.shift_nm), gauge.observer, gauge.illuminant);
  return {lab.l, lab.a, lab.b};
}

// ---- bias and noise ----------------------------------------------------------------------------

/// One number for all bands, with hardness tilted along them.
void bias_bands(std::vector<double>& values, const plant::ColourGauge& gauge, double hardness,
                Random& random) {
  const double level = random.error(hardness), tilt = random.error(hardness);
  const double middle = static_cast<double>(values.size() - 1) / 2.0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double along = middle > 0.0 ? (static_cast<double>(i) - middle) / middle : 0.0;
    values[i] += gauge.u_session * (std::sqrt(1.0 - 0.1 * std::min(hardness, 1.0)) * level +
                                    0.3 * std::min(hardness, 1.0) * along * tilt);
  }
}

/// A constant of each axis; with hardness a part of it grows with the distance from clear solvent.
/// The two parts have the variance of the one where that distance is `usual`.
void bias_axes(std::vector<double>& values, const plant::ColourGauge& gauge, double hardness,
               Random& random) {
  const bool lab = gauge.gives == plant::ColourGauge::Gives::lab;
  const double usual = lab ? 40.0 : 0.5, part = 0.6 * std::min(hardness, 1.0);
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double clear = lab && i == 0 ? 100.0 : 0.0;
    const double offset = random.error(hardness), gain = random.error(hardness);
    values[i] += gauge.u_session * (std::sqrt(1.0 - part * part) * offset +
                                    part * gain * (values[i] - clear) / usual);
  }
}

/// Of unit variance each, any two correlated alike (not below -1 / (n - 1)).
std::vector<double> correlated(std::size_t count, double correlation, double hardness,
                               Random& random) {
  std::vector<double> scores;
  double mean = 0.0;
  for (std::size_t i = 0; i < count; ++i) {
    scores.push_back(random.error(hardness));
    mean += scores.back() / static_cast<double>(count);
  }
  const double apart = std::sqrt(1.0 - correlation);
  const double together =
      std::sqrt(std::max(1.0 + (static_cast<double>(count) - 1.0) * correlation, 0.0));
  for (double& score : scores) score = apart * (score - mean) + together * mean;
  return scores;
}

/// A band is the mean of many flashes, so it has no tails.
std::vector<double> of_bands(std::size_t count, Random& random) {
  std::vector<double> scores(count);
  for (double& score : scores) score = random.normal();
  return scores;
}

void disturb(std::vector<double>& values, const plant::Instrument& kind, const World& world,
             Random& random) {
  const plant::ColourGauge& gauge = *kind.colour;
  const auto scores =
      gauge.gives == plant::ColourGauge::Gives::spectrum
          ? of_bands(values.size(), random)
          : correlated(values.size(), gauge.axis_correlation, world.hardness, random);
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double sd = std::hypot(kind.repeatability, kind.repeatability_rel * values[i]);
    values[i] += sd * scores[i];
  }
}

/// A dark level of its own for each channel, and clear solvent well under full scale.
void count(ColourSeen& seen, Random& random) {
  for (double& value : seen.values) {
    const double dark = rounded(random.between(60.0, 68.0), 0.01);
    const double blank = rounded(random.between(0.80, 0.85) * full_scale, 0.01);
    const double raw = rounded(dark + (blank - dark) * std::pow(10.0, -value), 0.01);
    seen.dark.push_back(dark);
    seen.blank.push_back(blank);
    seen.raw.push_back(std::max(raw, dark + 0.01));
    value = -std::log10((seen.raw.back() - dark) / (blank - dark));
  }
}

}  // namespace

int session_at(double t_s) { return static_cast<int>(std::floor(t_s / session_s)); }

double path_score(const Body& body, const plant::Container& container,
                  const plant::ColourGauge& gauge) {
  if (!(gauge.u_path_rel > 0.0) || !(container.inner_diameter_mm > 0.0)) return 0.0;
  const double u_diameter_rel = container.u_inner_diameter_mm / container.inner_diameter_mm;
  const double part = std::min(u_diameter_rel / gauge.u_path_rel, 1.0);
  const double wider =
      container.u_inner_diameter_mm > 0.0
          ? (body.inner_diameter_mm - container.inner_diameter_mm) / container.u_inner_diameter_mm
          : 0.0;
  return part * wider + std::sqrt(1.0 - part * part) * body.glass_score;
}

ColourSeen looked_at(const Look& look, const plant::Plant& plant, const plant::Container& container,
                     const World& world, Random& random) {
  using Gives = plant::ColourGauge::Gives;
  const plant::Instrument& kind = plant.instruments[at(look.instrument)];
  require(kind.colour.has_value(), "a colour gauge says how it looks");
  const plant::ColourGauge& gauge = *kind.colour;
  const GaugeTruth& truth = world.gauges[at(look.instrument)];
  ColourSeen seen;
  seen.values = shown(arriving(look, gauge, container, world), gauge, truth, departs(world));
  Random session(world.seed, "session " + kind.id, static_cast<std::uint64_t>(look.session + 1000));
  const auto& bias = gauge.gives == Gives::spectrum ? bias_bands : bias_axes;
  bias(seen.values, gauge, world.hardness, session);
  disturb(seen.values, kind, world, random);
  const double step = kind.resolution > 0.0 ? kind.resolution : finest_step;
  for (double& value : seen.values) value = rounded(value, step);
  if (gauge.gives == Gives::channels) count(seen, random);
  return seen;
}

}  // namespace vialwright::twin
