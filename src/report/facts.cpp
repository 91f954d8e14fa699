#include "report/facts.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/become.hpp"
#include "report/seen.hpp"
#include "report/tally.hpp"

namespace vialwright::report {
namespace {

constexpr const char* none = "\u2013";

struct Axis {
  std::string name, unit, asked;
  int index = 0;
};

std::string asked_of(int stock, const decide::Decision& decision) {
  double sum = 0.0;
  for (const contents::Dose& dose : decision.evidence.doses) {
    if (dose.stock != stock) continue;
    if (!dose.commanded_g || dose.aborted) return none;
    sum += *dose.commanded_g;
  }
  return fmt::format("{:.3f}\u00A0g", sum);
}

std::vector<int> dosed_stocks(const decide::Decision& decision) {
  std::vector<int> stocks;
  for (const contents::Dose& dose : decision.evidence.doses) {
    if (std::find(stocks.begin(), stocks.end(), dose.stock) == stocks.end()) {
      stocks.push_back(dose.stock);
    }
  }
  return stocks;
}

std::vector<Axis> axes_of(const decide::Decision& decision, const line::State& state) {
  const contents::Belief& belief = decision.estimate->belief;
  std::vector<Axis> axes;
  for (const int stock : dosed_stocks(decision)) {
    axes.push_back({stock_name(stock, state) + ", as dosed", "g", asked_of(stock, decision),
                    belief.stock(stock)});
  }
  for (int k = 0; k < belief.components; ++k) {
    // A component that no dosed lot brings is exactly zero, and no news.
    if (belief.mean[k] == 0.0 && belief.u(k) == 0.0) continue;
    axes.push_back({component_name(k, state) + ", component", "mg", none, belief.component(k)});
  }
  axes.push_back({"net mass", "g", none, belief.net()});
  axes.push_back({"volume", "mL", none, belief.volume()});
  return axes;
}

std::string number(double value, const std::string& unit) {
  return quantity::shortest(std::round(value * 1e6) / 1e6) + "\u00A0" + unit;
}

/// A colour has many values: those of three axes are said, of more only the one furthest off.
std::string values_of(const contents::Reading& reading, const contents::ReadingReport& report) {
  const auto& values = reading.values;
  if (values.empty()) return "no values";
  const auto two = [](double value) {
    return quantity::shortest(std::round(value * 100.0) / 100.0);
  };
  if (values.size() <= 4) {
    std::string text;
    for (const double value : values) text += (text.empty() ? "" : "; ") + two(value);
    return text;
  }
  const auto worst = static_cast<std::size_t>(std::max(report.worst_value, 0));
  return fmt::format(
      "{} values; value {} is {}", values.size(), worst + 1,
      quantity::shortest(std::round(values[std::min(worst, values.size() - 1)] * 1e4) / 1e4));
}

std::vector<std::string> colour_row(const contents::ReadingReport& report,
                                    const decide::ReadingName& name,
                                    const contents::Reading& reading) {
  const bool many = reading.values.size() > 1;
  const std::string predicted = quantity::shortest(std::round(report.predicted * 1e3) / 1e3);
  return {name.label,
          name.instrument,
          values_of(reading, report),
          many ? fmt::format("value {}: {}", report.worst_value + 1, predicted) : predicted,
          report.reason.empty() ? pull(report) : "\u2013",
          report.counted          ? "yes"
          : report.reason.empty() ? "no: set aside"
                                  : "no: " + report.reason};
}

std::vector<std::string> reading_row(const contents::ReadingReport& report,
                                     const decide::ReadingName& name, double value) {
  return {name.label,
          name.instrument,
          number(value, name.unit),
          number(std::round(report.predicted * 1e4) / 1e4, name.unit),
          pull(report),
          report.counted ? "yes" : "no: set aside"};
}

std::vector<std::string> command_row(const contents::ReadingReport& report,
                                     const contents::Dose& dose, const line::State& state) {
  const std::string station = dose.station < 0
                                  ? "by hand"
                                  : state.plant.stations[static_cast<std::size_t>(dose.station)].id;
  return {"asked for " + stock_name(dose.stock, state),
          station,
          number(*dose.commanded_g, "g"),
          number(std::round(report.predicted * 1e4) / 1e4, "g"),
          pull(report),
          report.counted ? "yes" : "no: set aside"};
}

std::string chance_of(double p_value) {
  if (p_value >= 0.01) return quantity::odds_in_words(p_value);
  if (p_value < 1e-6) return "fewer than 1 in 1,000,000";
  return "about 1 in " + grouped(static_cast<std::uint64_t>(std::llround(1.0 / p_value)));
}

/// By how much an explanation says that something is off, in its own unit.
std::string shift_of(const contents::Explanation& each, const decide::Decision& decision) {
  if (each.wrong == contents::Explanation::Wrong::nothing) return none;
  const auto at = static_cast<std::size_t>(std::max(each.index, 0));
  const bool by_reading =
      each.wrong == contents::Explanation::Wrong::reading && at < decision.readings.size();
  if (each.wrong == contents::Explanation::Wrong::faded)
    return quantity::with_doubt(100.0 * each.shift, 100.0 * each.u_shift, "%") + " lost";
  if (each.wrong == contents::Explanation::Wrong::colourant)
    return quantity::with_doubt(std::abs(each.shift), each.u_shift, "1/cm") +
           (each.shift < 0.0 ? " too little" : " at its peak");
  return quantity::with_doubt(each.shift, each.u_shift,
                              by_reading ? decision.readings[at].unit : "g");
}

/// As the beginning of a sentence.
std::string begun(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 32);
  return text;
}

std::string consumer_risk(const recipe::Recipe* recipe, const line::State& state) {
  const double line_risk = state.plant.risks.consumer;
  return quantity::odds_in_words(recipe == nullptr ? line_risk
                                                   : recipe->consumer_risk.value_or(line_risk));
}

}  // namespace

