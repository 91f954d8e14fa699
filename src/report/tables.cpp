/// Tables of many vials and orders, and the shift in short, for a terminal.

#include <fmt/format.h>
#include <algorithm>
#include <array>
#include <cmath>

#include "report/facts.hpp"
#include "report/report.hpp"
#include "report/strong.hpp"
#include "report/tally.hpp"

namespace vialwright::report {
namespace {

std::string or_none(const std::string& text) { return text.empty() ? "\u2013" : text; }

std::string decided(const decide::Decision& decision) {
  std::string text(decide::word(decision.disposition));
  if (decision.on_the_edge) text += ", on the edge";
  return text;
}

/// Where it goes or until when it waits.
std::string what_for(const decide::Decision& decision) {
  if (decision.disposition == decide::Disposition::hold && decision.hold)
    return " until " + to_the_minute(decision.hold->limit);
  const bool other = !decision.for_recipe.empty() && decision.for_recipe != decision.recipe;
  if (other) return " for " + decision.for_recipe;
  return {};
}

std::string worth(const decide::Decision& decision, const line::State& state) {
  const bool questioned = decision.disposition == decide::Disposition::rework ||
                          decision.disposition == decide::Disposition::hold;
  return questioned ? money(decision.money, state.plant.prices) : "\u2013";
}

std::string_view word(line::OrderRecord::State state) {
  constexpr std::array<std::string_view, 4> words = {"open", "bound", "filled", "cancelled"};
  return words[static_cast<std::size_t>(state)];
}

std::string due(const line::OrderRecord& order) {
  return order.due ? day_and_time(*order.due) : "any time";
}

std::string mean_pull(const Pulls& pulls) {
  if (pulls.count == 0) return "nothing checks it";
  if (pulls.within_6 < 2) return fmt::format("{:+.2f}\u00A0u", pulls.mean);
  return quantity::with_doubt(pulls.mean, pulls.u_mean, "u");
}

Table instrument_table(const std::vector<Pulls>& all) {
  Table table{{{"instrument"},
               {"readings", true},
               {"mean pull", true},
               {"beyond 3 u", true},
               {"set aside", true},
               {""}},
              {}};
  for (const Pulls& pulls : all) {
    table.rows.push_back({pulls.instrument, grouped(pulls.count + pulls.alone), mean_pull(pulls),
                          grouped(pulls.beyond_3), grouped(pulls.not_counted),
                          pulls.needs_care() ? "! care" : ""});
  }
  return table;
}

Table not_released_table(const std::vector<const decide::Decision*>& decisions) {
  Table table{{{"vial"}, {"decision"}, {"why"}}, {}};
  for (const decide::Decision* decision : decisions) {
    table.rows.push_back({decision->serial, decided(*decision), decision->headline});
  }
  return table;
}

std::string conflict_lines(const line::State& state, int width) {
  constexpr std::size_t most = 12;  // a screen has no room for hundreds; the page lists them all
  std::vector<std::string> all;
  for (const line::VialRecord& vial : state.vials) {
    for (const line::Conflict& conflict : vial.conflicts) {
      all.push_back(vial.serial + ": " + conflict.what);
    }
  }
  for (const line::Conflict& conflict : state.conflicts) all.push_back(conflict.what);
  std::string text;
  for (std::size_t i = 0; i < std::min(all.size(), most); ++i) {
    text += paragraph(all[i], width, "  ! ", "    ");
  }
  if (all.size() <= most) return text;
  return text +
         fmt::format("    and {} more; the report lists them all\n", grouped(all.size() - most));
}

bool any_addition(const decide::Shift& shift) {
  return std::any_of(shift.decisions.begin(), shift.decisions.end(),
                     [](const auto& decision) { return planned(decision) != nullptr; });
}

}  // namespace

std::string computed_from(const decide::Provenance& provenance, const Look& look) {
  return paragraph(
             fmt::format("Computed from logbook position {}, head {}", grouped(provenance.position),
                         provenance.head.empty() ? "not known" : provenance.head),
             look.width) +
         paragraph(fmt::format("by build {}, vectors {}, seed {}.", provenance.build,
                               provenance.cpu, provenance.seed),
                   look.width);
}

std::string vial_table(const decide::Shift& shift, const line::State& state, const Look& look) {
  Table table{{{"vial"},
               {"order"},
               {"recipe"},
               {"decision"},
               {"net mass", true},
               {"good"},
               {"worth", true}},
              {}};
  for (const decide::Decision& decision : shift.decisions) {
    table.rows.push_back({decision.serial, or_none(decision.order), or_none(decision.recipe),
                          decided(decision) + what_for(decision), net_in_words(decision),
                          goodness_in_words(decision), worth(decision, state)});
  }
  return as_text(table, look.width) + "\n" + strong(paragraph(headline(shift), look.width), look) +
         paragraph(
             "Good: odds that every tolerance line of its recipe holds. Worth: expected, over "
             "scrapping now. After \u00B1: half of the 95 % interval.",
             look.width);
}

std::string order_table(const line::State& state, const Look& look) {
  Table table{
      {{"order"}, {"recipe"}, {"due"}, {"value", true}, {"priority", true}, {"state"}, {"vial"}},
      {}};
  std::uint64_t open = 0;
  for (const line::OrderRecord& order : state.orders) {
    open += order.state == line::OrderRecord::State::open ? 1 : 0;
    table.rows.push_back({order.id, order.recipe, due(order),
                          money(order.value, state.plant.prices), std::to_string(order.priority),
                          std::string(word(order.state)), or_none(order.vial)});
  }
  const std::string end = counted(state.orders.size(), "order", "orders") + ", " + grouped(open) +
                          " open, as of " + day_and_time(state.as_of) + ".";
  return as_text(table, look.width) + "\n" + strong(paragraph(end, look.width), look);
}

std::string shift_summary(const decide::Shift& shift, const line::State& state, const Look& look) {
  const Questions questions = questions_of(shift, state);
  std::string text = strong(paragraph(headline(shift), look.width), look);
  text += paragraph("As of " + day_and_time(state.as_of) + ".", look.width);
  if (!questions.not_released.empty()) {
    text += "\n" + strong("Not released\n", look) +
            as_text(not_released_table(questions.not_released), look.width);
  }
  text += "\n" +
          strong("Instruments: how far their readings pull from what the others say\n", look) +
          as_text(instrument_table(pulls_of(shift)), look.width);
  const std::string conflicts = conflict_lines(state, look.width);
  if (!conflicts.empty()) text += "\n" + strong("Conflicts\n", look) + conflicts;
  if (any_addition(shift)) text += "\n" + paragraph(standing_caution, look.width);
  return text + "\n" + computed_from(shift.provenance, look);
}

}  // namespace vialwright::report
