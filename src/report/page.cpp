/// The page of a shift: one file with its style, marks and fonts inside, and no script.

#include <fmt/format.h>
#include <algorithm>

#include "report/assets.hpp"
#include "report/facts.hpp"
#include "report/html.hpp"
#include "report/parts.hpp"
#include "report/report.hpp"
#include "report/words.hpp"

namespace vialwright::report {
namespace {

std::string font_face(int weight, std::string_view file) {
  return fmt::format(
      "@font-face {{ font-family: \"Hyperlegible\"; src: "
      "url(data:font/woff2;base64,{}) format(\"woff2\"); font-weight: {}; }}\n",
      base64(asset(file)), weight);
}

/// The columns of the tables of every record, said once for a narrow screen.
std::string record_style(const line::State& state) {
  const decide::Decision none;
  return folding_style(contents_facts(none, state), "k-contents") +
         folding_style(line_facts(none, {}, state), "k-lines") +
         folding_style(reading_facts(none, state), "k-readings") +
         folding_style(topup_facts(none, state), "k-topups");
}

std::string style(const line::State& state) {
  return "<style>/* Fonts: Atkinson Hyperlegible Next, under the SIL Open Font License 1.1, "
         "copyright 2020-2024 The Atkinson Hyperlegible Next Project Authors. */\n" +
         font_face(400, "hyperlegible-400.woff2") + font_face(700, "hyperlegible-700.woff2") +
         std::string(asset("look.css")) + record_style(state) + "</style>\n";
}

std::string head(const std::string& line_name, const line::State& state) {
  return "<head><meta charset=\"utf-8\"/>"
         "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
         "'unsafe-inline'; font-src data:\"/>"
         "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<title>Shift "
         "report: " +
         escaped(line_name) + "</title>\n" + style(state) + "</head>\n";
}

std::string top(const std::string& line_name, const line::State& state) {
  return fmt::format(
      "<header class=\"top\"><span class=\"us\">Vialwright</span><span>{}</span>"
      "<span>as of <b class=\"num\">{}</b></span></header>\n",
      escaped(line_name), escaped(day_and_time(state.as_of)));
}

/// "a", "a and b", "a, b and c".
std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size(); ++i) {
    text += (i == 0 ? "" : i + 1 == names.size() ? " and " : ", ") + names[i];
  }
  return text;
}

/// What a person should know first after the counts.
std::string lead(const std::vector<Pulls>& pulls, const Questions& questions) {
  std::vector<std::string> careful;
  for (const Pulls& each : pulls) {
    if (each.needs_care()) careful.push_back(each.instrument);
  }
  std::string text;
  if (!careful.empty()) {
    text += "Readings of " + joined(careful) + " stood far off more often than by chance. ";
  }
  const auto unsettled = static_cast<std::uint64_t>(
      std::count_if(questions.contradicted.begin(), questions.contradicted.end(),
                    [](const auto* each) { return cannot_tell(*each); }));
  if (unsettled > 0) {
    text += "Of " + counted(unsettled, "vial", "vials") +
            " the readings contradict each other and we cannot tell which is wrong. ";
  }
  if (!questions.in_conflict.empty()) {
    text += "Of " + counted(questions.in_conflict.size(), "vial", "vials") +
            " the facts about which is which disagree. ";
  }
  return text.empty() ? "The readings agree with each other." : text;
}

std::string foot(const decide::Provenance& from, const line::State& state) {
  return fmt::format(
      "<footer class=\"foot\"><p>{} {}</p><p>Computed as of {} from logbook position {}. Numbers "
      "after \u00B1 are half of a 95 % interval; u is a standard uncertainty.</p></footer>\n",
      advice_only, standing_caution, escaped(day_and_time(state.as_of)), grouped(from.position));
}

std::string fact(const char* name, const std::string& html) {
  return fmt::format("<dt>{}</dt><dd>{}</dd>", name, html);
}

/// Four digits at a time, so that two people can compare it aloud.
std::string in_fours(const std::string& hex) {
  std::string text;
  for (std::size_t i = 0; i < hex.size(); i += 4) {
    text += (i > 0 ? " " : "") + hex.substr(i, 4);
  }
  return text;
}

}  // namespace

std::string check_part(const decide::Provenance& from, const line::State& state) {
  const std::string mono = "<span class=\"mono\">";
  return part_html(
      "To check this report",
      "The same logbook, line file and build give the same report. Keep the head: verifying "
      "against it shows a book that was rewritten or shortened.",
      "<dl class=\"facts\">" +
          fact("logbook", "positions 1 to " + grouped(from.position) + ", " +
                              escaped(counted(state.facts, "fact", "facts"))) +
          fact("head", mono + escaped(in_fours(from.head)) + "</span>") +
          fact("as of", escaped(day_and_time(state.as_of))) + fact("build", escaped(from.build)) +
          fact("vectors", escaped(from.cpu)) + fact("seed", std::to_string(from.seed)) +
          fact("risk", "release when at most " +
                           escaped(quantity::odds_in_words(state.plant.risks.consumer)) +
                           " would be wrong; a recipe may ask for less") +
          fact("advice",
               "holds " + escaped(span_of(state.plant.risks.advice_lasts_s)) + " at the longest") +
          fact("seen by", "<span class=\"seen\" style=\"display:block\"></span>") + "</dl>");
}

std::string shift_page(const decide::Shift& shift, const line::State& state,
                       const std::string& line_name) {
  const Questions questions = questions_of(shift, state);
  const std::vector<Pulls> pulls = pulls_of(shift);
  return "<!DOCTYPE html>\n<html lang=\"en\">\n" + head(line_name, state) + "<body>\n" +
         std::string(asset("marks.svg")) + top(line_name, state) + "<main>\n<h1>" +
         escaped(headline(shift)) + "</h1>\n<p class=\"lead\">" + escaped(lead(pulls, questions)) +
         "</p>\n" + decided_part(shift) + not_released_part(questions, state) +
         topups_part(questions, state) + pairs_part(shift, state) + held_part(shift, state) +
         learned_part(shift, state) + contradictions_part(questions, state) +
         conflicts_part(questions, state) + contents_part(shift, state) + instruments_part(pulls) +
         vials_part(shift, state) + check_part(shift.provenance, state) + "</main>\n" +
         foot(shift.provenance, state) + "</body></html>\n";
}

}  // namespace vialwright::report
