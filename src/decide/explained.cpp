#include "decide/explained.hpp"

#include "decide/judged.hpp"

namespace vialwright::decide {
namespace {

/// Explanations rarer than this move the average by less than they cost to compute; their odds
/// count as "not good".
constexpr double negligible = 0.005;

/// What colours the vial besides its doses, or less, is no evidence that could be left out.
bool is_in_the_vial(const contents::Explanation& explanation) {
  using Wrong = contents::Explanation::Wrong;
  return explanation.wrong == Wrong::carried_over || explanation.wrong == Wrong::faded ||
         explanation.wrong == Wrong::colourant;
}

contents::Evidence without(contents::Evidence evidence, const contents::Explanation& explanation) {
  switch (explanation.wrong) {
    case contents::Explanation::Wrong::reading:
      evidence.readings.erase(evidence.readings.begin() + explanation.index);
      break;
    case contents::Explanation::Wrong::command:
      evidence.doses[static_cast<std::size_t>(explanation.index)].aborted = true;
      break;
    case contents::Explanation::Wrong::carried_over:
    case contents::Explanation::Wrong::faded:
    case contents::Explanation::Wrong::colourant:
    case contents::Explanation::Wrong::nothing:
      break;
  }
  return evidence;
}

}  // namespace

conformity::Probability over_explanations(const Decision& decision, const line::VialRecord& vial,
                                          const line::State& state, const Options& options) {
  contents::Options as_told = options.contents;
  as_told.false_flag = 0.0;  // the explanation is taken at its word: nothing else is set aside
  conformity::Probability average;
  for (const contents::Explanation& each : decision.estimate->explanations) {
    if (each.odds < negligible) continue;
    if (is_in_the_vial(each)) {
      // The belief holds it where it is believed; else its odds count as "not good".
      const bool believed =
          decision.estimate->settled && &each == &decision.estimate->explanations.front();
      if (!believed || !decision.conformity) continue;
      average.value += each.odds * decision.conformity->joint.value;
      average.error += each.odds * decision.conformity->joint.error;
      continue;
    }
    const auto estimate =
        contents::estimate(without(decision.evidence, each), state.plant, state.book, as_told);
    const auto found =
        conformity::judge(grown_older(estimate.belief, decision.aged_days, vial, state),
                          *vial.recipe, state.book, state.plant.risks, options.conformity);
    average.value += each.odds * found.joint.value;
    average.error += each.odds * found.joint.error;
  }
  return average;
}

}  // namespace vialwright::decide
