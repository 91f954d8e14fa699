/// What the whole shift shows: the course of each kind of tolerance line, and the instruments.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>
#include <map>

#include "report/drawing.hpp"
#include "report/facts.hpp"
#include "report/html.hpp"
#include "report/parts.hpp"

namespace vialwright::report {
namespace {

using decide::Decision;

/// Spans of all vials on one kind of line, in the order in which the vials were first read.
struct Course {
  std::vector<Span> spans;
  bool has_low = false, has_high = false;
  std::uint64_t outside = 0;
};

/// Value in units of tolerance: -1 at the lower limit, 1 at the upper one.
double in_tolerances(double value, const recipe::Tolerance& tolerance) {
  const Lane lane = lane_of(tolerance, wide_clear);
  const double place = lane.place(value);
  const double middle = lane.has_low == lane.has_high ? 50.0
                        : lane.has_high               ? lane.clear_to - wide_clear / 2.0
                                                      : lane.clear_from + wide_clear / 2.0;
  return (place - middle) / (wide_clear / 2.0);
}

Span span_of_line(const conformity::LineReport& found, const recipe::Tolerance& tolerance) {
  const double reach = 1.959963984540054 * found.u;  // half of the 95 % interval
  return {in_tolerances(found.value - reach, tolerance),
          in_tolerances(found.value + reach, tolerance), found.holds.value < 0.5};
}

quantity::Instant begun(const Decision& decision) {
  quantity::Instant first = decision.as_of;
  for (const decide::ReadingName& reading : decision.readings) {
    first = std::min(first, reading.origin.time);
  }
  return first;
}

std::vector<const Decision*> in_order_of_time(const decide::Shift& shift) {
  std::vector<const Decision*> order;
  for (const Decision& decision : shift.decisions) {
    if (decision.conformity && !decision.evidence.doses.empty()) order.push_back(&decision);
  }
  std::stable_sort(order.begin(), order.end(),
                   [](const Decision* a, const Decision* b) { return begun(*a) < begun(*b); });
  return order;
}

std::map<std::string, Course> courses_of(const std::vector<const Decision*>& decisions,
                                         const line::State& state) {
  std::map<std::string, Course> courses;
  for (const Decision* decision : decisions) {
    const recipe::Recipe* recipe = bound_recipe(*decision, state);
    if (recipe == nullptr) continue;
    const auto& lines = decision->conformity->lines;
    for (std::size_t i = 0; i < std::min(lines.size(), recipe->tolerances.size()); ++i) {
      const recipe::Tolerance& tolerance = recipe->tolerances[i];
      Course& course = courses[recipe::name_of(tolerance, state.book)];
      course.spans.push_back(span_of_line(lines[i], tolerance));
      course.has_low = course.has_low || std::isfinite(tolerance.low);
      course.has_high = course.has_high || std::isfinite(tolerance.high);
      course.outside += course.spans.back().outside ? 1 : 0;
    }
  }
  return courses;
}

std::string course_row(const std::string& name, const Course& course) {
  const std::string vials = counted(course.spans.size(), "vial", "vials");
  const std::string outside = grouped(course.outside) + " more likely outside";
  return row_html(
      "<b>" + escaped(name) + "</b>",
      course_svg(course.spans, course.has_low, course.has_high,
                 name + " of " + vials + ", " + outside),
      "<b>" + escaped(outside) + "</b><br/><span class=\"note\">of " + escaped(vials) + "</span>",
      "");
}

std::string mean_of(const Pulls& pulls) {
  if (pulls.within_6 < 2) return fmt::format("{:+.2f}\u00A0u", pulls.mean);
  return (pulls.mean > 0.0 ? "+" : "") + quantity::with_doubt(pulls.mean, pulls.u_mean, "u");
}

/// Markup: the serials, each kept whole.
std::string serials(const std::vector<std::string>& all) {
  constexpr std::size_t most = 6;
  std::string html;
  for (std::size_t i = 0; i < std::min(all.size(), most); ++i) {
    html += (i > 0 ? ", " : "") + ("<span class=\"nb\">" + escaped(all[i]) + "</span>");
  }
  return all.size() > most ? fmt::format("{} and {} more", html, all.size() - most) : html;
}

std::string suspects(const Pulls& pulls) {
  if (pulls.beyond_3 == 0) return {};
  const std::string when =
      pulls.beyond_3 == 1 ? "at " + time_of_day(pulls.first)
                          : "from " + time_of_day(pulls.first) + " to " + time_of_day(pulls.last);
  const std::string html = fmt::format("{} of {} beyond 3\u00A0u, {}: {}", grouped(pulls.beyond_3),
                                       grouped(pulls.count), when, serials(pulls.suspects));
  if (!pulls.needs_care()) return "<span class=\"note\">" + html + "</span>";
  return "<span class=\"care\">" + mark_html("care", "care") + "</span> <b>" + html + "</b>";
}

std::string pull_value(const Pulls& pulls) {
  if (pulls.count == 0) {
    return fmt::format("<b>nothing checks it</b> <span class=\"note\">n {}</span>",
                       grouped(pulls.alone));
  }
  const std::string aside =
      pulls.not_counted == 0 ? "" : ", " + grouped(pulls.not_counted) + " set aside";
  const std::string alone =
      pulls.alone == 0 ? "" : ", " + grouped(pulls.alone) + " more that nothing checks";
  return fmt::format("<b>{}</b> <span class=\"note\">mean, n {}{}{}</span>",
                     escaped(mean_of(pulls)), grouped(pulls.count), aside, alone);
}

std::string pull_row(const Pulls& pulls) {
  return row_html(escaped(pulls.instrument), pull_svg(pulls), pull_value(pulls), suspects(pulls));
}

}  // namespace

std::string contents_part(const decide::Shift& shift, const line::State& state) {
  const std::vector<const Decision*> order = in_order_of_time(shift);
  if (order.empty()) return {};
  std::string rows;
  for (const auto& [name, course] : courses_of(order, state)) rows += course_row(name, course);
  return part_html(
      "What is in them",
      fmt::format("Every vial a stroke, its 95 % interval, each in its own tolerance; first read "
                  "{} to {}, left to right. Clear: inside. Full ink: more likely outside.",
                  time_of_day(begun(*order.front())), time_of_day(begun(*order.back()))),
      "<ol class=\"rows wideval\">" + rows + "</ol>");
}

std::string instruments_part(const std::vector<Pulls>& pulls) {
  if (pulls.empty()) return {};
  std::string rows;
  for (const Pulls& each : pulls) rows += pull_row(each);
  return part_html(
      "Instruments",
      "How far every reading pulled from what the others say, in its own u. Clear: "
      "within 2 u, where about 95 of 100 should stand. Beyond 6 u: at the edge, and not "
      "in the mean.",
      "<ol class=\"rows wideval\">" + rows + "</ol>");
}

}  // namespace vialwright::report
