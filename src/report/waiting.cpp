/// Drawings of waiting and giving: the taper, the rung, and odds against outcome.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/drawing.hpp"
#include "report/html.hpp"

namespace vialwright::report {
namespace {

constexpr double stretched_s = 1800.0;          ///< time is even below this, logarithmic above
constexpr double now_at = 2.0, last_at = 98.0;  ///< hundredths of the width
constexpr double floor_y = 40.0;

double place_of(double seconds, double last_s) {
  const auto stretched = [](double s) { return std::log1p(std::max(0.0, s) / stretched_s); };
  const double share = stretched(seconds) / std::max(1e-9, stretched(last_s));
  return now_at + (last_at - now_at) * std::clamp(share, 0.0, 1.0);
}

std::string field(const char* kind, double from, double to, double height) {
  if (to <= from) return {};
  return fmt::format("<rect class=\"{}\" x=\"{:.2f}%\" width=\"{:.2f}%\" height=\"{}\"/>", kind,
                     from, to - from, height);
}

std::string upright(const char* kind, double place, double from_y, double to_y) {
  return fmt::format("<line class=\"{0}\" x1=\"{1:.2f}%\" x2=\"{1:.2f}%\" y1=\"{2}\" y2=\"{3}\"/>",
                     kind, place, from_y, to_y);
}

std::string fading(const Taper& taper) {
  if (taper.at_s.empty() || taper.most_worth <= 0.0) return {};
  std::string path = fmt::format("M{:.1f} {}", 10.0 * place_of(0.0, taper.last_s), floor_y);
  for (std::size_t i = 0; i < taper.at_s.size(); ++i) {
    const double at = std::min(taper.at_s[i], taper.limit_s);
    const double share = taper.at_s[i] > taper.limit_s ? 0.0 : taper.worth[i] / taper.most_worth;
    path += fmt::format("L{:.1f} {:.1f}", 10.0 * place_of(at, taper.last_s),
                        floor_y - 0.9 * floor_y * std::clamp(share, 0.0, 1.0));
    if (taper.at_s[i] > taper.limit_s) break;
  }
  path += fmt::format("L{:.1f} {}Z", 10.0 * place_of(taper.limit_s, taper.last_s), floor_y);
  return fmt::format(
      "<svg width=\"100%\" height=\"{0}\" viewBox=\"0 0 1000 {0}\" preserveAspectRatio=\"none\">"
      "<path class=\"belief\" d=\"{1}\"/></svg>",
      floor_y, path);
}

struct Tick {
  double seconds;
  const char* name;
};
constexpr Tick ticks[] = {{0.0, "now"},       {1800.0, "30 min"}, {7200.0, "2 h"},
                          {28800.0, "8 h"},   {86400.0, "1 d"},   {259200.0, "3 d"},
                          {864000.0, "10 d"}, {2592000.0, "30 d"}};

constexpr double chart = 220.0;  ///< px, height of odds against outcome

double up(double share) { return chart * (1.0 - std::clamp(share, 0.0, 1.0)); }

std::string bin_svg(const outcomes::Bin& bin) {
  if (bin.n == 0) return {};
  const double x = 100.0 * bin.predicted;
  const int wide = bin.n < 5 ? 2 : bin.n < 20 ? 6 : 10;  // little data looks like little data
  return fmt::format(
             "<rect class=\"belief\" x=\"{:.2f}%\" width=\"{}\" transform=\"translate({} 0)\" "
             "y=\"{:.1f}\" height=\"{:.1f}\"/>",
             x, wide, -wide / 2, up(bin.high), std::max(2.0, up(bin.low) - up(bin.high))) +
         fmt::format(
             "<svg x=\"{:.2f}%\" width=\"1\" height=\"{}\" style=\"overflow:visible\"><path "
             "class=\"inkline\" style=\"stroke-width:3\" d=\"M-9 {:.1f}H9\"/></svg>",
             x, chart, up(bin.came_true)) +
         fmt::format(
             "<text class=\"note halo\" x=\"{:.2f}%\" y=\"{:.1f}\" "
             "text-anchor=\"middle\">{}</text>",
             x, std::clamp(up(bin.low) + 16.0, 14.0, chart - 4.0), bin.n);
}

}  // namespace

std::string taper_svg(const Taper& taper) {
  const double now = place_of(0.0, taper.last_s), post = place_of(taper.limit_s, taper.last_s);
  return "<svg width=\"100%\" height=\"46\" role=\"img\" aria-label=\"" +
         escaped(taper.alternative) + "\">" + field("not", post, 100.0, floor_y) +
         field("may", now, post, floor_y) + fading(taper) +
         fmt::format("<line class=\"span\" x1=\"{:.2f}%\" x2=\"{:.2f}%\" y1=\"42\" y2=\"42\"/>",
                     place_of(taper.limit_low_s, taper.last_s),
                     place_of(taper.limit_high_s, taper.last_s)) +
         upright("binds", post, 0.0, 44.0) + upright("limit", now, 0.0, floor_y) + "</svg>";
}

std::string taper_axis_svg(double last_s) {
  std::string marks, names;
  double before = -100.0;
  for (const Tick& tick : ticks) {
    if (tick.seconds > last_s) break;
    const double place = place_of(tick.seconds, last_s);
    marks += upright("thin", place, 0.0, 6.0);
    if (place - before < 11.0) continue;  // names must not run into each other on a phone
    before = place;
    names += fmt::format("<text class=\"note\" x=\"{:.2f}%\" y=\"20\" text-anchor=\"{}\">{}</text>",
                         place,
                         place < 6.0    ? "start"
                         : place > 94.0 ? "end"
                                        : "middle",
                         tick.name);
  }
  return "<svg width=\"100%\" height=\"24\" aria-hidden=\"true\"><line class=\"axis\" x1=\"0\" "
         "x2=\"100%\" y1=\"0.5\" y2=\"0.5\"/>" +
         marks + names + "</svg>";
}

std::string rung_svg(const RungDrawn& rung) {
  const double scale = 86.0 / std::max(1e-9, rung.most);
  const double now = std::clamp(scale * rung.worth, 0.0, 86.0);
  const double waits = std::clamp(scale * rung.waiting, 0.0, 86.0);
  const double reaches = rung.taken ? 100.0 : std::min(now + 6.0, 94.0);
  const std::string bar =
      rung.taken ? fmt::format("<rect class=\"ink\" y=\"4\" width=\"{:.2f}%\" height=\"14\"/>", now)
                 : fmt::format(
                       "<rect x=\"1\" y=\"5\" width=\"{:.2f}%\" height=\"12\" fill=\"none\" "
                       "class=\"inkline\" style=\"stroke-width:2\"/>",
                       std::max(0.3, now));
  const std::string end = rung.taken ? "<circle class=\"ink\" cx=\"100%\" cy=\"11\" r=\"6\"/>" : "";
  return "<svg width=\"100%\" height=\"36\" role=\"img\" aria-label=\"" +
         escaped(rung.alternative) + "\"><rect class=\"may\" width=\"86%\" height=\"34\"/>" +
         fmt::format(
             "<rect x=\"0\" y=\"22\" width=\"{:.2f}%\" height=\"12\" "
             "fill=\"url(#p-hold)\"/>",
             waits) +
         bar +
         fmt::format(
             "<line class=\"inkline\" style=\"stroke-width:3\" x1=\"{:.2f}%\" "
             "x2=\"{:.2f}%\" y1=\"11\" y2=\"11\"/>",
             now, reaches) +
         end +
         "<line class=\"limit\" y2=\"34\"/><line class=\"axis\" x2=\"86%\" y1=\"34\" "
         "y2=\"34\"/></svg>";
}

std::string outcomes_svg(const std::vector<outcomes::Bin>& bins, const std::string& alternative) {
  std::string drawn;
  for (const outcomes::Bin& bin : bins) drawn += bin_svg(bin);
  return fmt::format(
             "<svg width=\"100%\" height=\"{}\" role=\"img\" aria-label=\"{}\" "
             "style=\"max-width:520px;overflow:visible\">",
             chart + 4.0, escaped(alternative)) +
         fmt::format("<rect class=\"may\" width=\"100%\" height=\"{}\"/>", chart) +
         fmt::format("<line class=\"thin\" x1=\"0\" y1=\"{}\" x2=\"100%\" y2=\"0\"/>", chart) +
         drawn +
         fmt::format(
             "<line class=\"axis\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>"
             "<line class=\"axis\" x1=\"0.5\" x2=\"0.5\" y1=\"0\" y2=\"{0}\"/></svg>",
             chart);
}

}  // namespace vialwright::report
