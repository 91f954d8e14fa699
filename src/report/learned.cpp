#include "report/learned.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/words.hpp"

namespace vialwright::report {
namespace {

constexpr int few = 20;  ///< outcomes below which nothing is said about calibration

std::string signed_mg(double grams) {
  const std::string text = fmt::format("{:.1f}", std::abs(1000.0 * grams));
  return (grams < 0.0 ? "\u2212" : "+") + text;
}

/// More decimals than the doubt allows would only look exact.
std::string per_day(const holding::Demand& demand) {
  const auto interval = demand.rate_95();
  const int decimals = demand.rate() >= 10.0 ? 1 : 2;
  return fmt::format("{:.{}f} ({:.{}f} to {:.{}f})", demand.rate(), decimals, interval.low,
                     decimals, interval.high, decimals);
}

}  // namespace

std::string calibration_in_words(const outcomes::Score& score) {
  if (score.n == 0) return "No top-up has an outcome yet: the odds stand as they are computed.";
  const std::string so_far =
      counted(static_cast<std::uint64_t>(score.n), "outcome", "outcomes") + " so far. ";
  if (score.n < few)
    return so_far + "Too few to tell whether the odds are right; they are corrected little.";
  const double z = (score.brier - score.expected) / std::max(1e-9, score.u_expected);
  if (std::abs(z) < 2.0)
    return so_far + "They agree with the odds as far as their number can tell.";
  return so_far + (z > 0.0 ? "They came out worse than the odds said: odds are corrected."
                           : "They came out better than the odds said: odds are corrected.");
}

Table habits_table(const decide::Learned& learned, const line::State& state) {
  Table table{{{"station"},
               {"stock"},
               {"doses", true},
               {"bias, mg (95 %)"},
               {"spread, mg (95 %)"},
               {"stated, mg", true}},
              {}};
  for (const outcomes::DoseHabit& each : learned.habits) {
    table.rows.push_back({state.plant.stations[static_cast<std::size_t>(each.station)].id,
                          stock_name(each.stock, state), std::to_string(each.n),
                          fmt::format("{} ({} to {})", signed_mg(each.bias_g),
                                      signed_mg(each.bias_low), signed_mg(each.bias_high)),
                          fmt::format("{:.1f} ({:.1f} to {:.1f})", 1000.0 * each.spread_g,
                                      1000.0 * each.spread_low, 1000.0 * each.spread_high),
                          fmt::format("{:.1f}", 1000.0 * each.stated_spread_g)});
  }
  return table;
}

Table colours_table(const decide::Learned& learned, const line::State& state) {
  Table table{{{"what"}, {"vials", true}, {"by the book", true}, {"learned (95 %)", true}}, {}};
  if (!learned.colours) return table;
  for (const strength::Learned& each : learned.colours->learned) {
    // A strength and an absorptivity cannot be told apart by colour: their product can.
    if (each.vials == 0 || each.kind == strength::Learned::Kind::strength) continue;
    const bool scale = each.kind == strength::Learned::Kind::absorptivity;
    const double times = scale ? 100.0 : 1.0;
    const char* unit = scale ? "%" : "mg/g";
    table.rows.push_back({strength::name_of(each, state.book) + (scale ? ", off the book" : ""),
                          std::to_string(each.vials),
                          quantity::with_doubt(times * each.prior, times * each.u_prior, unit),
                          quantity::with_doubt(times * each.value, times * each.u, unit)});
  }
  return table;
}

std::vector<std::string> colours_in_words(const decide::Learned& learned) {
  if (!learned.colours) return {};
  const strength::Lesson& lesson = *learned.colours;
  const auto counted_in = static_cast<std::uint64_t>(
      std::ranges::count_if(lesson.samples, [](const auto& each) { return each.counted; }));
  std::vector<std::string> told = {counted(counted_in, "vial", "vials") +
                                   " known by weight and looked at taught this."};
  std::string aside;
  for (std::size_t i = 0; i < lesson.samples.size() && i < learned.samples.size(); ++i)
    if (!lesson.samples[i].counted) aside += (aside.empty() ? "" : ", ") + learned.samples[i];
  if (!aside.empty())
    told.push_back("Set aside, since they fit none of the others: " + aside + ".");
  if (lesson.p_value < 0.01)
    told.emplace_back(
        "They scatter more than the stated doubts allow: take these intervals as too "
        "narrow.");
  for (const std::string& next : learned.next_samples) told.push_back("Would teach most: " + next);
  return told;
}

Table demand_table(const decide::Learned& learned, const line::State& state) {
  std::vector<const decide::Learned::RecipeDemand*> ordered;
  for (const auto& each : learned.demand)
    if (each.demand.orders > 0) ordered.push_back(&each);
  std::ranges::stable_sort(
      ordered, [](const auto* a, const auto* b) { return a->demand.rate() > b->demand.rate(); });
  constexpr std::size_t most = 12;
  if (ordered.size() > most) ordered.resize(most);
  Table table{{{"recipe"}, {"orders", true}, {"a day (95 %)"}, {"one within a day"}, {""}}, {}};
  for (const auto* each : ordered) {
    table.rows.push_back({recipe_name(each->recipe, state), std::to_string(each->demand.orders),
                          per_day(each->demand),
                          quantity::odds_in_words(each->demand.odds_of_one(1.0)),
                          each->demand.bursts ? "comes in bursts" : ""});
  }
  return table;
}

}  // namespace vialwright::report
