/// What the logbook has taught: odds against outcome, how stations dose, what is ordered.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/drawing.hpp"
#include "report/facts.hpp"
#include "report/html.hpp"
#include "report/learned.hpp"
#include "report/parts.hpp"

namespace vialwright::report {
namespace {

std::string outcomes_drawn(const decide::Learned& learned) {
  if (learned.outcomes.empty()) return {};
  std::string told;
  for (const outcomes::Bin& bin : learned.bins) {
    if (bin.n == 0) continue;
    told += fmt::format("{}predicted {:.0f} to {:.0f} in 100: {} of them, {:.0f} in 100 came true",
                        told.empty() ? "" : "; ", 100.0 * bin.from, 100.0 * bin.to, bin.n,
                        100.0 * bin.came_true);
  }
  return outcomes_svg(learned.bins, "Odds against outcome: " + told) +
         "<p class=\"note\">Rightwards: predicted odds, 0 to 100 in 100. Upwards: how many came "
         "true. Bar, thin for few: 95 % of where the share may be; stroke: its mean; number: "
         "outcomes behind it. "
         "On the thin line the odds are right. Only vials that were reworked have an outcome.</p>";
}

}  // namespace

std::string learned_part(const decide::Shift& shift, const line::State& state) {
  const decide::Learned& learned = shift.learned;
  if (learned.outcomes.empty() && learned.habits.empty() && learned.demand.empty()) return {};
  std::string matter =
      "<p>" + escaped(calibration_in_words(learned.score)) + "</p>" + outcomes_drawn(learned);
  if (!learned.habits.empty())
    matter +=
        "<h3 class=\"after\">How the stations dose</h3>" + table_html(habits_table(learned, state));
  const Table colours = colours_table(learned, state);
  if (!colours.rows.empty())
    matter += "<h3 class=\"after\">What the colours teach</h3>" + table_html(colours) +
              list_html(colours_in_words(learned));
  const Table demand = demand_table(learned, state);
  if (!demand.rows.empty())
    matter += "<h3 class=\"after\">What is ordered most</h3>" + table_html(demand);
  return part_html("What the record has taught",
                   "Every learned number with its 95 % interval and the count behind it.", matter);
}

}  // namespace vialwright::report
