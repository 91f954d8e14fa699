/// How long each held vial may wait, and which vial gets which order.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/drawing.hpp"
#include "report/facts.hpp"
#include "report/html.hpp"
#include "report/parts.hpp"

namespace vialwright::report {
namespace {

using decide::Decision;
using decide::Disposition;

double seconds_from_now(quantity::Instant instant, const Decision& decision) {
  return std::max(0.0, quantity::seconds_between(decision.as_of, instant));
}

/// A limit today by its time, a later one by its day too.
std::string until(quantity::Instant limit, const Decision& decision) {
  const double away = seconds_from_now(limit, decision);
  return away < 86400.0 ? time_of_day(limit) : to_the_minute(limit);
}

std::vector<const Decision*> held_of(const decide::Shift& shift) {
  std::vector<const Decision*> held;
  for (const Decision& each : shift.decisions)
    if (each.disposition == Disposition::hold && each.hold) held.push_back(&each);
  std::ranges::stable_sort(
      held, [](const Decision* a, const Decision* b) { return a->hold->limit < b->hold->limit; });
  return held;
}

/// The far end of the time axis: a little beyond the last limit, at least an hour.
double last_second(const std::vector<const Decision*>& held) {
  double last = 3600.0;
  for (const Decision* each : held)
    last = std::max(last, 1.3 * seconds_from_now(each->hold->limit_high, *each));
  return last;
}

double most_worth(const std::vector<const Decision*>& held) {
  double most = 0.0;
  for (const Decision* each : held)
    for (const double worth : each->hold->over_scrapping) most = std::max(most, worth);
  return most;
}

std::string taper_of(const Decision& decision, double last_s, double most,
                     const line::State& state) {
  const decide::HoldAnswer& hold = *decision.hold;
  Taper taper;
  for (std::size_t i = 0; i < hold.at.size(); ++i) {
    taper.at_s.push_back(seconds_from_now(hold.at[i], decision));
    taper.worth.push_back(std::max(0.0, hold.over_scrapping[i]));
  }
  taper.limit_s = seconds_from_now(hold.limit, decision);
  taper.limit_low_s = seconds_from_now(hold.limit_low, decision);
  taper.limit_high_s = seconds_from_now(hold.limit_high, decision);
  taper.most_worth = most;
  taper.last_s = last_s;
  taper.alternative =
      fmt::format("{}: waiting pays until {} and is worth {} now", decision.serial,
                  until(hold.limit, decision), money(hold.value, state.plant.prices));
  return taper_svg(taper);
}

std::string waits_for(const Decision& decision, const line::State& state) {
  const std::vector<std::string>& recipes = decision.hold->for_recipes;
  if (recipes.empty()) return {};
  std::string names = recipe_name(recipes.front(), state);
  if (recipes.size() > 1) names += fmt::format(" and {} more", recipes.size() - 1);
  return "for " + names + "; ";
}

std::string held_row(const Decision& decision, double last_s, double most,
                     const line::State& state) {
  const decide::HoldAnswer& hold = *decision.hold;
  const std::string limit =
      "<b class=\"nb\">until " + escaped(until(hold.limit, decision)) + "</b>";
  const std::string doubt = fmt::format(
      "<br/><span class=\"note\"><span class=\"nb\">{}</span> to <span "
      "class=\"nb\">{}</span> (95 %)</span>",
      escaped(until(hold.limit_low, decision)), escaped(until(hold.limit_high, decision)));
  const std::string said = fmt::format(
      "<span class=\"note\">{}{}; an order it fits: {} in a day, {} in a week. Waiting is worth {} "
      "over scrapping now{}.</span>",
      escaped(waits_for(decision, state)), escaped(holding::word(hold.ends)),
      escaped(quantity::odds_in_words(hold.odds_1_day)),
      escaped(quantity::odds_in_words(hold.odds_7_days)),
      escaped(money(hold.value, state.plant.prices)),
      hold.has_place ? "" : "; there is no free hold place for it");
  return row_html(vial_name_html(decision, state), taper_of(decision, last_s, most, state),
                  limit + doubt, said);
}

std::string places_in_words(const decide::Shift& shift, const line::State& state) {
  std::string text = fmt::format(
      "{} of {} taken.", shift.places_taken,
      counted(static_cast<std::uint64_t>(std::max(0, shift.places)), "hold place", "hold places"));
  text += shift.place_per_day > 0.0
              ? fmt::format(" A place is worth {} a day now: more vials would wait than may.",
                            money(shift.place_per_day, state.plant.prices))
              : std::string(" A place costs nothing now: there is room for all that pay to wait.");
  return text;
}

/// A vial with a pair and how it compares, for one row of the ladder.
std::string rung_row(const decide::Rung& rung, double most, const line::State& state) {
  const plant::Prices& prices = state.plant.prices;
  const std::string now = over_scrapping(rung.worth, prices);
  const std::string waiting = over_scrapping(rung.waiting, prices);
  RungDrawn drawn{std::max(0.0, rung.worth + prices.scrap),
                  std::max(0.0, rung.waiting + prices.scrap), most, rung.taken,
                  fmt::format("{} to {}: the pair is worth {}, waiting {}; {}", rung.serial,
                              rung.order, now, waiting, rung.taken ? "taken" : "not taken")};
  const std::string likely = odds(rung.odds);
  const std::string said =
      rung.taken
          ? fmt::format("<b>{}</b>, worth {} now, {} waiting", escaped(likely), escaped(now),
                        escaped(waiting))
          : fmt::format("not taken: {}; worth {} now, {} waiting, falls short by at least {}",
                        escaped(likely), escaped(now), escaped(waiting),
                        escaped(money(rung.short_by, prices)));
  return row_html("<b class=\"nb\">" + escaped(rung.serial) + "</b>", rung_svg(drawn),
                  "<b class=\"nb\">" + escaped(rung.order) + "</b><br/><span class=\"note\">" +
                      escaped(recipe_name(rung.recipe, state)) + "</span>",
                  "<span class=\"note\">" + said + "</span>");
}

constexpr std::size_t most_rungs = 24;

}  // namespace

std::string held_part(const decide::Shift& shift, const line::State& state) {
  const std::vector<const Decision*> held = held_of(shift);
  if (held.empty()) return {};
  const double last_s = last_second(held), most = most_worth(held);
  std::string rows;
  for (const Decision* each : held) rows += held_row(*each, last_s, most, state);
  rows += row_html("", taper_axis_svg(last_s), "", "");
  return part_html("How long it pays to wait",
                   "Clear: waiting pays. Height: what waiting is still worth. Post: from here on "
                   "it does not pay; its foot is the doubt. Time is stretched near now.",
                   "<p>" + escaped(places_in_words(shift, state)) +
                       "</p><ol class=\"rows wideval\">" + rows + "</ol>");
}

std::string pairs_part(const decide::Shift& shift, const line::State& state) {
  const std::vector<const decide::Rung*> all = rungs_to_show(shift);
  if (all.empty()) return {};
  double most = 0.0;
  const double scrap = state.plant.prices.scrap;
  for (const decide::Rung* each : all)
    most = std::max({most, each->worth + scrap, each->waiting + scrap});
  std::string rows;
  for (std::size_t i = 0; i < std::min(all.size(), most_rungs); ++i)
    rows += rung_row(*all[i], most, state);
  const auto taken = static_cast<std::uint64_t>(
      std::ranges::count_if(all, [](const decide::Rung* each) { return each->taken; }));
  std::string lead = fmt::format(
      "{} weighed, {} taken. Of a vial that gets no order the pair that falls short "
      "least is shown.",
      counted(shift.rungs.size(), "pair", "pairs"), grouped(taken));
  if (all.size() > most_rungs)
    lead += fmt::format(" The first {} of {} are drawn.", most_rungs, grouped(all.size()));
  return part_html(
      "Who gets which order",
      fmt::format("Full bar: worth of the pair now, over scrapping. Dotted bar: worth "
                  "of waiting. The rung reaches the order when the pair wins; hollow: it does not. "
                  "Scale 0 to {}.",
                  money(most, state.plant.prices)),
      "<p class=\"caution\"><b>" + std::string(standing_caution) + "</b></p><p>" + escaped(lead) +
          "</p><ol class=\"rows wideval\">" + rows + "</ol>");
}

}  // namespace vialwright::report