Table contents_facts(const decide::Decision& decision, const line::State& state) {
  Table table{{{"amount"}, {"estimate", true}, {"95 % interval", true}, {"asked", true}}, {}};
  if (!decision.estimate) return table;
  const contents::Belief& belief = decision.estimate->belief;
  for (const Axis& axis : axes_of(decision, state)) {
    const double mean = belief.mean[axis.index], u = belief.u(axis.index);
    table.rows.push_back(
        {axis.name, amount(mean, u, axis.unit), interval(mean, u, axis.unit), axis.asked});
  }
  return table;
}

std::string contents_caveat(const decide::Decision& decision) {
  return cannot_tell(decision)
             ? "Cannot tell: readings contradict each other, and these numbers hold only "
               "under the likeliest explanation."
             : "";
}

Table line_facts(const decide::Decision& decision, const recipe::Recipe& recipe,
                 const line::State& state) {
  Table table{{{"tolerance line"}, {"value", true}, {"wanted"}, {"holds"}, {"binds"}}, {}};
  if (!decision.conformity) return table;
  const auto& lines = decision.conformity->lines;
  for (std::size_t i = 0; i < std::min(lines.size(), recipe.tolerances.size()); ++i) {
    const recipe::Tolerance& tolerance = recipe.tolerances[i];
    table.rows.push_back({recipe::name_of(tolerance, state.book), line_value(lines[i], recipe, i),
                          limits(tolerance), odds(lines[i].holds),
                          decision.conformity->binding == static_cast<int>(i) ? "binds" : ""});
  }
  return table;
}

Table reading_facts(const decide::Decision& decision, const line::State& state) {
  Table table{
      {{"reading"}, {"by"}, {"read", true}, {"others say", true}, {"pulls", true}, {"counted"}},
      {}};
  if (!decision.estimate) return table;
  const auto& reports = decision.estimate->readings;
  for (std::size_t i = 0; i < std::min(reports.size(), decision.readings.size()); ++i) {
    const contents::Reading& reading = decision.evidence.readings[i];
    table.rows.push_back(reading.kind == contents::ReadingKind::colour
                             ? colour_row(reports[i], decision.readings[i], reading)
                             : reading_row(reports[i], decision.readings[i], reading.value));
  }
  const auto& commands = decision.estimate->commands;
  for (std::size_t d = 0; d < std::min(commands.size(), decision.evidence.doses.size()); ++d) {
    const contents::Dose& dose = decision.evidence.doses[d];
    const bool is_evidence = dose.commanded_g && !dose.aborted && state.plant.command_is_evidence;
    if (is_evidence) table.rows.push_back(command_row(commands[d], dose, state));
  }
  return table;
}

std::string order_in_words(const decide::TopupAnswer& answer, const decide::Decision& decision) {
  if (answer.recipe == decision.for_recipe && !decision.for_order.empty())
    return decision.for_order;
  return answer.order.empty() ? "none open" : answer.order;
}

Table topup_facts(const decide::Decision& decision, const line::State& state) {
  Table table{{{"recipe"},
               {"add, in this order"},
               {"odds (95\u00A0%)"},
               {"cost", true},
               {"worth", true},
               {"order"}},
              {}};
  for (const decide::TopupAnswer& answer : decision.topups) {
    const topup::Topup& topup = answer.topup;
    const bool found = topup.outcome == topup::Outcome::found;
    table.rows.push_back(
        {recipe_name(answer.recipe, state), addition_in_words(answer, decision, state),
         odds_of_answer(answer), found ? money(topup.cost, state.plant.prices) : none,
         answer.worth == 0.0 ? none : over_scrapping(answer.worth, state.plant.prices),
         order_in_words(answer, decision)});
  }
  return table;
}

Table explanation_facts(const decide::Decision& decision) {
  Table table{{{"explanation"}, {"odds"}, {"off by", true}, {"the vial then holds", true}}, {}};
  if (!decision.estimate) return table;
  std::uint64_t rare = 0;
  for (const contents::Explanation& each : decision.estimate->explanations) {
    if (each.odds < 0.01) {
      ++rare;
      continue;
    }
    table.rows.push_back({decide::supposed(each, decision), quantity::odds_in_words(each.odds),
                          shift_of(each, decision),
                          quantity::with_doubt(each.net_g, each.u_net_g, "g")});
  }
  if (rare > 0) {
    table.rows.push_back({grouped(rare) + " more", "each fewer than 1 in\u00A0100", none, none});
  }
  return table;
}

