/// The channel: a tolerance line and the belief about it.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/drawing.hpp"
#include "report/html.hpp"

namespace vialwright::report {
namespace {

constexpr double floor_y = 36.0;  ///< the mound stands on it, px
constexpr double thinnest = 2.5;  ///< sd of a mound, thousandths: never thinner than a few px
constexpr double wall = 8.0;      ///< where zero stands when there is only an upper limit
constexpr double half_95 = 1.959963984540054;

double shown(double place) { return std::clamp(std::round(place * 100.0) / 100.0, 0.0, 100.0); }

std::string stroke(const char* kind, double place, double from_y, double to_y) {
  return fmt::format("<line class=\"{0}\" x1=\"{1}%\" x2=\"{1}%\" y1=\"{2}\" y2=\"{3}\"/>", kind,
                     shown(place), from_y, to_y);
}

std::string field(const char* kind, double from, double to) {
  if (!(shown(to) > shown(from))) return {};
  return fmt::format("<rect class=\"{}\" x=\"{}%\" width=\"{:.2f}%\" height=\"{}\"/>", kind,
                     shown(from), shown(to) - shown(from), floor_y);
}

std::string fields(const Lane& lane) {
  const double left = lane.has_low ? 0.0 : wall;
  std::string svg = field("may", lane.clear_from, lane.clear_to);
  if (lane.has_low) svg += field("not", left, lane.clear_from);
  if (lane.has_high) svg += field("not", lane.clear_to, 100.0);
  return svg;
}

/// A bell between two edges, in thousandths of the width, standing on the floor.
struct Bell {
  double mean, sd;

  [[nodiscard]] double height(double x) const {
    const double z = (x - mean) / sd;
    return floor_y - 0.84 * floor_y * std::exp(-0.5 * z * z);
  }

