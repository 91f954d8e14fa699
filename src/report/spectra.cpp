/// Spectra split by component, and the large glass.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/colour_drawings.hpp"
#include "report/html.hpp"

namespace vialwright::report {
namespace {

constexpr double floor_y = 200.0, top_y = 8.0;
constexpr double thinnest =
    2.0;  ///< px, half the height of the band where doubt is too small to see
constexpr double half_95 = 1.959963984540054;

/// The next of 1, 2, 5 times a power of ten: as far as the scale goes.
double rounded_up(double value) {
  if (!(value > 0.0)) return 1.0;
  const double power = std::pow(10.0, std::floor(std::log10(value)));
  for (const double step : {1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0}) {
    if (value <= step * power) return step * power;
  }
  return 10.0 * power;
}

struct Frame {
  double from = 380.0, to = 780.0, most = 1.0;

  [[nodiscard]] double x(double nm) const { return 1000.0 * (nm - from) / (to - from); }
  [[nodiscard]] double y(double absorbance) const {
    return floor_y - (floor_y - top_y) * std::max(absorbance, 0.0) / most;
  }
};

Frame frame_of(const SpectraDrawn& drawn) {
  Frame frame;
  frame.from = drawn.nm.front();
  frame.to = drawn.nm.back();
  double most = 0.0;
  for (std::size_t i = 0; i < drawn.total.size(); ++i)
    most = std::max(most, drawn.total[i] + half_95 * drawn.u[i]);
  for (const auto& [nm, absorbance] : drawn.read) most = std::max(most, absorbance);
  frame.most = rounded_up(1.15 * most);  // room for the names
  return frame;
}

/// Half of the band's height at a node, px.
double half_height(const SpectraDrawn& drawn, const Frame& frame, std::size_t i, double share) {
  return share * std::max(half_95 * drawn.u[i] * (floor_y - top_y) / frame.most, thinnest);
}

std::string band(const SpectraDrawn& drawn, const Frame& frame, double share, double opacity) {
  std::string outline;
  const auto go_to = [&](std::size_t i, double side) {
    outline += fmt::format("{}{:.1f} {:.1f}", outline.empty() ? "M" : "L", frame.x(drawn.nm[i]),
                           frame.y(drawn.total[i]) + side * half_height(drawn, frame, i, share));
  };
  for (std::size_t i = 0; i < drawn.nm.size(); ++i) go_to(i, -1.0);
  for (std::size_t i = drawn.nm.size(); i-- > 0;) go_to(i, 1.0);
  return fmt::format("<path class=\"belief\" opacity=\"{}\" d=\"{}Z\"/>", opacity, outline);
}

const char* dashes(std::size_t part) {
  static constexpr const char* kinds[] = {"none", "8 4", "2 3", "12 3 2 3", "5 2", "1 4"};
  return kinds[part % std::size(kinds)];
}

std::string line_of(const SpectraDrawn& drawn, const Frame& frame, std::size_t part) {
  std::string path;
  for (std::size_t i = 0; i < drawn.nm.size(); ++i)
    path += fmt::format("{}{:.1f} {:.1f}", i == 0 ? "M" : "L", frame.x(drawn.nm[i]),
                        frame.y(drawn.parts[part].absorbance[i]));
  return fmt::format(
      "<path class=\"thin\" style=\"vector-effect:non-scaling-stroke\" stroke-dasharray=\"{}\" "
      "d=\"{}\"/>",
      dashes(part), path);
}

std::string beads(const SpectraDrawn& drawn, const Frame& frame) {
  std::string svg;
  for (const auto& [nm, absorbance] : drawn.read) {
    if (nm < frame.from || nm > frame.to) continue;
    svg += fmt::format("<circle class=\"ink\" cx=\"{:.1f}%\" cy=\"{:.1f}\" r=\"2.5\"/>",
                       frame.x(nm) / 10.0, frame.y(absorbance));
  }
  return svg;
}

/// Names stand at the peaks; where two would overlap, the later one goes below.
std::string names(const SpectraDrawn& drawn, const Frame& frame) {
  struct Place {
    double x, y;
  };
  std::vector<Place> taken;
  std::string svg;
  for (const SpectraDrawn::Part& part : drawn.parts) {
    const auto peak = std::ranges::max_element(part.absorbance);
    const auto at = static_cast<std::size_t>(peak - part.absorbance.begin());
    Place place{std::clamp(frame.x(drawn.nm[at]) / 10.0, 7.0, 93.0), frame.y(*peak) - 7.0};
    place.y = std::clamp(place.y, top_y + 14.0, floor_y - 6.0);
    const auto crowded = [&](const Place& other) {
      return std::abs(other.x - place.x) < 16.0 && std::abs(other.y - place.y) < 16.0;
    };
    for (int tries = 0; tries < 6 && std::ranges::any_of(taken, crowded); ++tries) {
      place.y += 16.0;
      if (place.y > floor_y - 6.0) place.y = top_y + 14.0;
    }
    taken.push_back(place);
    svg += fmt::format(
        "<text class=\"strong halo\" x=\"{:.1f}%\" y=\"{:.1f}\" text-anchor=\"middle\">{}</text>",
        place.x, place.y, escaped(part.name));
  }
  return svg;
}

std::string scales(const Frame& frame) {
  std::string svg;
  for (int nm = 400; nm <= 700; nm += 100) {
    const double x = frame.x(nm) / 10.0;
    if (x < 2.0 || x > 98.0) continue;
    svg += fmt::format(
        "<line class=\"axis\" x1=\"{0:.2f}%\" x2=\"{0:.2f}%\" y1=\"{1}\" y2=\"{2}\"/>"
        "<text class=\"n small\" x=\"{0:.2f}%\" y=\"{3}\" text-anchor=\"middle\">{4}"
        "</text>",
        x, floor_y, floor_y + 5.0, floor_y + 19.0, nm);
  }
  svg += fmt::format("<text class=\"n small\" x=\"100%\" y=\"{}\" text-anchor=\"end\">nm</text>",
                     floor_y + 19.0);
  for (const double share : {0.5, 1.0}) {
    const double y = frame.y(share * frame.most);
    svg += fmt::format(
        "<line class=\"axis\" x1=\"0\" x2=\"6\" y1=\"{0:.1f}\" y2=\"{0:.1f}\"/><text class=\"n "
        "small "
        "halo\" x=\"9\" y=\"{1:.1f}\">{2}{3}</text>",
        y, y + 5.0, quantity::shortest(share * frame.most), share == 1.0 ? " a cm" : "");
  }
  return svg;
}

std::string labelled(double height, const std::string& alternative) {
  return fmt::format(
      "<svg class=\"plot\" width=\"100%\" height=\"{}\" role=\"img\" "
      "aria-label=\"{}\">",
      height, escaped(alternative));
}

}  // namespace

std::string spectra_svg(const SpectraDrawn& drawn) {
  if (drawn.nm.size() < 2) return {};
  const Frame frame = frame_of(drawn);
  std::string lines;
  for (std::size_t part = 0; part < drawn.parts.size(); ++part)
    lines += line_of(drawn, frame, part);
  // Three bands within each other make a soft edge.
  const std::string soft =
      band(drawn, frame, 1.0, 0.25) + band(drawn, frame, 0.66, 0.4) + band(drawn, frame, 0.34, 0.8);
  return labelled(floor_y + 24.0, drawn.alternative) +
         fmt::format(
             "<rect class=\"may\" width=\"100%\" height=\"{0}\"/><svg width=\"100%\" "
             "height=\"{0}\" viewBox=\"0 0 1000 {0}\" preserveAspectRatio=\"none\">",
             floor_y) +
         soft + lines + "</svg>" +
         fmt::format("<line class=\"axis\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>", floor_y) +
         beads(drawn, frame) + names(drawn, frame) + scales(frame) + "</svg>";
}

std::string large_glass_svg(const LargeGlass& glass) {
  const double surface = 208.0 - 168.0 * std::clamp(glass.full, 0.0, 1.0);
  std::string liquid;
  if (glass.full > 0.0 && !glass.hex.empty())
    liquid = fmt::format(
        "<path fill=\"{0}\" d=\"M15 {1:.1f}V200A9 9 0 0 0 24 209H76A9 9 0 0 0 85 200V{1:.1f}Z\"/>",
        glass.hex, surface);
  if (glass.full > 0.0)
    liquid += fmt::format(
        "<path class=\"glassline\" style=\"stroke-width:1.5\" d=\"M15 {:.1f}H85\"/>", surface);
  return fmt::format(
             "<svg class=\"largeglass\" viewBox=\"0 0 100 216\" width=\"100\" height=\"216\" "
             "role=\"img\" aria-label=\"{}\">",
             escaped(glass.alternative)) +
         "<path class=\"liner\" d=\"M12 40V200A12 12 0 0 0 24 212H76A12 12 0 0 0 88 200V40Z\"/>" +
         liquid +
         "<path class=\"glassline\" d=\"M30 6V18C30 32 12 28 12 44V200A12 12 0 0 0 24 212H76A12 12 "
         "0 0 0 88 200V44C88 28 70 32 70 18V6M24 6H76\"/></svg>";
}

}  // namespace vialwright::report