const recipe::Recipe* bound_recipe(const decide::Decision& decision, const line::State& state) {
  const line::VialRecord* vial = line::find_vial(state, decision.serial);
  if (vial != nullptr && vial->recipe) return &*vial->recipe;
  return decision.recipe.empty() ? nullptr : line::find_recipe(state, decision.recipe);
}

std::string binding_in_words(const decide::Decision& decision, const line::State& state) {
  if (decision.recipe.empty()) return "Bound to no order and recipe";
  const recipe::Recipe* recipe = bound_recipe(decision, state);
  const std::string name =
      recipe == nullptr || recipe->name.empty() ? decision.recipe : recipe->name;
  const std::string order = decision.order.empty() ? "no order" : "order " + decision.order;
  return fmt::format("Bound to {}, recipe {} version {}", order, name, decision.recipe_version);
}

std::string fit_in_words(const decide::Decision& decision) {
  if (!decision.estimate) return "Nothing was estimated.";
  const contents::Estimate& estimate = *decision.estimate;
  if (estimate.degrees == 0) return "Nothing checks these readings: each stands alone.";
  const std::string numbers = fmt::format(
      "chi squared {:.1f}, {}; chance of that when nothing is wrong: {}", estimate.chi_squared,
      counted(static_cast<std::uint64_t>(estimate.degrees), "degree of freedom",
              "degrees of freedom"),
      chance_of(estimate.p_value));
  if (!estimate.contradiction) return "All readings fit together (" + numbers + ").";
  const char* told =
      estimate.settled ? "One explanation is believed" : "Cannot tell which is wrong";
  return fmt::format("The readings contradict each other ({}). {}.", numbers, told);
}

std::string conformity_in_words(const decide::Decision& decision, const line::State& state) {
  if (!decision.conformity) return "No recipe to meet.";
  const conformity::Conformity& found = *decision.conformity;
  std::string error;
  if (found.joint.error >= 1e-6) {
    error = fmt::format(", numerical error at most {:.1g}", found.joint.error);
  }
  if (decision.whichever) {
    return begun(odds(*decision.whichever)) +
           " that each line holds, over all explanations of the "
           "contradiction; at most " +
           consumer_risk(bound_recipe(decision, state), state) +
           " may be wrong. The lines below hold under the likeliest explanation alone.";
  }
  const char* ruling = found.ruling == conformity::Ruling::release  ? "That is enough"
                       : found.ruling == conformity::Ruling::reject ? "That is too little"
                                                                    : "That decides neither way";
  return fmt::format(
      "{} that {} holds{}. {}: at most {} may be wrong.{}", begun(odds(found.joint)),
      found.lines.size() == 1 ? "its line" : fmt::format("each of {} lines", found.lines.size()),
      error, ruling, consumer_risk(bound_recipe(decision, state), state),
      found.on_the_edge ? " On the edge: within the numerical error." : "");
}

std::string net_in_words(const decide::Decision& decision) {
  const bool known = decision.estimate && !decision.evidence.doses.empty();
  if (!known) return "not known";
  const contents::Belief& belief = decision.estimate->belief;
  return amount(belief.mean[belief.net()], belief.u(belief.net()), "g");
}

std::string goodness_in_words(const decide::Decision& decision) {
  if (cannot_tell(decision)) return "cannot tell";
  if (decision.whichever) return odds(*decision.whichever);
  return decision.conformity ? odds(decision.conformity->joint) : none;
}

std::vector<std::string> pairs_in_words(const decide::Decision& decision) {
  std::vector<std::string> lines;
  if (!decision.estimate) return lines;
  for (const contents::CriticalPair& pair : decision.estimate->critical_pairs) {
    lines.push_back(fmt::format("Cannot tell these apart: {} and {}.",
                                reading_name(pair.one, decision),
                                reading_name(pair.other, decision)));
  }
  return lines;
}

const decide::TopupAnswer* planned(const decide::Decision& decision) {
  using decide::Disposition;
  const bool plans = decision.disposition == Disposition::rework ||
                     decision.disposition == Disposition::hold ||
                     decision.disposition == Disposition::scrap;
  const decide::TopupAnswer* best = nullptr;
  for (const decide::TopupAnswer& answer : decision.topups) {
    if (!plans || answer.topup.outcome != topup::Outcome::found) continue;
    if (!decision.for_recipe.empty() && answer.recipe == decision.for_recipe) return &answer;
    const bool own = answer.recipe == decision.recipe;
    if (own && decision.disposition == Disposition::rework) return &answer;
    if (best == nullptr || answer.topup.odds.value > best->topup.odds.value) best = &answer;
  }
  return best;
}

}  // namespace vialwright::report
