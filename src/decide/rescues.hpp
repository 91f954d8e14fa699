/// Private to decide: what one vial can become, with odds as history corrects them, and its worth.
#pragma once

#include "decide/market.hpp"

namespace vialwright::decide {

/// May it be acted on: an addition was found, or none is needed and the risk is met as it is?
[[nodiscard]] bool usable(const TopupAnswer& answer);

/// The odds that deciding counts on: as history corrects them, where it has anything to say.
[[nodiscard]] double odds_of(const TopupAnswer& answer);

class Rescues {
 public:
  Rescues(const line::State& state, const Market& market,
          const outcomes::Recalibration& recalibration, const Options& options)
      : state_(state), market_(market), recalibration_(recalibration), options_(options) {}

  /// Its own recipe, then those that must be answered for.
  [[nodiscard]] std::vector<TopupAnswer> own_and(const std::vector<std::string>& asked,
                                                 const line::VialRecord& vial,
                                                 const Decision& decision) const;
  enum class Among {
    wanted,   ///< recipes with an open order, or ordered before
    unasked,  ///< the others
  };
  /// Every other recipe of those that may pay, the worthiest first.
  [[nodiscard]] std::vector<TopupAnswer> others(const std::vector<TopupAnswer>& known,
                                                const line::VialRecord& vial,
                                                const Decision& decision, Among among) const;

  /// The odds of the same additions some days later, corrected.
  [[nodiscard]] double odds_later(const TopupAnswer& answer, double days,
                                  const line::VialRecord& vial, const Decision& decision) const;

  /// The recipe that an answer for this vial speaks of: its own as frozen, else the newest.
  [[nodiscard]] const recipe::Recipe& recipe_of(const TopupAnswer& answer,
                                                const line::VialRecord& vial) const;

 private:
  [[nodiscard]] TopupAnswer solve(const recipe::Recipe& recipe, const line::VialRecord& vial,
                                  const Decision& decision) const;
  struct Possible {
    const recipe::Recipe* recipe = nullptr;
    double at_most = 0.0;  ///< what it brings if it is sure to succeed
  };
  [[nodiscard]] std::vector<Possible> possible_on_paper(const std::vector<TopupAnswer>& known,
                                                        const line::VialRecord& vial,
                                                        const Decision& decision,
                                                        Among among) const;
  void ask_history(TopupAnswer& answer, const recipe::Recipe& recipe, const line::VialRecord& vial,
                   const Decision& decision) const;
  [[nodiscard]] topup::Options how(const recipe::Recipe& recipe) const;

  const line::State& state_;
  const Market& market_;
  const outcomes::Recalibration& recalibration_;
  const Options& options_;
};

}  // namespace vialwright::decide
