/// What was decided, which vials were not released, and what could be added to them.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/become.hpp"
#include "report/drawing.hpp"
#include "report/facts.hpp"
#include "report/html.hpp"
#include "report/parts.hpp"
#include "report/seen.hpp"

namespace vialwright::report {
namespace {

using decide::Decision;
using decide::Disposition;

std::string rack_of(const std::string& title, std::uint64_t hits, std::uint64_t tries) {
  const contents::Interval interval = share_interval(hits, tries);
  const double share = static_cast<double>(hits) / static_cast<double>(tries);
  return fmt::format(
      "<div><h3>{}</h3><div class=\"odds\">{} <small>({:.0f} to {:.0f})</small></div>"
      "{}<p class=\"note\">{} of {}</p></div>",
      title, escaped(quantity::odds_in_words(share)), 100.0 * interval.lower,
      100.0 * interval.upper, rack_svg(share, interval), grouped(hits), grouped(tries));
}

/// Vials that were judged, and how many of them are released as they are.
std::string first_pass(const Counts& counts) {
  std::uint64_t judged = 0, released = 0;
  for (const auto& [disposition, count] : counts) {
    if (disposition == Disposition::open) continue;
    judged += count;
    if (disposition == Disposition::release) released += count;
  }
  return judged == 0 ? "" : rack_of("Released as they are", released, judged);
}

bool can_draw(const Decision& decision, const recipe::Recipe* recipe) {
  return recipe != nullptr && decision.conformity && decision.conformity->binding >= 0 &&
         !decision.evidence.doses.empty();
}

std::string drawing_of(const Decision& decision, const line::State& state) {
  const recipe::Recipe* recipe = bound_recipe(decision, state);
  const line::VialRecord* vial = line::find_vial(state, decision.serial);
  const bool whose = vial != nullptr && !vial->conflicts.empty();
  if (cannot_tell(decision) || whose) return no_belief_svg("cannot tell");
  if (!can_draw(decision, recipe)) return no_belief_svg("not measured");
  return channel_of(decision, *recipe, static_cast<std::size_t>(decision.conformity->binding),
                    narrow_clear, state);
}

std::string binding_value(const Decision& decision, const line::State& state) {
  const recipe::Recipe* recipe = bound_recipe(decision, state);
  if (!can_draw(decision, recipe) || cannot_tell(decision)) return {};
  const auto at = static_cast<std::size_t>(decision.conformity->binding);
  const recipe::Tolerance& tolerance = recipe->tolerances[at];
  const conformity::LineReport& found = decision.conformity->lines[at];
  return "<br/><span class=\"note\">" + escaped(recipe::name_of(tolerance, state.book)) + " " +
         value_html(line_value(found, *recipe, at)) + ", wants " + escaped(limits(tolerance)) +
         "</span>";
}

std::string not_released_row(const Decision& decision, const line::State& state) {
  const std::string edge = decision.on_the_edge ? "<br/><b>on the edge</b>" : "";
  const std::string value =
      mark_html(symbol_of(decision.disposition), decide::word(decision.disposition)) + edge +
      binding_value(decision, state);
  return row_html(vial_name_html(decision, state), drawing_of(decision, state), value,
                  "<span class=\"note\">" + value_html(decision.headline) + "</span>");
}

/// One row a vial: its planned top-up, or why there is none.
std::vector<std::string> topup_row(const Decision& decision, const line::State& state) {
  const decide::TopupAnswer* best = planned(decision);
  const decide::TopupAnswer& answer = best == nullptr ? decision.topups.front() : *best;
  return {decision.serial,
          recipe_name(answer.recipe, state),
          addition_in_words(answer, decision, state),
          odds_of_answer(answer),
          best == nullptr ? "\u2013" : money(answer.topup.cost, state.plant.prices),
          best == nullptr ? "\u2013" : over_scrapping(answer.worth, state.plant.prices),
          order_in_words(answer, decision)};
}

bool has_answer(const Decision& decision) {
  return !decision.topups.empty() && decision.disposition != Disposition::measure_again;
}

}  // namespace

std::string decided_part(const decide::Shift& shift) {
  const Counts counts = counts_of(shift);
  const std::string rack = first_pass(counts);
  return part_html("What was decided",
                   fmt::format("Of {}. Where few are not released, a second bar draws them larger.",
                               counted(shift.decisions.size(), "vial", "vials")),
                   decided_svg(counts) + decided_key(counts) +
                       (rack.empty() ? "" : "<div class=\"two gap\">" + rack + "</div>"));
}

std::string not_released_part(const Questions& questions, const line::State& state) {
  if (questions.not_released.empty()) {
    return part_html("Not released", "", "<p>Every vial that is finished can be released.</p>");
  }
  std::string rows;
  for (const Decision* decision : questions.not_released) {
    rows += not_released_row(*decision, state);
  }
  return part_html(
      "Not released",
      "Each with the tolerance line that binds. Clear: inside. Hatched: outside. "
      "Mound: where we believe it is; bar below: 95 % of it. Thick limit: the one "
      "that binds. The glass shows how full, in the colour estimated from the contents.",
      "<ol class=\"rows wideval\">" + rows + "</ol>");
}

std::string topups_part(const Questions& questions, const line::State& state) {
  Table table{{{"vial"},
               {"becomes"},
               {"add, in this order"},
               {"odds (95\u00A0%)"},
               {"cost", true},
               {"worth", true},
               {"order"}},
              {}};
  for (const Decision* decision : questions.not_released) {
    if (has_answer(*decision)) table.rows.push_back(topup_row(*decision, state));
  }
  if (table.rows.empty()) return {};
  return part_html("What they could become",
                   "For each vial to rework, hold or scrap the best addition found, with the odds "
                   "that the vial will then meet the recipe. Worth: expected over scrapping, "
                   "if it fills an order now.",
                   "<p class=\"caution\"><b>" + std::string(standing_caution) + "</b> " +
                       advice_only + "</p>" + table_html(table));
}

}  // namespace vialwright::report
