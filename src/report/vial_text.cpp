/// One vial for a terminal: in full, and why in plain words.

#include <fmt/format.h>
#include <algorithm>

#include "report/become.hpp"
#include "report/facts.hpp"
#include "report/report.hpp"
#include "report/strong.hpp"
#include "report/tally.hpp"

namespace vialwright::report {
namespace {

/// The parts of one vial, written one after the other at one width.
class Writer {
 public:
  Writer(const decide::Decision& decision, const line::State& state, const Look& look)
      : decision_(decision), state_(state), look_(look) {}

  [[nodiscard]] std::string full() {
    answer();
    say(binding_in_words(decision_, state_) + ".");
    why();
    contents();
    lines();
    readings();
    contradiction();
    topups();
    worth();
    change();
    end();
    return text_;
  }

  [[nodiscard]] std::string short_form() {
    answer();
    why();
    contradiction();
    plan();
    worth();
    change();
    end();
    return text_;
  }

 private:
  void say(const std::string& sentence, std::string_view first = "", std::string_view rest = "") {
    text_ += paragraph(sentence, look_.width, first, rest);
  }

  void list(const std::vector<std::string>& sentences) {
    for (const std::string& each : sentences) say(each, "  - ", "    ");
  }

  void part(const std::string& name) { text_ += "\n" + strong(name + "\n", look_); }

  void table(const Table& table) { text_ += as_text(table, look_.width, "  "); }

  void answer() {
    const std::string edge = decision_.on_the_edge ? " (on the edge)" : "";
    text_ += strong(paragraph(fmt::format("{}: {}{}", decision_.serial,
                                          decide::word(decision_.disposition), edge),
                              look_.width),
                    look_);
    say(decision_.headline);
  }

  void why() {
    if (decision_.reasons.empty()) return;
    part("Why");
    list(decision_.reasons);
  }

  void contents() {
    part("What is in it");
    if (!decision_.estimate || decision_.evidence.doses.empty()) {
      say("No dose is known; nothing is believed to be in it.", "  ", "  ");
      return;
    }
    const std::string caveat = contents_caveat(decision_);
    if (!caveat.empty()) say(caveat, "  ! ", "    ");
    table(contents_facts(decision_, state_));
  }

  void lines() {
    part("Is it good");
    say(conformity_in_words(decision_, state_), "  ", "  ");
    const recipe::Recipe* recipe = bound_recipe(decision_, state_);
    if (recipe != nullptr && decision_.conformity) table(line_facts(decision_, *recipe, state_));
  }

  void readings() {
    part("Who says so");
    say(fit_in_words(decision_), "  ", "  ");
    const Table facts = reading_facts(decision_, state_);
    if (!facts.rows.empty()) table(facts);
    for (const std::string& unused : decision_.unused) say("not used: " + unused, "  - ", "    ");
    if (!decision_.estimate) return;
    for (const contents::Unseen& unseen : decision_.estimate->unseen) {
      say("not seen by any reading: " + unseen.what, "  - ", "    ");
    }
  }

  void contradiction() {
    if (!decision_.estimate || !decision_.estimate->contradiction) return;
    part(cannot_tell(decision_) ? "Cannot tell" : "What may be wrong");
    table(explanation_facts(decision_));
    list(pairs_in_words(decision_));
  }

  void topups() {
    if (decision_.topups.empty()) return;
    part("What it could become");
    say(standing_caution, "  ", "  ");
    table(topup_facts(decision_, state_));
    list(topup_notes(decision_, state_));
  }

  void worth() {
    std::vector<std::string> told = waiting_in_words(decision_, state_);
    const std::string money = money_in_words(decision_, state_);
    if (!money.empty()) told.insert(told.begin(), money);
    if (told.empty()) return;
    part("What it is worth");
    list(told);
  }

  /// What to do, in one sentence, where something is to be added.
  void plan() {
    const decide::TopupAnswer* answer = planned(decision_);
    if (answer == nullptr) return;
    part("What it could become");
    say(fmt::format("{}: add {}. {} that it will be good; costs {}.",
                    recipe_name(answer->recipe, state_), additions(answer->topup, state_),
                    odds_of_answer(*answer), money(answer->topup.cost, state_.plant.prices)),
        "  - ", "    ");
    const std::string lacks = why_not_in_words(*answer, decision_, state_);
    if (!lacks.empty()) say(lacks, "  - ", "    ");
    say(standing_caution, "  ", "  ");
  }

  void change() {
    if (decision_.would_change.empty()) return;
    part("What would change it");
    list(decision_.would_change);
  }

  void end() {
    part("To check this");
    say(fmt::format("{}, as of {}. The advice holds until {}.", decision_.id,
                    day_and_time(decision_.as_of), day_and_time(decision_.expires)),
        "  ", "  ");
    say(fmt::format("{} After \u00B1: half of the 95 % interval.", advice_only), "  ", "  ");
  }

  const decide::Decision& decision_;
  const line::State& state_;
  const Look& look_;
  std::string text_;
};

}  // namespace

std::string vial_in_full(const decide::Decision& decision, const line::State& state,
                         const Look& look) {
  return Writer(decision, state, look).full();
}

std::string explanation(const decide::Decision& decision, const line::State& state,
                        const Look& look) {
  return Writer(decision, state, look).short_form();
}

std::string why_not(const decide::Decision& decision, const std::string& recipe,
                    const line::State& state, const Look& look) {
  const auto asked = std::ranges::find(decision.topups, recipe, &decide::TopupAnswer::recipe);
  if (asked == decision.topups.end()) return {};
  const std::string name = recipe_name(recipe, state);
  std::string text = "\n" + strong("Why not " + name + "\n", look);
  const std::string lacks = why_not_in_words(*asked, decision, state);
  if (!lacks.empty()) text += paragraph(lacks, look.width, "  - ", "    ");
  if (asked->topup.outcome == topup::Outcome::found)
    text +=
        paragraph(fmt::format("add {}: {} that it will be good; costs {}, worth {} over scrapping.",
                              additions(asked->topup, state), odds_of_answer(*asked),
                              money(asked->topup.cost, state.plant.prices),
                              over_scrapping(asked->worth, state.plant.prices)),
                  look.width, "  - ", "    ");
  if (asked->topup.outcome == topup::Outcome::nothing_needed)
    text += paragraph(addition_in_words(*asked, decision, state) + "; " + odds(asked->topup) +
                          " that it is good.",
                      look.width, "  - ", "    ");
  if (asked->proved)
    text += paragraph("A proof goes with it: explain --proof FILE, then check-proof FILE.",
                      look.width, "  - ", "    ");
  return text;
}

}  // namespace vialwright::report
