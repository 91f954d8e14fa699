// Readings of colour: do they fit the gauge that gave them, and what do the counts of a camera say?
#include <fmt/format.h>

#include <cmath>

#include "line/fold_workings.hpp"

namespace vialwright::line {
namespace {

using Gives = plant::ColourGauge::Gives;

// Common practice with linear cameras: above this share of full scale the sensor is no longer
// linear, and so few counts above the dark are mostly noise.
constexpr double clipped_share = 0.95;
constexpr double fewest_counts = 20.0;

std::string_view word(Gives gives) {
  switch (gives) {
    case Gives::spectrum:
      return "spectrum";
    case Gives::channels:
      return "channels";
    case Gives::lab:
      break;
  }
  return "lab";
}

Gives given_by(const event::ColourRead& data) {
  if (data.spectrum) return Gives::spectrum;
  return data.channels.empty() ? Gives::lab : Gives::channels;
}

/// Why a spectrum is not on the bands of its gauge; empty where it is.
std::string off_the_bands(const event::SpectrumData& seen, const colour::Grid& bands) {
  constexpr double slip_nm = 1e-6;  // of a unit converted
  const bool same = std::abs(seen.first_nm - bands.first) < slip_nm &&
                    std::abs(seen.step_nm - bands.step) < slip_nm &&
                    static_cast<int>(seen.values.size()) == bands.size();
  if (same) return "";
  return fmt::format("{} values from {} nm by {} nm, where the gauge has {} from {} nm by {} nm",
                     seen.values.size(), seen.first_nm, seen.step_nm, bands.size(), bands.first,
                     bands.step);
}

/// What in the event does not fit the gauge; empty where all does.
std::string misfit(const event::ColourRead& data, const plant::ColourGauge& gauge) {
  const Gives given = given_by(data);
  if (given != gauge.gives)
    return fmt::format("it gives '{}', where the gauge gives '{}'", word(given), word(gauge.gives));
  if (given == Gives::spectrum) return off_the_bands(*data.spectrum, gauge.bands);
  if (given == Gives::channels && data.channels.size() != gauge.channels.size())
    return fmt::format("{} channels, where the camera has {}", data.channels.size(),
                       gauge.channels.size());
  return "";
}

/// Why the counts of a channel say nothing; empty where they do.
std::string unusable(const event::ChannelData& channel, std::optional<double> full_scale) {
  const double most = full_scale ? clipped_share * *full_scale : plant::no_limit;
  if (channel.raw > most || channel.blank > most)
    return fmt::format("is clipped ({} counts, of {} at full scale)",
                       std::max(channel.raw, channel.blank), *full_scale);
  const auto dark = [&](double counts) { return !(counts - channel.dark >= fewest_counts); };
  if (dark(channel.blank))
    return fmt::format("saw no light through the blank ({} counts, {} in the dark)", channel.blank,
                       channel.dark);
  if (dark(channel.raw))
    return fmt::format("is dark ({} counts, {} without light)", channel.raw, channel.dark);
  return "";
}

void take_channels(const event::ColourRead& data, VialReading& into) {
  for (std::size_t i = 0; i < data.channels.size(); ++i) {
    const event::ChannelData& it = data.channels[i];
    const std::string wrong = unusable(it, data.full_scale);
    if (!wrong.empty()) {
      into.values.clear();
      into.unusable = fmt::format("channel {} {}", i + 1, wrong);
      return;
    }
    into.values.push_back(-std::log10((it.raw - it.dark) / (it.blank - it.dark)));
  }
}

/// A transmittance or an absorbance that no liquid has is a slip of the unit.
void take_spectrum(const event::SpectrumData& seen, const plant::ColourGauge& gauge,
                   VialReading& into) {
  constexpr double most_absorbance = 10.0, most_transmittance = 2.0;
  const double most = gauge.absorbance ? most_absorbance : most_transmittance;
  for (const double value : seen.values) {
    if (std::abs(value) <= most) continue;
    into.unusable = fmt::format("a band shows {}, which is no {}", value,
                                gauge.absorbance ? "absorbance" : "transmittance");
    return;
  }
  into.values = seen.values;
}

void take_lab(const std::array<double, 3>& lab, VialReading& into) {
  constexpr double most = 300.0;  // beyond every colour there is, noise included
  for (const double axis : lab) {
    if (std::abs(axis) <= most) continue;
    into.unusable = fmt::format("{} is no L*, a* or b*", axis);
    return;
  }
  into.values.assign(lab.begin(), lab.end());
}

/// Readings of one gauge in one session share a bias; one that names no session has its own.
int session_number(Workings& workings, const event::ColourRead& data) {
  if (data.session.empty()) return workings.next_session++;
  const auto [entry, is_new] =
      workings.sessions.try_emplace({data.instrument, data.session}, workings.next_session);
  if (is_new) ++workings.next_session;
  return entry->second;
}

}  // namespace

void take(Workings& workings, const Turn& turn, const event::ColourRead& data) {
  const auto found = instrument_for(workings, turn, data.instrument,
                                    plant::InstrumentKind::colour_gauge, "colour");
  if (!found) return;
  const auto& instrument = workings.state.plant.instruments[static_cast<std::size_t>(*found)];
  require(instrument.colour.has_value(), "a colour gauge says how it looks");
  if (const std::string wrong = misfit(data, *instrument.colour); !wrong.empty()) {
    unread(workings, turn,
           fmt::format("the colour by '{}' does not fit: {}", data.instrument, wrong),
           "correct what the line file says of the gauge, or the event");
    return;
  }
  VialReading reading;
  reading.kind = Weighed::colour;
  reading.instrument = *found;
  reading.session = data.session;
  reading.session_number = session_number(workings, data);
  reading.cloudy = data.cloudy;
  if (data.lab) take_lab(*data.lab, reading);
  if (data.spectrum) take_spectrum(*data.spectrum, *instrument.colour, reading);
  if (!data.channels.empty()) take_channels(data, reading);
  add_reading(workings, turn, std::move(reading), data.place);
}

}  // namespace vialwright::line
