/// One vial of each kind, told in a few plain lines.

#include <fmt/format.h>
#include <algorithm>
#include <functional>

#include "proof/proof.hpp"
#include "report/columns.hpp"
#include "report/report.hpp"
#include "report/strong.hpp"
#include "report/words.hpp"

namespace vialwright::report {
namespace {

using decide::Decision;
using decide::Disposition;

/// The answer for the recipe that the vial is bound to, or nullptr.
const decide::TopupAnswer* own_answer(const Decision& decision) {
  const auto found =
      std::ranges::find(decision.topups, decision.recipe, &decide::TopupAnswer::recipe);
  return found == decision.topups.end() ? nullptr : &*found;
}

bool is_proved(const Decision& decision) {
  const decide::TopupAnswer* own = own_answer(decision);
  return own != nullptr && own->proved.has_value();
}

struct Kind {
  const char* title;
  std::function<bool(const Decision&)> is;
  bool tells_proof = false;
};

const std::vector<Kind>& kinds() {
  static const std::vector<Kind> all = {
      {"A vial that can be saved",
       [](const Decision& d) {
         return d.disposition == Disposition::rework && d.for_recipe == d.recipe;
       }},
      {"A vial that becomes another recipe",
       [](const Decision& d) {
         return d.disposition == Disposition::rework && d.for_recipe != d.recipe;
       }},
      {"A vial that waits",
       [](const Decision& d) { return d.disposition == Disposition::hold && d.hold; }},
      {"A vial that cannot become what was ordered", is_proved, true},
      {"A vial that is scrapped",
       [](const Decision& d) { return d.disposition == Disposition::scrap && d.estimate; }},
  };
  return all;
}

/// Why nothing will do, and that it was checked.
std::string proof_in_words(const Decision& decision, const line::State& state) {
  const decide::TopupAnswer& own = *own_answer(decision);
  const proof::Checked checked = proof::check(own.proved->claim, own.proved->proof);
  const char* kind = own.impossible == topup::Impossible::by_least_doses
                         ? "by the least doses of the stations"
                         : "by any amounts";
  return fmt::format(
      "Impossible to make it {}, {}: {}. The proof ({}) was checked in exact "
      "arithmetic: {}.",
      recipe_name(own.recipe, state), kind, own.proved->in_words,
      counted(static_cast<std::uint64_t>(checked.leaves), "case", "cases"),
      checked.accepted ? "it holds" : "it is refused");
}

std::string hold_in_words(const decide::HoldAnswer& hold, const line::State& state) {
  return fmt::format(
      "Waiting is worth {} over scrapping, until {} ({} to {}, 95 %); {}. An order "
      "it fits comes within a day: {}.",
      money(hold.value, state.plant.prices), to_the_minute(hold.limit),
      to_the_minute(hold.limit_low), to_the_minute(hold.limit_high), holding::word(hold.ends),
      quantity::odds_in_words(hold.odds_1_day));
}

std::string story(const Kind& kind, const Decision& decision, const line::State& state,
                  const Look& look) {
  std::string text =
      strong(paragraph(fmt::format("{}: {}", kind.title, decision.serial), look.width), look);
  const auto line = [&](const std::string& words) {
    text += paragraph(words, look.width, "  ", "  ");
  };
  line(decision.headline);
  if (decision.hold && decision.disposition == Disposition::hold)
    line(hold_in_words(*decision.hold, state));
  if (kind.tells_proof) line(proof_in_words(decision, state));
  if (!decision.binding.empty()) line("The line that binds: " + decision.binding + ".");
  if (!decision.would_change.empty())
    line("What would change this: " + decision.would_change.front() + ".");
  return text;
}

}  // namespace

std::string stories(const decide::Shift& shift, const line::State& state, const Look& look) {
  std::string text;
  std::vector<std::string> told;
  for (const Kind& kind : kinds()) {
    const auto found = std::ranges::find_if(shift.decisions, [&](const Decision& each) {
      return kind.is(each) && std::ranges::find(told, each.serial) == told.end();
    });
    if (found == shift.decisions.end()) {
      text += paragraph(fmt::format("{}: none in this shift.", kind.title), look.width);
      continue;
    }
    told.push_back(found->serial);
    text += story(kind, *found, state, look);
  }
  return text + paragraph(standing_caution, look.width);
}

}  // namespace vialwright::report
