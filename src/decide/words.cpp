#include "decide/words.hpp"

#include <fmt/format.h>
#include <algorithm>
#include <array>
#include <cmath>

namespace vialwright::decide {
namespace {

constexpr std::array dispositions = {Disposition::release, Disposition::measure_again,
                                     Disposition::rework,  Disposition::hold,
                                     Disposition::scrap,   Disposition::open};

constexpr double told = 0.02;  ///< explanations below these odds are counted, not told

std::string grouped(long long number) {
  std::string digits = std::to_string(number);
  for (int at = static_cast<int>(digits.size()) - 3; at > 0; at -= 3) {
    digits.insert(static_cast<std::size_t>(at), ",");
  }
  return digits;
}

/// Limits are often computed from a target and a share: six digits tell all that was meant.
std::string rounded(double limit) { return fmt::format("{:.6g}", limit); }

std::string limit_in_words(const recipe::Tolerance& tolerance) {
  const std::string unit(recipe::shown_unit(tolerance.on));
  const bool low = std::isfinite(tolerance.low), high = std::isfinite(tolerance.high);
  if (low && high) {
    return fmt::format("{} to {} {}", rounded(tolerance.low), rounded(tolerance.high), unit);
  }
  if (low) return fmt::format("at least {} {}", rounded(tolerance.low), unit);
  return fmt::format("at most {} {}", rounded(tolerance.high), unit);
}

std::string reading_in_words(const ReadingName& reading) {
  return fmt::format("{} ({})", reading.label, reading.instrument);
}

std::string stock_in_words(int stock, const Decision& decision) {
  const auto at = static_cast<std::size_t>(stock);
  return stock >= 0 && at < decision.stock_names.size() ? decision.stock_names[at]
                                                        : std::string("a stock");
}

/// " by 0.50 ± 0.05 g": how much is wrong, in the unit of what is.
std::string shift_in_words(const contents::Explanation& it, const Decision& decision) {
  const auto by = [&](double scale, std::string_view unit) {
    return quantity::with_doubt(scale * it.shift, std::abs(scale) * it.u_shift, unit);
  };
  switch (it.wrong) {
    case contents::Explanation::Wrong::reading: {
      const std::string& unit = decision.readings[static_cast<std::size_t>(it.index)].unit;
      // A colour is off in many values at once: which, and by how much, its table tells.
      return unit.empty() ? std::string() : " by " + by(1.0, unit);
    }
    case contents::Explanation::Wrong::command:
      return " by " + by(1.0, "g");
    case contents::Explanation::Wrong::carried_over:
      return ", " + by(1.0, "g");
    case contents::Explanation::Wrong::faded:
      return ", " + by(100.0, "%") + " lost";
    case contents::Explanation::Wrong::colourant:
      if (it.shift < 0.0) return ", too clear by up to " + by(-1.0, "/cm");
      return ", absorbing up to " + by(1.0, "/cm");
    case contents::Explanation::Wrong::nothing:
      break;
  }
  return {};
}

std::string explanation_in_words(const contents::Explanation& explanation,
                                 const Decision& decision) {
  return fmt::format("{}{}: {}; the vial then holds {}", supposed(explanation, decision),
                     shift_in_words(explanation, decision),
                     quantity::odds_in_words(explanation.odds),
                     quantity::with_doubt(explanation.net_g, explanation.u_net_g, "g"));
}

}  // namespace

std::string supposed(const contents::Explanation& explanation, const Decision& decision) {
  const auto at = static_cast<std::size_t>(explanation.index);
  switch (explanation.wrong) {
    case contents::Explanation::Wrong::reading:
      return fmt::format("the reading {} is wrong", reading_in_words(decision.readings[at]));
    case contents::Explanation::Wrong::command:
      return fmt::format("the dose missed its command ({})", decision.doses[at]);
    case contents::Explanation::Wrong::carried_over:
      return fmt::format("it holds {} that nobody dosed, carried over from another vial",
                         stock_in_words(explanation.index, decision));
    case contents::Explanation::Wrong::faded:
      return "its dyes have faded beyond their rates";
    case contents::Explanation::Wrong::colourant:
      return explanation.shift < 0.0
                 ? "it looks like no mix of the known components, even with something added"
                 : "something colours it that no mix of the known components explains";
    case contents::Explanation::Wrong::nothing:
      break;
  }
  return "nothing is wrong, chance alone did it";
}

std::string_view word(Disposition disposition) {
  switch (disposition) {
    case Disposition::release:
      return "release";
    case Disposition::measure_again:
      return "measure again";
    case Disposition::rework:
      return "rework";
    case Disposition::hold:
      return "hold";
    case Disposition::scrap:
      return "scrap";
    case Disposition::open:
      break;
  }
  return "open";
}

std::optional<Disposition> disposition_of(std::string_view text) {
  const auto* found = std::find_if(dispositions.begin(), dispositions.end(),
                                   [text](Disposition each) { return word(each) == text; });
  if (found == dispositions.end()) return std::nullopt;
  return *found;
}

std::string chance_in_words(double probability) {
  if (!(probability >= 0.0)) return "cannot tell";
  if (probability >= 0.01) return quantity::odds_in_words(probability);
  if (probability < 1e-6) return "fewer than 1 in 1,000,000";
  // Two significant digits: a tail probability is no better known than that.
  const double one_in = 1.0 / probability;
  const double step = std::pow(10.0, std::floor(std::log10(one_in)) - 1.0);
  return "1 in " + grouped(std::llround(std::round(one_in / step) * step));
}

std::string line_in_words(const recipe::Tolerance& tolerance, const conformity::LineReport& report,
                          const recipe::Book& book) {
  return fmt::format("{} {}, allowed {}, holds {}", recipe::name_of(tolerance, book),
                     quantity::with_doubt(report.value, report.u, recipe::shown_unit(tolerance.on)),
                     limit_in_words(tolerance), quantity::odds_in_words(report.holds.value));
}

std::string additions_in_words(const topup::Topup& topup, const line::State& state) {
  if (topup.additions.empty()) return "adding nothing";
  std::string text = "adding ";
  for (std::size_t i = 0; i < topup.additions.size(); ++i) {
    const topup::Addition& addition = topup.additions[i];
    if (i > 0) text += i + 1 == topup.additions.size() ? " and " : ", ";
    text += fmt::format("{:.3f} g of {}", addition.amount_g,
                        state.book.stocks[static_cast<std::size_t>(addition.stock)].id);
  }
  return text;
}

std::string moment_in_words(Instant instant) {
  const std::string text = quantity::to_text(instant);  // 2026-11-27T14:05:00.000Z
  return text.substr(0, 10) + " " + text.substr(11, 5) + " UTC";
}

std::string believed_in_words(const Decision& decision) {
  const auto& explanations = decision.estimate->explanations;
  if (explanations.empty()) return {};
  return "Believed: " + explanation_in_words(explanations.front(), decision) + ".";
}

std::string suspects_in_words(const Decision& decision) {
  std::string text;
  int count = 0;
  bool chance = false;
  for (const contents::Explanation& each : decision.estimate->explanations) {
    if (each.odds < told) continue;
    if (each.wrong == contents::Explanation::Wrong::nothing) {
      chance = true;
      continue;
    }
    if (++count > 3) continue;  // more suspects than three are a table, and that follows
    text += (count == 1 ? "" : ", or ") + supposed(each, decision);
  }
  if (count == 0) return "the readings contradict each other and none stands out";
  if (chance) text += ", or chance alone did it";
  return text;
}

std::vector<std::string> explanations_in_words(const Decision& decision) {
  std::vector<std::string> lines;
  for (const contents::Explanation& each : decision.estimate->explanations) {
    if (each.odds >= told) lines.push_back(explanation_in_words(each, decision));
  }
  for (const contents::CriticalPair& pair : decision.estimate->critical_pairs) {
    lines.push_back(
        fmt::format("Cannot tell these apart: {} and {}.",
                    reading_in_words(decision.readings[static_cast<std::size_t>(pair.one)]),
                    reading_in_words(decision.readings[static_cast<std::size_t>(pair.other)])));
  }
  return lines;
}

std::string what_would_settle(const Decision& decision) {
  using Wrong = contents::Explanation::Wrong;
  for (const contents::Explanation& each : decision.estimate->explanations) {
    const bool in_the_vial = each.wrong == Wrong::carried_over || each.wrong == Wrong::faded ||
                             each.wrong == Wrong::colourant;
    if (in_the_vial && each.odds >= told) return "measuring the colour again, best by a spectrum";
    if (each.wrong != Wrong::reading) continue;
    const ReadingName& reading = decision.readings[static_cast<std::size_t>(each.index)];
    // A tare cannot be taken again once the vial is full; an independent look at the amount can.
    if (reading.label == "tare") return "an independent reading of the amount, such as the level";
    if (reading.label == "gross") return "weighing it again";
    if (reading.label == "colour") return "measuring the colour again, best by another gauge";
  }
  return "weighing it again, best on another scale";
}

}  // namespace vialwright::decide
