/// Holding, pairing, learning and what is to come, for a terminal.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/columns.hpp"
#include "report/learned.hpp"
#include "report/report.hpp"
#include "report/strong.hpp"
#include "report/tally.hpp"
#include "report/words.hpp"

namespace vialwright::report {
namespace {

std::string heading(const char* text, const Look& look) {
  return "\n" + strong(std::string(text) + "\n", look);
}

std::string doses_of(const making::Forecast& forecast, const line::State& state) {
  std::string text;
  for (const making::Dose& dose : forecast.doses) {
    text += fmt::format("{}{:.4f}\u00A0g {} ({}{:.2f}\u00A0%)", text.empty() ? "" : ", ",
                        dose.addition.amount_g, stock_name(dose.addition.stock, state),
                        dose.offset < 0.0 ? "\u2212" : "+", std::abs(100.0 * dose.offset));
  }
  return text;
}

std::string proven_in_words(const making::Forecast& forecast) {
  const double half = 1.96 * forecast.u_proven;
  return odds(outcomes::Corrected{forecast.proven, std::max(0.0, forecast.proven - half),
                                  std::min(1.0, forecast.proven + half), 0});
}

/// One row for all orders that are made the same way: their numbers stand in the first column.
void add_or_join(std::vector<std::vector<std::string>>& rows, std::vector<std::string> row) {
  const auto same = std::ranges::find_if(rows, [&](const std::vector<std::string>& known) {
    return std::equal(known.begin() + 1, known.end(), row.begin() + 1);
  });
  if (same == rows.end()) {
    rows.push_back(std::move(row));
  } else {
    same->front() += ", " + row.front();
  }
}

/// Things whose absence would stop the order or halve the chance of proving it.
std::string needs_of(const decide::OrderForecast& order) {
  std::string text;
  for (const decide::OrderForecast::Without& each : order.without) {
    if (each.can && each.proven > 0.5 * order.forecast.proven) continue;
    text += (text.empty() ? "" : ", ") + each.what;
  }
  return text.empty() ? "\u2013" : text;
}

}  // namespace

std::string held_table(const decide::Shift& shift, const line::State& state, const Look& look) {
  Table table{{{"vial"}, {"waits until"}, {"95 %"}, {"worth", true}, {"a day"}, {"because"}}, {}};
  for (const decide::Decision& each : shift.decisions) {
    if (each.disposition != decide::Disposition::hold || !each.hold) continue;
    const decide::HoldAnswer& hold = *each.hold;
    table.rows.push_back(
        {each.serial, to_the_minute(hold.limit),
         to_the_minute(hold.limit_low) + " to " + to_the_minute(hold.limit_high),
         money(hold.value, state.plant.prices), quantity::odds_in_words(hold.odds_1_day),
         std::string(holding::word(hold.ends)) + (hold.has_place ? "" : "; no place is free")});
  }
  const std::string places =
      fmt::format("{} of {} hold places taken; a place is worth {} a day.", shift.places_taken,
                  shift.places, money(shift.place_per_day, state.plant.prices));
  if (table.rows.empty()) return paragraph("No vial waits for an order. " + places, look.width);
  return as_text(table, look.width) + "\n" + strong(paragraph(places, look.width), look) +
         paragraph(
             "Worth: of waiting, over scrapping now. A day: odds that an order it fits comes "
             "within a day.",
             look.width);
}

std::string pairs_table(const decide::Shift& shift, const line::State& state, const Look& look) {
  const plant::Prices& prices = state.plant.prices;
  Table table{{{"vial"}, {"order"}, {"recipe"}, {"odds"}, {"now", true}, {"waiting", true}, {""}},
              {}};
  for (const decide::Rung* each : rungs_to_show(shift)) {
    table.rows.push_back({each->serial, each->order, each->recipe, odds(each->odds),
                          over_scrapping(each->worth, prices),
                          over_scrapping(each->waiting, prices),
                          each->taken ? "gets it" : "short by " + money(each->short_by, prices)});
  }
  if (table.rows.empty())
    return paragraph("No vial that waits or was missed could fill an open order.", look.width);
  return as_text(table, look.width) + "\n" +
         paragraph(
             "Of a vial that gets no order, the pair that falls short least; --json has all. Now: "
             "expected over scrapping if the pair is made now; waiting: if it is kept. Short by: "
             "at "
             "least so much more would be needed.",
             look.width) +
         paragraph(standing_caution, look.width);
}

std::string learned_tables(const decide::Learned& learned, const line::State& state,
                           const Look& look) {
  std::string text = paragraph(calibration_in_words(learned.score), look.width);
  Table outcome{{{"predicted, in 100"}, {"top-ups", true}, {"came true (95 %)"}}, {}};
  for (const outcomes::Bin& bin : learned.bins) {
    if (bin.n == 0) continue;
    outcome.rows.push_back({fmt::format("{:.0f} to {:.0f}", 100.0 * bin.from, 100.0 * bin.to),
                            std::to_string(bin.n),
                            odds(outcomes::Corrected{bin.came_true, bin.low, bin.high, bin.n})});
  }
  if (!outcome.rows.empty())
    text += heading("Odds against outcome", look) + as_text(outcome, look.width);
  const Table habits = habits_table(learned, state);
  if (!habits.rows.empty())
    text += heading("How the stations dose", look) + as_text(habits, look.width);
  const Table colours = colours_table(learned, state);
  if (!colours.rows.empty()) {
    text += heading("What the colours teach", look) + as_text(colours, look.width);
    for (const std::string& each : colours_in_words(learned))
      text += paragraph(each, look.width, "  - ", "    ");
  }
  const Table demand = demand_table(learned, state);
  if (!demand.rows.empty())
    text += heading("What is ordered most", look) + as_text(demand, look.width);
  return text;
}

std::string forecast_table(const std::vector<decide::OrderForecast>& orders,
                           const line::State& state, const Look& look) {
  if (orders.empty()) return paragraph("No order is open.", look.width);
  Table table{{{"order"},
               {"recipe"},
               {"passes"},
               {"proven (95 %)"},
               {"doses (aim beside target)"},
               {"stops without"}},
              {}};
  for (const decide::OrderForecast& each : orders) {
    const making::Forecast& forecast = each.forecast;
    if (forecast.can != making::Can::yes) {
      add_or_join(table.rows, {each.order, each.recipe, "cannot be made", "\u2013",
                               forecast.because, "\u2013"});
      continue;
    }
    add_or_join(table.rows,
                {each.order, each.recipe, quantity::odds_in_words(forecast.passes.value),
                 proven_in_words(forecast), doses_of(forecast, state), needs_of(each)});
  }
  return as_text(table, look.width) + "\n" +
         paragraph(
             "Passes: odds that the vial will meet its recipe. Proven: that the readings then "
             "lead to release. Stops without: what may not be off.",
             look.width) +
         paragraph(standing_caution, look.width);
}

std::string differences_table(const std::vector<decide::Difference>& differences,
                              const line::State& state, const Look& look) {
  if (differences.empty())
    return paragraph("Nothing would be decided otherwise. Nothing was recorded.", look.width);
  Table table{{{"vial"}, {"now"}, {"then"}, {"money", true}}, {}};
  double all = 0.0;
  for (const decide::Difference& each : differences) {
    const double more = each.money_after - each.money_before;
    all += more;
    table.rows.push_back({each.serial, each.before, each.after,
                          (more > 0.0 ? "+" : "") + money(more, state.plant.prices)});
  }
  return as_text(table, look.width) + "\n" +
         strong(paragraph(fmt::format("{} would be decided otherwise; in all {}{}, expected.",
                                      counted(differences.size(), "vial", "vials"),
                                      all > 0.0 ? "+" : "", money(all, state.plant.prices)),
                          look.width),
                look) +
         paragraph("Computed on a copy. Nothing was recorded.", look.width);
}

}  // namespace vialwright::report
