/// Drawings of a whole shift: pulls by instrument, and the course of one tolerance line.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/drawing.hpp"
#include "report/html.hpp"
#include "report/words.hpp"

namespace vialwright::report {
namespace {

constexpr double per_u = 7.0;       ///< hundredths of the width a standard uncertainty takes
constexpr double stroke_top = 2.0;  ///< the tallest stroke, px
constexpr double floor_y = 36.0;

std::string stroke_of(int bin, std::uint64_t count, std::uint64_t most) {
  if (count == 0) return {};
  const double place = 50.0 + per_u * Pulls::bin_width * (bin - Pulls::beside);
  // A single reading must be seen beside hundreds, so no stroke is lower than 2.5 px.
  const double tall = std::max(
      (floor_y - stroke_top) * static_cast<double>(count) / static_cast<double>(most), 2.5);
  return fmt::format(
      "<line class=\"stroke\" x1=\"{0:.1f}%\" x2=\"{0:.1f}%\" y1=\"36\" "
      "y2=\"{1:.1f}\"/>",
      place, floor_y - tall);
}

// The course: a band of 60 of 120 px is clear, so one unit of tolerance is 30 px.
constexpr double middle_y = 60.0, per_tolerance = 30.0, bottom_y = 120.0;

double height_of(double in_tolerances) {
  return std::clamp(middle_y - per_tolerance * in_tolerances, 2.0, bottom_y - 2.0);
}

std::string spans_path(const std::vector<Span>& spans, bool outside, const char* kind) {
  std::string path;
  const auto count = static_cast<double>(spans.size());
  for (std::size_t i = 0; i < spans.size(); ++i) {
    if (spans[i].outside != outside) continue;
    const double x = 1000.0 * (static_cast<double>(i) + 0.5) / count;
    double low = height_of(spans[i].low), high = height_of(spans[i].high);
    if (low - high < 3.0) {  // a span is never lower than 3 px, or it could not be seen
      const double centre = (low + high) / 2.0;
      low = centre + 1.5;
      high = centre - 1.5;
    }
    path += fmt::format("M{:.1f} {:.1f}V{:.1f}", x, low, high);
  }
  return path.empty() ? path : fmt::format("<path class=\"{}\" d=\"{}\"/>", kind, path);
}

std::string field(const char* kind, double from, double to) {
  return fmt::format("<rect class=\"{}\" width=\"100%\" y=\"{}\" height=\"{}\"/>", kind, from,
                     to - from);
}

std::string level(const char* kind, double y) {
  return fmt::format("<line class=\"{0}\" x1=\"0\" x2=\"100%\" y1=\"{1}\" y2=\"{1}\"/>", kind, y);
}

}  // namespace

std::string pull_svg(const Pulls& pulls) {
  const std::uint64_t most =
      std::max<std::uint64_t>(*std::max_element(pulls.strokes.begin(), pulls.strokes.end()), 1);
  std::string strokes;
  for (int bin = 0; bin < Pulls::bins; ++bin) {
    strokes += stroke_of(bin, pulls.strokes[static_cast<std::size_t>(bin)], most);
  }
  const std::string alternative =
      fmt::format("{}: {}, mean pull {:.2f} u, {} beyond 3 u", pulls.instrument,
                  counted(pulls.count, "reading", "readings"), pulls.mean, pulls.beyond_3);
  return "<svg width=\"100%\" height=\"40\" role=\"img\" aria-label=\"" + escaped(alternative) +
         "\"><rect class=\"not\" width=\"100%\" height=\"36\"/>"
         "<rect class=\"may\" x=\"36%\" width=\"28%\" height=\"36\"/>" +
         strokes +
         "<line class=\"limit\" x1=\"50%\" x2=\"50%\" y1=\"0\" y2=\"40\"/>"
         "<line class=\"axis\" x1=\"0\" x2=\"100%\" y1=\"36\" y2=\"36\"/></svg>";
}

std::string course_svg(const std::vector<Span>& spans, bool has_low, bool has_high,
                       const std::string& alternative) {
  const double top = has_high ? middle_y - per_tolerance : 0.0;
  const double bottom = has_low ? middle_y + per_tolerance : bottom_y;
  std::string svg = fmt::format("<svg width=\"100%\" height=\"{}\" role=\"img\" aria-label=\"{}\">",
                                bottom_y, escaped(alternative));
  svg += field("may", top, bottom);
  if (has_high) svg += field("not", 0.0, top);
  if (has_low) svg += field("not", bottom, bottom_y);
  svg += fmt::format(
             "<svg width=\"100%\" height=\"{0}\" viewBox=\"0 0 1000 {0}\" "
             "preserveAspectRatio=\"none\">",
             bottom_y) +
         spans_path(spans, false, "course") + spans_path(spans, true, "course out") + "</svg>";
  if (has_high) svg += level("limit", top);
  if (has_low) svg += level("limit", bottom);
  return svg + "</svg>";
}

std::string overrun_svg(const Overrun& overrun) {
  const double over = overrun.needs_g - overrun.allowed_g;
  // Twice the excess is shown before the limit, so that a slight one is seen; the numbers say how
  // slight.
  const double from = std::max(0.0, overrun.allowed_g - 2.0 * over);
  const double per_g = 75.0 / (overrun.needs_g - from);
  const double limit = per_g * (overrun.allowed_g - from);
  const int decimals = over < 0.1 ? 3 : 2;
  const std::string needs = fmt::format("needs {:.{}f} g", overrun.needs_g, decimals);
  const std::string allowed = fmt::format("allowed {:.{}f} g", overrun.allowed_g, decimals);
  return fmt::format("<svg width=\"100%\" height=\"40\" role=\"img\" aria-label=\"{}: {}, {}\">",
                     escaped(overrun.what), allowed, needs) +
         fmt::format(
             "<rect class=\"not\" x=\"{0:.1f}%\" width=\"{1:.1f}%\" height=\"20\"/>"
             "<rect class=\"may\" width=\"{0:.1f}%\" height=\"20\"/>",
             limit, 100.0 - limit) +
         fmt::format(
             "<line class=\"inkline\" x2=\"75%\" y1=\"10\" y2=\"10\"/>"
             "<line class=\"binds\" x1=\"{0:.1f}%\" x2=\"{0:.1f}%\" y1=\"-2\" y2=\"22\"/>"
             "<circle class=\"ink\" cx=\"75%\" cy=\"10\" r=\"6\"/>",
             limit) +
         fmt::format(
             "<text class=\"note\" x=\"{:.1f}%\" y=\"37\" text-anchor=\"{}\">{}</text>"
             "<text class=\"note strong\" x=\"75%\" y=\"37\" "
             "text-anchor=\"middle\">{}</text></svg>",
             limit < 30.0 ? 0.0 : limit, limit < 30.0 ? "start" : "end", allowed, needs);
}

}  // namespace vialwright::report
