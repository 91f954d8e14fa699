/// What contradicts itself: readings of one vial, and facts about which vial is which.

#include <fmt/format.h>
#include <algorithm>

#include "report/drawing.hpp"
#include "report/facts.hpp"
#include "report/html.hpp"
#include "report/parts.hpp"

namespace vialwright::report {
namespace {

using decide::Decision;

constexpr double told = 0.02;  ///< explanations less likely than this are in the vial's record

std::vector<contents::Explanation> standing(const Decision& decision) {
  std::vector<contents::Explanation> all;
  for (const contents::Explanation& each : decision.estimate->explanations) {
    if (each.odds >= told) all.push_back(each);
  }
  return all;
}

const recipe::Tolerance* net_line(const Decision& decision, const line::State& state) {
  const recipe::Recipe* recipe = bound_recipe(decision, state);
  if (recipe == nullptr) return nullptr;
  const auto found =
      std::find_if(recipe->tolerances.begin(), recipe->tolerances.end(),
                   [](const auto& line) { return line.on == recipe::ToleranceOn::net_mass; });
  return found == recipe->tolerances.end() ? nullptr : &*found;
}

std::string explained(const Decision& decision, const std::vector<contents::Explanation>& all) {
  std::string items;
  for (const contents::Explanation& each : all) {
    items +=
        "<li>" +
        value_html(fmt::format("{}: {}; the vial then holds {}", decide::supposed(each, decision),
                               quantity::odds_in_words(each.odds),
                               quantity::with_doubt(each.net_g, each.u_net_g, "g"))) +
        "</li>";
  }
  return "<ol class=\"plain\">" + items + "</ol>";
}

std::string doubt_row(const Decision& decision, const line::State& state) {
  const std::vector<contents::Explanation> all = standing(decision);
  const recipe::Tolerance* net = net_line(decision, state);
  const std::string drawing =
      net == nullptr ? no_belief_svg("cannot tell")
                     : cannot_tell_svg(*net, all,
                                       "cannot tell: " + counted(all.size(), "explanation stands",
                                                                 "explanations stand"));
  std::string said = explained(decision, all);
  for (const std::string& pair : pairs_in_words(decision)) said += "<p>" + escaped(pair) + "</p>";
  if (!decision.would_change.empty()) {
    said += "<p>What would tell: " + escaped(decision.would_change.front()) + ".</p>";
  }
  return row_html(vial_name_html(decision, state), drawing,
                  "<b>cannot tell</b><br/><span class=\"note\">net mass</span>", said);
}

std::string settled_item(const Decision& decision) {
  if (decision.estimate->explanations.empty()) return {};
  const contents::Explanation& believed = decision.estimate->explanations.front();
  return "<li><b>" + escaped(decision.serial) + "</b>: " +
         value_html(fmt::format("{}; likeliest: {}, {}", decide::word(decision.disposition),
                                decide::supposed(believed, decision),
                                quantity::odds_in_words(believed.odds))) +
         "</li>";
}

std::string events_of(const line::Conflict& conflict) {
  std::string text;
  for (const line::Origin& origin : conflict.between) {
    text += (text.empty() ? "" : ", ") + origin.source + "/" + origin.id;
  }
  return text.empty() ? text : " <span class=\"note mono\">" + escaped(text) + "</span>";
}

std::string conflict_item(const std::string& whose, const line::Conflict& conflict) {
  const std::string name = whose.empty() ? whose : "<b>" + escaped(whose) + "</b>: ";
  return "<li>" + name + escaped(conflict.what) + events_of(conflict) + "</li>";
}

std::vector<std::string> conflict_items(const Questions& questions, const line::State& state) {
  std::vector<std::string> items;
  for (const line::VialRecord* vial : questions.in_conflict) {
    for (const line::Conflict& conflict : vial->conflicts) {
      items.push_back(conflict_item(vial->serial, conflict));
    }
  }
  for (const line::Conflict& conflict : state.conflicts) {
    items.push_back(conflict_item("", conflict));
  }
  for (const Error& unread : state.unread) {
    items.push_back("<li>Not read: " + escaped(unread.what) + " <span class=\"note mono\">" +
                    escaped(unread.where) + "</span>; " + escaped(unread.mend) + "</li>");
  }
  return items;
}

/// The first dozen in view, the rest folded away but there.
std::string folded_list(const std::vector<std::string>& items) {
  constexpr std::size_t in_view = 12;
  std::string shown, rest;
  for (std::size_t i = 0; i < items.size(); ++i) (i < in_view ? shown : rest) += items[i];
  std::string html = "<ul class=\"plain\">" + shown + "</ul>";
  if (rest.empty()) return html;
  return html + "<details><summary><b>" + grouped(items.size() - in_view) +
         " more</b></summary><div><ul class=\"plain\">" + rest + "</ul></div></details>";
}

}  // namespace

std::string contradictions_part(const Questions& questions, const line::State& state) {
  if (questions.contradicted.empty()) return {};
  std::string rows, settled;
  for (const Decision* decision : questions.contradicted) {
    if (cannot_tell(*decision)) {
      rows += doubt_row(*decision, state);
    } else {
      settled += settled_item(*decision);
    }
  }
  std::string html;
  if (!rows.empty()) html += "<ol class=\"rows wideval\">" + rows + "</ol>";
  if (!settled.empty()) {
    html +=
        "<h3>Contradicted, and decided all the same</h3><ul class=\"plain\">" + settled + "</ul>";
  }
  return part_html("Readings that contradict",
                   "No mound where there is no belief: each explanation that stands is a broken "
                   "line at the net mass it would mean, numbered.",
                   html);
}

std::string conflicts_part(const Questions& questions, const line::State& state) {
  const std::vector<std::string> items = conflict_items(questions, state);
  if (items.empty()) return {};
  return part_html("Conflicts",
                   "Facts that disagree about which vial is which, or that name things the line "
                   "does not know. Nothing is guessed.",
                   "<div class=\"strip minds\"><p><span class=\"care\">" +
                       mark_html("care", counted(items.size(), "conflict", "conflicts")) +
                       "</span></p>" + folded_list(items) + "</div>");
}

}  // namespace vialwright::report
