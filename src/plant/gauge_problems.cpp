#include "plant/gauge_problems.hpp"

#include <algorithm>

namespace vialwright::plant {
namespace {

// Beyond these ends no absorptivity is known (recipe::Component), nm.
constexpr double shortest_nm = 380.0, longest_nm = 780.0;

void check_bands(Checks& checks, const ColourGauge& gauge) {
  constexpr int most = 401;  // one a nanometre
  const colour::Grid& it = gauge.bands;
  const std::string written =
      quantity::shortest(it.first) + " to " + quantity::shortest(it.last) + " nm";
  if (!(it.first >= shortest_nm && it.last <= longest_nm && it.first < it.last))
    checks.wrong("bands", "bands from " + written + " are not in their range",
                 "give a range from " + quantity::shortest(shortest_nm) + " to " +
                     quantity::shortest(longest_nm) + " nm at most, the shorter one first");
  else if (!(it.step > 0.0) || it.size() < 2 || it.size() > most)
    checks.wrong("bands",
                 "a step of " + quantity::shortest(it.step) + " nm does not divide " + written +
                     " into 2 to " + std::to_string(most) + " bands",
                 "write bands such as \"400 to 700 by 10 nm\"");
  checks.between("bandwidth", gauge.bandwidth_nm, 0.0, 100.0, "nm");
}

void check_channels(Checks& checks, const ColourGauge& gauge) {
  constexpr std::size_t most = 32;
  if (gauge.channels.empty() || gauge.channels.size() > most) {
    checks.wrong("channels",
                 "the camera has " + std::to_string(gauge.channels.size()) +
                     " channels, not 1 to " + std::to_string(most),
                 "name the columns of the table of spectra that hold what each channel sees: "
                 "sensitivity times the light");
    return;
  }
  for (std::size_t i = 0; i < gauge.channels.size(); ++i) {
    const colour::Spectrum& it = gauge.channels[i];
    const std::string channel = "channel " + std::to_string(i + 1);
    const Problems of_spectrum = colour::problems(it, "");
    for (const Error& each : of_spectrum)
      checks.wrong("channels", channel + ": " + each.what, each.mend);
    if (!of_spectrum.empty()) continue;
    const auto [low, high] = std::ranges::minmax(it.value);
    if (low < 0.0 || !(high > 0.0))
      checks.wrong(
          "channels", channel + " sees nothing, or less than nothing somewhere",
          "give its sensitivity times the light: 0 or more everywhere, and more somewhere");
  }
}

void check_path(Checks& checks, const ColourGauge& gauge) {
  constexpr double longest_cm = 100.0;
  checks.between("cell", gauge.path_cm, 0.0, longest_cm, "cm");
  checks.between("strip", gauge.strip_rel, 0.0, 1.0, "");
  if (gauge.path_cm > 0.0 && gauge.strip_rel > 0.0)
    checks.wrong("strip", "a flat cell is as thick everywhere, so it has no strip",
                 "delete the key, or delete cell if the gauge looks through the vial");
  checks.between("u_path", gauge.u_path_rel, 0.0, 0.5, "");
  checks.between("stray_light", gauge.stray_light, 0.0, 0.5, "");
  checks.between("u of stray_light", gauge.u_stray_light, 0.0, 0.5, "");
}

/// Noise that is equally correlated between n axes is possible down to -1 / (n - 1).
void check_axes(Checks& checks, const ColourGauge& gauge) {
  const bool spectrum = gauge.gives == ColourGauge::Gives::spectrum;
  if (spectrum && gauge.axis_correlation != 0.0) {
    checks.wrong("axis_correlation", "it is between L*, a*, b* or channels, not bands",
                 "delete the key: what all bands share goes under u_session");
    return;
  }
  const auto channels = static_cast<double>(std::max<std::size_t>(gauge.channels.size(), 2));
  const double least =
      gauge.gives == ColourGauge::Gives::lab ? -0.49 : std::max(-0.99, 0.01 - 1.0 / (channels - 1));
  checks.between("axis_correlation", gauge.axis_correlation, least, 0.99, "");
}

}  // namespace

void check_colour_gauge(Checks& checks, const Instrument& it) {
  if (it.kind != InstrumentKind::colour_gauge) {
    if (it.colour)
      checks.wrong("gives", "a " + std::string(word(it.kind)) + " sees no colour",
                   "delete the keys of a colour gauge, or correct the kind");
    return;
  }
  if (!it.colour) {
    checks.wrong(
        "gives", "the colour gauge does not say what it gives",
        "add gives = \"lab\", \"spectrum\" or \"channels\", and how it looks (cell, strip, "
        "illuminant, bands: docs/formats.md)");
    return;
  }
  if (it.repeatability == 0.0 && it.repeatability_rel == 0.0)
    checks.wrong("repeatability", "by its description the instrument never errs",
                 "give the standard deviation of one reading, such as repeatability = \"0.3\" in "
                 "units of L*, a*, b*, or \"0.002\" of transmittance");
  checks.not_negative("u_session", it.colour->u_session, "");
  check_path(checks, *it.colour);
  check_axes(checks, *it.colour);
  if (it.colour->gives == ColourGauge::Gives::spectrum) check_bands(checks, *it.colour);
  if (it.colour->gives == ColourGauge::Gives::channels) check_channels(checks, *it.colour);
}

bool vial_is_looked_through(const Plant& plant) {
  return std::ranges::any_of(plant.instruments, [](const Instrument& it) {
    return it.colour && it.colour->path_cm == 0.0;
  });
}

}  // namespace vialwright::plant
