/// Drawings of shares: the bar of what was decided, the rack of a hundred vials, the glass.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/drawing.hpp"
#include "report/html.hpp"
#include "report/words.hpp"

namespace vialwright::report {
namespace {

using decide::Disposition;

std::string filling_of(Disposition disposition) {
  switch (disposition) {
    case Disposition::release:
      return "fill=\"var(--belief)\" stroke=\"var(--ink)\" stroke-width=\"1.5\"";
    case Disposition::open:
      return "fill=\"none\" stroke=\"var(--ink)\" stroke-width=\"1.5\" stroke-dasharray=\"5 4\"";
    default:
      return fmt::format("fill=\"url(#p-{})\" stroke=\"var(--ink)\" stroke-width=\"1.5\"",
                         symbol_of(disposition));
  }
}

std::string piece(Disposition disposition, double from, double width) {
  return fmt::format(
      "<rect class=\"may\" x=\"{0:.2f}%\" width=\"{1:.2f}%\" height=\"26\"/>"
      "<rect x=\"{0:.2f}%\" width=\"{1:.2f}%\" height=\"26\" {2}/>",
      from, width, filling_of(disposition));
}

std::uint64_t count_of(const Counts& counts, Disposition disposition) {
  const auto found = counts.find(disposition);
  return found == counts.end() ? 0 : found->second;
}

std::uint64_t total_of(const Counts& counts) {
  std::uint64_t total = 0;
  for (const auto& [disposition, count] : counts) total += count;
  return total;
}

/// All pieces from `first` on, side by side over the whole width.
std::string pieces(const Counts& counts, std::size_t first) {
  double total = 0.0, from = 0.0;
  std::string svg;
  for (std::size_t i = first; i < dispositions().size(); ++i) {
    total += static_cast<double>(count_of(counts, dispositions()[i]));
  }
  for (std::size_t i = first; i < dispositions().size(); ++i) {
    const auto count = static_cast<double>(count_of(counts, dispositions()[i]));
    if (count == 0.0) continue;
    svg += piece(dispositions()[i], from, 100.0 * count / total);
    from += 100.0 * count / total;
  }
  return svg;
}

std::string bar(double height, const std::string& alternative, const std::string& inside) {
  const std::string words = alternative.empty()
                                ? std::string("aria-hidden=\"true\"")
                                : "role=\"img\" aria-label=\"" + escaped(alternative) + "\"";
  return fmt::format("<svg width=\"100%\" height=\"{}\" {}>{}</svg>", height, words, inside);
}

/// The released ones and, drawn larger below, the rest.
std::string magnified(const Counts& counts, double released, const std::string& alternative) {
  const std::string upper = piece(Disposition::release, 0.0, released) +
                            fmt::format(
                                "<rect x=\"{0:.2f}%\" width=\"{1:.2f}%\" height=\"26\" "
                                "class=\"may inkline\"/>"
                                "<line class=\"thin\" x1=\"{0:.2f}%\" y1=\"27\" x2=\"0\" "
                                "y2=\"44\"/><line class=\"thin\" x1=\"100%\" y1=\"27\" "
                                "x2=\"100%\" y2=\"44\"/>",
                                released, 100.0 - released);
  return bar(44.0, alternative, upper) + bar(28.0, "", pieces(counts, 1));
}

/// Vials of the rack from the first to before the last, as path data.
std::string vials(int first, int last, double from, double to) {
  std::string path;
  for (int i = first; i < last; ++i) {
    const int in_row = i % 50, tens = in_row / 10;
    const double row_y = i < 50 ? 0.0 : 47.0;
    path += fmt::format("M{} {}V{}", 5 + 10 * in_row + 5 * tens, row_y + from, row_y + to);
  }
  return path;
}

std::string empty_vials(int first, int last) {
  std::string path;
  for (int i = first; i < last; ++i) {
    const int in_row = i % 50, tens = in_row / 10;
    const int middle = 5 + 10 * in_row + 5 * tens;
    path +=
        fmt::format("M{:.1f} {}v13a2.6 2.6 0 0 0 5.2 0v-13", middle - 2.6, (i < 50 ? 0 : 47) + 26);
  }
  return path;
}

int in_hundred(double share) {
  return static_cast<int>(std::lround(std::clamp(share, 0.0, 1.0) * 100.0));
}

bool is_colour(const std::string& text) {
  return text.size() == 7 && text[0] == '#' &&
         text.find_first_not_of("0123456789abcdefABCDEF", 1) == std::string::npos;
}

}  // namespace

std::string symbol_of(Disposition disposition) {
  return disposition == Disposition::measure_again ? "measure"
                                                   : std::string(decide::word(disposition));
}

std::string decided_svg(const Counts& counts) {
  const std::uint64_t total = total_of(counts);
  if (total == 0) return {};
  const double released = 100.0 * static_cast<double>(count_of(counts, Disposition::release)) /
                          static_cast<double>(total);
  const std::string alternative = counts_in_words(counts);
  const bool rest_is_small = released >= 75.0 && released < 100.0;
  return rest_is_small ? magnified(counts, released, alternative)
                       : bar(28.0, alternative, pieces(counts, 0));
}

std::string decided_key(const Counts& counts) {
  std::string html = "<ul class=\"key\">";
  for (const Disposition each : dispositions()) {
    html += fmt::format(
        "<li><svg class=\"sw\" aria-hidden=\"true\"><rect class=\"may\" "
        "width=\"34\" height=\"20\"/><rect width=\"34\" height=\"20\" {}/></svg>{} "
        "<b>{}</b></li>",
        filling_of(each), mark_html(symbol_of(each), decide::word(each)),
        grouped(count_of(counts, each)));
  }
  return html + "</ul>\n";
}

std::string rack_svg(double share, const contents::Interval& interval) {
  const int sure = std::min(in_hundred(interval.lower), in_hundred(share));
  const int mean = in_hundred(share);
  const int most = std::max(in_hundred(interval.upper), mean);
  return fmt::format(
      "<svg class=\"rack\" viewBox=\"0 0 520 92\" role=\"img\" aria-label=\"{} in 100, between {} "
      "and {}\"><path class=\"bar0\" d=\"M0 24.5H520M0 71.5H520\"/>"
      "<path class=\"full\" d=\"{}\"/><path class=\"mayb\" d=\"{}{}\"/>"
      "<path class=\"empt\" d=\"{}\"/></svg>",
      mean, sure, most, vials(0, sure, 4, 20), vials(sure, mean, 4, 20), vials(mean, most, 29, 41),
      empty_vials(most, 100));
}

std::string glass_svg(double full, const std::string& colour) {
  const double surface = 35.0 - 25.0 * std::clamp(full, 0.0, 1.0);
  std::string liquid;
  if (full > 0.0 && is_colour(colour)) {
    liquid = fmt::format(
        "<path fill=\"{0}\" d=\"M3 {1:.2f}V33A2 2 0 0 0 5 35H13A2 2 0 0 0 15 33V"
        "{1:.2f}Z\"/>",
        colour, surface);
  }
  if (full > 0.0) {
    liquid += fmt::format(
        "<path class=\"glassline\" style=\"stroke-width:1.2\" d=\"M3 "
        "{:.2f}H15\"/>",
        surface);
  }
  return "<svg viewBox=\"0 0 18 38\" aria-hidden=\"true\"><path class=\"liner\" d=\"M2 10V33A3 3 0 "
         "0 0 5 36H13A3 3 0 0 0 16 33V10L13 6H5Z\"/>" +
         liquid +
         "<path class=\"glassline\" style=\"stroke-width:1.8\" d=\"M3.5 1.5H14.5M5 2V5C5 7 2 7 2 "
         "10V33A3 3 0 0 0 5 36H13A3 3 0 0 0 16 33V10C16 7 13 7 13 5V2\"/></svg>";
}

}  // namespace vialwright::report
