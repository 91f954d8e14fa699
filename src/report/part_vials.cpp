/// The foldable record of every vial, and the pieces that rows about one vial share.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/become.hpp"
#include "report/colour_parts.hpp"
#include "report/drawing.hpp"
#include "report/facts.hpp"
#include "report/html.hpp"
#include "report/parts.hpp"
#include "report/seen.hpp"

namespace vialwright::report {
namespace {

using decide::Decision;

std::string titled(const char* title, const std::string& matter) {
  return matter.empty() ? matter : fmt::format("<h3>{}</h3>", title) + matter;
}

std::string said(const std::string& sentence) { return "<p>" + value_html(sentence) + "</p>"; }

double full_of(const Decision& decision, const line::State& state) {
  if (!decision.estimate || decision.evidence.doses.empty()) return 0.0;
  const contents::Belief& belief = decision.estimate->belief;
  const auto at = static_cast<std::size_t>(decision.evidence.container);
  if (at >= state.plant.containers.size()) return 0.0;
  const double brim = state.plant.containers[at].brimful_ml;
  return brim > 0.0 ? belief.mean[belief.volume()] / brim : 0.0;
}

bool all_inside(const Decision& decision, const recipe::Recipe& recipe) {
  for (std::size_t i = 0; i < decision.conformity->lines.size(); ++i) {
    const auto& found = decision.conformity->lines[i];
    const double reach = 3.0 * found.u;
    const bool inside = found.value - reach >= recipe.tolerances[i].low &&
                        found.value + reach <= recipe.tolerances[i].high;
    if (!inside) return false;
  }
  return true;
}

/// Every tolerance line drawn, for a vial that needs a look.
std::string channels(const Decision& decision, const recipe::Recipe& recipe,
                     const line::State& state) {
  if (!decision.conformity) return {};
  const double clear = all_inside(decision, recipe) ? wide_clear : narrow_clear;
  std::string rows;
  for (std::size_t i = 0; i < decision.conformity->lines.size(); ++i) {
    const recipe::Tolerance& tolerance = recipe.tolerances[i];
    const auto& found = decision.conformity->lines[i];
    const std::string value = value_html(line_value(found, recipe, i)) +
                              "<br/><span class=\"note\">wants " + escaped(limits(tolerance)) +
                              "</span>";
    const std::string binds =
        decision.conformity->binding == static_cast<int>(i) ? ". This line binds." : "";
    rows += row_html("<b>" + escaped(recipe::name_of(tolerance, state.book)) + "</b>",
                     channel_of(decision, recipe, i, clear, state), value,
                     escaped(odds(found.holds) + " inside" + binds));
  }
  return "<ol class=\"rows wideval\">" + rows + "</ol>";
}

std::string good_section(const Decision& decision, const line::State& state) {
  const recipe::Recipe* recipe = bound_recipe(decision, state);
  std::string html = said(conformity_in_words(decision, state));
  if (recipe == nullptr || !decision.conformity) return html;
  const bool calm = decision.disposition == decide::Disposition::release ||
                    decision.disposition == decide::Disposition::open;
  // A mound is a belief; where the evidence cannot tell there is none to draw.
  return html + (calm || cannot_tell(decision)
                     ? table_html(line_facts(decision, *recipe, state), "k-lines")
                     : channels(decision, *recipe, state));
}

std::string readings_section(const Decision& decision, const line::State& state) {
  std::string html = said(fit_in_words(decision));
  const Table facts = reading_facts(decision, state);
  if (!facts.rows.empty()) html += table_html(facts, "k-readings");
  std::vector<std::string> notes;
  for (const std::string& unused : decision.unused) notes.push_back("Not used: " + unused);
  if (decision.estimate) {
    for (const auto& unseen : decision.estimate->unseen) {
      notes.push_back("Not seen by any reading: " + unseen.what);
    }
  }
  return html + list_html(notes);
}

/// A lane for each impossibility that a single amount shows.
std::string overruns(const Decision& decision, const line::State& state) {
  std::string rows;
  for (const decide::TopupAnswer& answer : decision.topups) {
    if (!answer.proved) continue;
    const auto found = overrun_of(answer.proved->claim);
    if (!found) continue;
    rows +=
        row_html("<b>" + escaped(recipe_name(answer.recipe, state)) + "</b>", overrun_svg(*found),
                 "<span class=\"note\">" + escaped(found->what) + "</span>", "");
  }
  return rows.empty() ? rows : "<ol class=\"rows wideval\">" + rows + "</ol>";
}

std::string topup_section(const Decision& decision, const line::State& state) {
  if (decision.topups.empty()) return {};
  return "<p class=\"caution\">" + std::string(standing_caution) + "</p>" +
         (cannot_tell(decision) ? std::string() : reach_section(decision, state)) +
         table_html(topup_facts(decision, state), "k-topups") +
         list_html(topup_notes(decision, state)) + overruns(decision, state);
}

std::string money_section(const Decision& decision, const line::State& state) {
  std::vector<std::string> told = waiting_in_words(decision, state);
  const std::string money = money_in_words(decision, state);
  if (!money.empty()) told.insert(told.begin(), money);
  return list_html(told);
}

std::string contents_section(const Decision& decision, const line::State& state) {
  if (decision.evidence.doses.empty())
    return said("No dose is known; nothing is believed to be in it.");
  const std::string caveat = contents_caveat(decision);
  return (caveat.empty() ? caveat : "<p><b>" + caveat + "</b></p>") +
         table_html(contents_facts(decision, state), "k-contents");
}

/// Drawn for vials that need a look; a sentence for the others.
std::string looks_section(const Decision& decision, const line::State& state) {
  const bool calm = decision.disposition == decide::Disposition::release ||
                    decision.disposition == decide::Disposition::open;
  if (!calm && !cannot_tell(decision))
    return colour_section(decision, state, full_of(decision, state));
  const auto seen = seen_of(decision, state);
  return seen ? said(colour_name(seen->colour.mean) + ": " + lab_in_words(seen->colour) + ".")
              : std::string();
}

std::string record(const Decision& decision, const line::State& state) {
  const Table explanations = explanation_facts(decision);
  return "<p><b>" + value_html(decision.headline) + "</b></p>" +
         said(binding_in_words(decision, state) + ".") +
         titled("Why", list_html(decision.reasons)) +
         titled("What is in it", contents_section(decision, state)) +
         titled("What it looks like", looks_section(decision, state)) +
         titled("Is it good?", good_section(decision, state)) +
         titled("Who says so", readings_section(decision, state)) +
         titled("What may be wrong", explanations.rows.empty() ? "" : table_html(explanations)) +
         titled("What it could become", topup_section(decision, state)) +
         titled("What it is worth", money_section(decision, state)) +
         titled("What would change it", list_html(decision.would_change)) +
         fmt::format("<p class=\"note\"><span class=\"mono\">{}</span>, holds until {}.</p>",
                     escaped(decision.id), escaped(day_and_time(decision.expires)));
}

std::string folded(const Decision& decision, const line::State& state) {
  const std::string edge = decision.on_the_edge ? ", on the edge" : "";
  return fmt::format(
      "<details><summary><b class=\"serial\">{}</b><span>{}{}</span><span class=\"wide\">{}</span>"
      "<span class=\"wide\">{}</span></summary>\n<div>{}</div></details>\n",
      escaped(decision.serial),
      mark_html(symbol_of(decision.disposition), decide::word(decision.disposition)), edge,
      escaped(decision.recipe.empty() ? "no recipe" : recipe_name(decision.recipe, state)),
      escaped("good: " + goodness_in_words(decision)), record(decision, state));
}

}  // namespace

std::string row_html(const std::string& name, const std::string& drawing, const std::string& value,
                     const std::string& said) {
  const std::string below = said.empty() ? said : "<span class=\"said\">" + said + "</span>";
  return fmt::format(
      "<li class=\"row\"><span class=\"name\">{}</span>{}<span class=\"val\">{}</span>{}</li>\n",
      name, drawing, value, below);
}

std::string vial_name_html(const Decision& decision, const line::State& state) {
  return "<span class=\"glasschip\">" +
         glass_svg(full_of(decision, state), behind_glass(decision, state)) +
         "<span class=\"serial\">" + escaped(decision.serial) + "</span></span>";
}

std::string channel_of(const Decision& decision, const recipe::Recipe& recipe, std::size_t line,
                       double clear, const line::State& state) {
  const conformity::LineReport& found = decision.conformity->lines[line];
  Channel channel;
  channel.tolerance = recipe.tolerances[line];
  channel.value = found.value;
  channel.u = found.u;
  channel.binds = decision.conformity->binding == static_cast<int>(line);
  channel.clear = clear;
  channel.alternative =
      fmt::format("{} {}, wanted {}; holds {}", recipe::name_of(channel.tolerance, state.book),
                  line_value(found, recipe, line), limits(channel.tolerance), odds(found.holds));
  if (channel.tolerance.on == recipe::ToleranceOn::colour && found.seen)
    return difference_of(decision, recipe, line, clear, channel.alternative);
  return channel_svg(channel);
}

std::string vials_part(const decide::Shift& shift, const line::State& state) {
  std::string html;
  for (const Decision& decision : shift.decisions) html += folded(decision, state);
  if (html.empty()) html = "<p>No vials yet.</p>";
  return part_html("Every vial", "Unfold one to see what is in it, who says so and why.", html);
}

}  // namespace vialwright::report