  [[nodiscard]] std::string part(const char* kind, double from, double to) const {
    const double begin = std::max({from, mean - 4.0 * sd, 0.0});
    const double end = std::min({to, mean + 4.0 * sd, 1000.0});
    if (!(end > begin)) return {};
    constexpr int steps = 32;
    std::string path = fmt::format("M{:.1f} {}", begin, floor_y);
    for (int i = 0; i <= steps; ++i) {
      const double x = begin + (end - begin) * i / steps;
      path += fmt::format("L{:.1f} {:.1f}", x, height(x));
    }
    return fmt::format("<path class=\"{}\" d=\"{}L{:.1f} {}Z\"/>", kind, path, end, floor_y);
  }
};

std::string mound(const Channel& channel, const Lane& lane) {
  const double sd = std::max(std::abs(lane.per_unit) * channel.u * 10.0, thinnest);
  const Bell bell{lane.place(channel.value) * 10.0, sd};
  const double from = lane.clear_from * 10.0, to = lane.clear_to * 10.0;
  return fmt::format(
             "<svg width=\"100%\" height=\"{0}\" viewBox=\"0 0 1000 {0}\" "
             "preserveAspectRatio=\"none\">",
             floor_y) +
         (lane.has_low ? bell.part("spill", 0.0, from) : std::string()) +
         bell.part("belief", from, to) +
         (lane.has_high ? bell.part("spill", to, 1000.0) : std::string()) + "</svg>";
}

/// The belief lies beyond the drawing: an arrow at the edge; the number stands beside it.
std::string arrow(bool beyond_right) {
  return fmt::format("<svg x=\"{}\" width=\"1\" height=\"36\"><path class=\"ink\" d=\"{}\"/></svg>",
                     beyond_right ? "100%" : "0%",
                     beyond_right ? "M-14 8L-1 18L-14 28Z" : "M14 8L1 18L14 28Z");
}

std::string span(const Channel& channel, const Lane& lane) {
  const double reach = half_95 * channel.u;
  const double from = lane.place(channel.value - reach), to = lane.place(channel.value + reach);
  if (to < 0.0 || from > 100.0) return arrow(from > 100.0);
  std::string svg = fmt::format("<line class=\"span\" x1=\"{}%\" x2=\"{}%\" y1=\"41\" y2=\"41\"/>",
                                shown(from), shown(to));
  const double mean = lane.place(channel.value);
  if (mean >= 0.0 && mean <= 100.0) return svg + stroke("mean", mean, 32.0, 49.0);
  return svg + arrow(mean > 100.0);
}

std::string limits_of(const Channel& channel, const Lane& lane) {
  const recipe::Tolerance& line = channel.tolerance;
  const bool high_binds =
      !lane.has_low || (lane.has_high && line.high - channel.value < channel.value - line.low);
  std::string svg;
  const auto kind = [&](bool this_one) { return channel.binds && this_one ? "binds" : "limit"; };
  if (lane.has_low) svg += stroke(kind(!high_binds), lane.clear_from, 0.0, floor_y);
  if (lane.has_high) svg += stroke(kind(high_binds), lane.clear_to, 0.0, floor_y);
  if (!lane.has_low) svg += stroke("thin", wall, 0.0, floor_y);
  return svg;
}

std::string notch(const Channel& channel, const Lane& lane) {
  const bool on_a_limit = channel.tolerance.target <= channel.tolerance.low ||
                          channel.tolerance.target >= channel.tolerance.high ||
                          (!lane.has_low && channel.tolerance.target == 0.0);
  if (on_a_limit) return {};
  return fmt::format(
      "<svg x=\"{}%\" width=\"1\" height=\"36\"><path class=\"target\" "
      "d=\"M-6 0H6L0 8Z\"/></svg>",
      shown(lane.place(channel.tolerance.target)));
}

std::string opened(double height, const std::string& alternative) {
  return fmt::format("<svg width=\"100%\" height=\"{}\" role=\"img\" aria-label=\"{}\">", height,
                     escaped(alternative));
}

/// A broken line in the shape of a mound: an explanation that stands, not a belief.
std::string broken_mound(double place) {
  const double x = std::clamp(place, 4.0, 96.0) * 10.0;
  return fmt::format(
      "<path class=\"inkline\" style=\"vector-effect:non-scaling-stroke\" "
      "stroke-dasharray=\"5 4\" "
      "d=\"M{:.0f} 36C{:.0f} 36 {:.0f} 6 {:.0f} 6S{:.0f} 36 {:.0f} 36\"/>",
      x - 40.0, x - 16.0, x - 20.0, x, x + 16.0, x + 40.0);
}

std::string number_at(double place, int number) {
  return fmt::format(
      "<text class=\"strong halo\" x=\"{:.2f}%\" y=\"31\" text-anchor=\"middle\">{}"
      "</text>",
      std::clamp(place, 4.0, 96.0), number);
}

}  // namespace

Lane lane_of(const recipe::Tolerance& tolerance, double clear) {
  Lane lane;
  lane.has_low = std::isfinite(tolerance.low);
  lane.has_high = std::isfinite(tolerance.high);
  const auto positive = [](double value) { return value > 0.0 ? value : 1e-9; };
  if (lane.has_low && lane.has_high) {
    const double middle = (tolerance.low + tolerance.high) / 2.0;
    lane.per_unit = clear / positive(tolerance.high - tolerance.low);
    lane.at_zero = 50.0 - lane.per_unit * middle;
    lane.clear_from = 50.0 - clear / 2.0;
    lane.clear_to = 50.0 + clear / 2.0;
  } else if (lane.has_high) {
    lane.per_unit = clear / positive(tolerance.high);
    lane.at_zero = lane.clear_from = wall;
    lane.clear_to = wall + clear;
  } else if (lane.has_low) {
    const double above = tolerance.target - tolerance.low;
    lane.clear_from = 50.0 - clear / 2.0;
    lane.per_unit = clear / 2.0 / positive(above > 0.0 ? above : std::abs(tolerance.low));
    lane.at_zero = lane.clear_from - lane.per_unit * tolerance.low;
  }
  return lane;
}

std::string channel_svg(const Channel& channel) {
  const Lane lane = lane_of(channel.tolerance, channel.clear);
  return opened(50.0, channel.alternative) + fields(lane) + mound(channel, lane) +
         limits_of(channel, lane) + notch(channel, lane) +
         "<line class=\"axis\" x1=\"0%\" x2=\"100%\" y1=\"36\" y2=\"36\"/>" + span(channel, lane) +
         "</svg>";
}

std::string cannot_tell_svg(const recipe::Tolerance& net_mass,
                            const std::vector<contents::Explanation>& explanations,
                            const std::string& alternative) {
  const Lane lane = lane_of(net_mass, narrow_clear);
  std::string mounds, numbers;
  for (std::size_t i = 0; i < explanations.size(); ++i) {
    const double place = lane.place(explanations[i].net_g);
    mounds += broken_mound(place);
    numbers += number_at(place, static_cast<int>(i) + 1);
  }
  Channel plain;
  plain.tolerance = net_mass;
  return opened(42.0, alternative) + fields(lane) + limits_of(plain, lane) +
         "<svg width=\"100%\" height=\"36\" viewBox=\"0 0 1000 36\" preserveAspectRatio=\"none\">" +
         mounds + "</svg>" + numbers +
         "<line class=\"axis\" x1=\"0%\" x2=\"100%\" y1=\"36\" y2=\"36\"/></svg>";
}

std::string no_belief_svg(const std::string& words) {
  return opened(40.0, words + ": no belief is drawn") +
         "<rect class=\"not\" width=\"100%\" height=\"36\"/>"
         "<rect class=\"may\" x=\"35%\" width=\"30%\" height=\"36\"/>"
         "<text class=\"strong\" x=\"50%\" y=\"23\" text-anchor=\"middle\">" +
         escaped(words) + "</text></svg>";
}

}  // namespace vialwright::report
