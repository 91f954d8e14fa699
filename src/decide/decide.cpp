#include "decide/decide.hpp"

#include "decide/judged.hpp"
#include "decide/whole_line.hpp"

namespace vialwright::decide {

Decision decide_vial(const line::State& state, const line::VialRecord& vial,
                     const Options& options) {
  if (options.asked.empty()) {
    // Most vials hang on no other: their money needs the market's prices, not its demand.
    const Learned nothing;
    const Market market(state, nothing);
    Decision decision = judged(state, vial, options);
    if (decided_alone(decision, vial, state, market) &&
        decision.disposition == Disposition::release) {
      decision.expires = expiry(decision, state);
      return decision;
    }
  }
  WholeLine line(state, options, vial.serial);
  line.decide();
  Shift shift = std::move(line).shift({});
  for (Decision& each : shift.decisions) {
    if (each.serial == vial.serial) return std::move(each);
  }
  require(false, "the vial is one of the state's");
  return {};
}

Shift decide_all(const line::State& state, std::string head, const Options& options) {
  WholeLine line(state, options);
  line.decide();
  return std::move(line).shift(std::move(head));
}

}  // namespace vialwright::decide
