/// The reach: what a vial can still become; and the channel of a colour difference.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/colour_drawings.hpp"
#include "report/html.hpp"

namespace vialwright::report {
namespace {

constexpr double height = 320.0;
using Point = ReachDrawn::Point;

struct Map {
  const ReachDrawn& drawn;

  /// Hundredths of the width.
  [[nodiscard]] double x(double value) const {
    return std::clamp(100.0 * (value - drawn.x_from) / (drawn.x_to - drawn.x_from), -5.0, 105.0);
  }
  /// px from the top
  [[nodiscard]] double y(double value) const {
    return std::clamp(height * (1.0 - (value - drawn.y_from) / (drawn.y_to - drawn.y_from)), -20.0,
                      height + 20.0);
  }
};

std::string segment(const char* kind, const Map& map, Point from, Point to, const char* more = "") {
  return fmt::format(
      "<line class=\"{}\"{} x1=\"{:.2f}%\" y1=\"{:.1f}\" x2=\"{:.2f}%\" y2=\"{:.1f}\"/>", kind,
      more, map.x(from.first), map.y(from.second), map.x(to.first), map.y(to.second));
}

std::string reached(const Map& map) {
  const Point corner = map.drawn.rooms.empty() ? map.drawn.now : map.drawn.rooms.back().corner;
  const double x = std::max(map.x(corner.first), 0.0);
  const double y = std::clamp(map.y(corner.second), 0.0, height);
  return fmt::format(
      "<rect class=\"not\" width=\"100%\" height=\"{}\"/><rect class=\"may\" "
      "x=\"{:.2f}%\" width=\"{:.2f}%\" height=\"{:.1f}\"/>",
      height, x, std::max(100.0 - x, 0.0), y);
}

/// Lines of equal room: to their right and above lies what so many grams can reach.
std::string rooms(const Map& map) {
  std::string svg;
  for (std::size_t i = 0; i < map.drawn.rooms.size(); ++i) {
    const ReachDrawn::Room& room = map.drawn.rooms[i];
    const bool wall = i + 1 == map.drawn.rooms.size();
    const char* kind = wall ? "binds" : "thin";
    svg += segment(kind, map, {room.corner.first, map.drawn.y_to}, room.corner) +
           segment(kind, map, room.corner, {map.drawn.x_to, room.corner.second}) +
           fmt::format(
               "<text class=\"n small halo\" x=\"99.5%\" y=\"{:.1f}\" text-anchor=\"end\">{} g"
               "{}</text>",
               map.y(room.corner.second) + (wall ? 18.0 : -5.0),
               quantity::shortest(std::round(room.grams * 10.0) / 10.0),
               wall ? ", no room for more" : "");
  }
  return svg;
}

/// Corners in hundredths of the width cannot stand in a path, so outlines go into a stretched one.
std::string outline(const Map& map, const ReachDrawn::Target& target) {
  std::string path;
  for (std::size_t i = 0; i < target.outline.size(); ++i)
    path += fmt::format("{}{:.1f} {:.1f}", i == 0 ? "M" : "L",
                        10.0 * map.x(target.outline[i].first), map.y(target.outline[i].second));
  return fmt::format(
      "<path class=\"inkline\" style=\"vector-effect:non-scaling-stroke\"{} d=\"{}Z\"/>",
      target.reached ? "" : " stroke-dasharray=\"5 4\"", path);
}

Point middle_of(const std::vector<Point>& outline) {
  Point sum{0.0, 0.0};
  for (const Point& each : outline) {
    sum.first += each.first / static_cast<double>(outline.size());
    sum.second += each.second / static_cast<double>(outline.size());
  }
  return sum;
}

std::string letter(const Map& map, const ReachDrawn::Target& target) {
  const Point at = middle_of(target.outline);
  return fmt::format(
      "<text class=\"strong halo\" x=\"{:.2f}%\" y=\"{:.1f}\" text-anchor=\"middle\">{}"
      "</text>",
      std::clamp(map.x(at.first), 2.0, 98.0),
      std::clamp(map.y(at.second) + 5.0, 14.0, height - 4.0), escaped(target.letter));
}

/// Soft: three ellipses, each inside the next; never smaller than can be seen.
std::string blob(const Map& map) {
  const double wide = std::max(100.0 * map.drawn.u_x / (map.drawn.x_to - map.drawn.x_from), 0.35);
  const double tall = std::max(height * map.drawn.u_y / (map.drawn.y_to - map.drawn.y_from), 1.8);
  std::string svg;
  for (const auto& [size, opacity] : {std::pair{2.45, 0.3}, {1.8, 0.45}, {1.0, 0.9}})
    svg += fmt::format(
        "<ellipse class=\"belief\" opacity=\"{}\" cx=\"{:.2f}%\" cy=\"{:.1f}\" "
        "rx=\"{:.2f}%\" ry=\"{:.1f}\"/>",
        opacity, map.x(map.drawn.now.first), map.y(map.drawn.now.second), size * wide, size * tall);
  return svg + fmt::format("<text class=\"strong halo\" x=\"{:.2f}%\" y=\"{:.1f}\">now</text>",
                           std::min(map.x(map.drawn.now.first) + 2.6 * wide + 0.6, 94.0),
                           std::max(map.y(map.drawn.now.second) - 2.6 * tall - 4.0, 14.0));
}

std::string path(const Map& map) {
  std::string svg;
  Point from = map.drawn.now;
  for (const Point& to : map.drawn.path) {
    svg += segment("inkline", map, from, to, " style=\"stroke-width:3\"") +
           fmt::format("<circle class=\"ink\" cx=\"{:.2f}%\" cy=\"{:.1f}\" r=\"4.5\"/>",
                       map.x(to.first), map.y(to.second));
    from = to;
  }
  return svg;
}

/// Some four round numbers between two, not too near the ends.
std::vector<double> round_steps(double from, double to) {
  const double rough = (to - from) / 4.0;
  const double power = std::pow(10.0, std::floor(std::log10(rough)));
  double step = 10.0 * power;
  for (const double each : {5.0, 2.0, 1.0})
    if (each * power >= rough) step = each * power;
  std::vector<double> steps;
  for (double at = std::ceil(from / step) * step; at < to; at += step)
    if (at - from > 0.06 * (to - from) && to - at > 0.1 * (to - from)) steps.push_back(at);
  return steps;
}

std::string ticks(const ReachDrawn& drawn, const Map& map) {
  std::string svg;
  for (const double x : round_steps(drawn.x_from, drawn.x_to))
    svg += fmt::format(
        "<text class=\"n small\" x=\"{:.1f}%\" y=\"{}\" text-anchor=\"middle\">{:.4g}</text>",
        map.x(x), height + 17.0, x);
  for (const double y : round_steps(drawn.y_from, drawn.y_to))
    svg += fmt::format("<text class=\"n small halo\" x=\"4\" y=\"{:.1f}\">{:.4g}</text>",
                       map.y(y) + 5.0, y);
  return svg + fmt::format(
                   "<text class=\"n small\" x=\"100%\" y=\"{}\" text-anchor=\"end\">{}, {} \u2192"
                   "</text><text class=\"n small halo\" x=\"4\" y=\"15\">\u2191 {}, {}</text>",
                   height + 34.0, escaped(drawn.x_name), drawn.unit, escaped(drawn.y_name),
                   drawn.unit);
}

constexpr double floor_y = 36.0, wall = 8.0;

double shown(double place) { return std::clamp(place, 0.0, 100.0); }

/// The part of the mound between two differences.
std::string hump(const DifferenceDrawn& drawn, double per_unit, double from, double to,
                 const char* kind) {
  const double most = *std::ranges::max_element(drawn.density);
  const auto steps = static_cast<int>(drawn.density.size()) - 1;
  if (!(most > 0.0) || steps < 1) return {};
  std::string path;
  double last = 0.0;
  for (int i = 0; i <= steps; ++i) {
    const double difference = drawn.density_to * i / steps;
    const double place = wall + per_unit * difference;
    if (difference < from || difference > to || place > 100.0) continue;
    if (path.empty()) path = fmt::format("M{:.1f} {}", 10.0 * place, floor_y);
    last = 10.0 * place;
    path +=
        fmt::format("L{:.1f} {:.1f}", last,
                    floor_y - 0.84 * floor_y * drawn.density[static_cast<std::size_t>(i)] / most);
  }
  if (path.empty()) return {};
  return fmt::format("<path class=\"{}\" d=\"{}L{:.1f} {}Z\"/>", kind, path, last, floor_y);
}

}  // namespace

std::string reach_svg(const ReachDrawn& drawn) {
  const Map map{drawn};
  std::string outlines, letters;
  for (const ReachDrawn::Target& target : drawn.targets) {
    outlines += outline(map, target);
    letters += letter(map, target);
  }
  return fmt::format(
             "<svg class=\"plot\" width=\"100%\" height=\"{}\" role=\"img\" "
             "aria-label=\"{}\"><svg width=\"100%\" height=\"{}\" style=\"overflow:hidden\">",
             height + 40.0, escaped(drawn.alternative), height) +
         reached(map) + rooms(map) +
         fmt::format(
             "<svg width=\"100%\" height=\"{0}\" viewBox=\"0 0 1000 {0}\" "
             "preserveAspectRatio=\"none\">",
             height) +
         outlines + "</svg>" + path(map) + blob(map) + letters + "</svg>" + ticks(drawn, map) +
         "</svg>";
}

std::string difference_svg(const DifferenceDrawn& drawn) {
  const double per_unit = drawn.clear / (drawn.limit > 0.0 ? drawn.limit : 1e-9);
  const double edge = wall + drawn.clear;
  const auto place = [&](double difference) { return shown(wall + per_unit * difference); };
  std::string svg = fmt::format(
      "<svg width=\"100%\" height=\"50\" role=\"img\" aria-label=\"{}\"><rect class=\"may\" "
      "x=\"{}%\" width=\"{:.2f}%\" height=\"{}\"/><rect class=\"not\" x=\"{:.2f}%\" "
      "width=\"{:.2f}%\" height=\"{}\"/>",
      escaped(drawn.alternative), wall, drawn.clear, floor_y, edge, 100.0 - edge, floor_y);
  if (!drawn.density.empty())
    svg += fmt::format(
               "<svg width=\"100%\" height=\"{0}\" viewBox=\"0 0 1000 {0}\" "
               "preserveAspectRatio=\"none\">",
               floor_y) +
           hump(drawn, per_unit, 0.0, drawn.limit, "belief") +
           hump(drawn, per_unit, drawn.limit, drawn.density_to, "spill") + "</svg>";
  svg += fmt::format(
      "<line class=\"{}\" x1=\"{:.2f}%\" x2=\"{:.2f}%\" y1=\"0\" y2=\"{}\"/><line class=\"thin\" "
      "x1=\"{}%\" x2=\"{}%\" y1=\"0\" y2=\"{}\"/><line class=\"axis\" x1=\"0\" x2=\"100%\" "
      "y1=\"36\" y2=\"36\"/>",
      drawn.binds ? "binds" : "limit", edge, edge, floor_y, wall, wall, floor_y);
  svg += fmt::format("<line class=\"span\" x1=\"{:.2f}%\" x2=\"{:.2f}%\" y1=\"41\" y2=\"41\"/>",
                     place(drawn.low), place(drawn.high));
  if (wall + per_unit * drawn.mean <= 100.0)
    return svg + fmt::format(
                     "<line class=\"mean\" x1=\"{0:.2f}%\" x2=\"{0:.2f}%\" y1=\"32\" "
                     "y2=\"49\"/></svg>",
                     place(drawn.mean));
  return svg +
         "<svg x=\"100%\" width=\"1\" height=\"36\"><path class=\"ink\" "
         "d=\"M-14 8L-1 18L-14 28Z\"/></svg></svg>";
}

}  // namespace vialwright::report
