#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "decide/small_state.hpp"

namespace vialwright::decide {
namespace {

using support::small_state;
using support::small_vial;
using ::testing::Contains;
using ::testing::HasSubstr;

Decision decided(const line::State& state) { return decide_vial(state, state.vials[0], {}); }

TEST(DecideVial, GoodVialIsReleased) {
  const auto state = small_state(small_vial(19.70, 0.300));
  const Decision decision = decided(state);
  EXPECT_EQ(decision.disposition, Disposition::release) << decision.headline;
  EXPECT_THAT(decision.headline, HasSubstr("Good for pond"));
  EXPECT_EQ(decision.id, "decision/S-1/12");
  EXPECT_EQ(decision.expires, support::at(60.0 + state.plant.risks.advice_lasts_s));
  EXPECT_FALSE(decision.would_change.empty());
}

TEST(DecideVial, TooLittleTealIsReworkedWithTeal) {
  // 0.26 g of teal is 13 % short; the missing 0.04 g fits and brings it back. The command was 0.26
  // too, so that nothing contradicts: the line was told the wrong amount.
  auto vial = small_vial(19.70, 0.260);
  vial.doses[1].commanded_g = 0.260;
  const Decision decision = decided(small_state(vial));
  EXPECT_EQ(decision.disposition, Disposition::rework) << decision.headline;
  ASSERT_FALSE(decision.topups.empty());
  EXPECT_EQ(decision.topups[0].recipe, "pond");
  EXPECT_THAT(decision.headline, HasSubstr("of teal"));
  EXPECT_THAT(decision.binding, HasSubstr("content of teal dye"));
}

TEST(DecideVial, ALotThatHasExpiredOrIsNotThereIsNotReworkedWith) {
  auto vial = small_vial(19.70, 0.260);
  vial.doses[1].commanded_g = 0.260;
  auto state = small_state(vial);
  state.book.lots[1].expires = state.as_of;  // its last moment: still usable
  EXPECT_EQ(decided(state).disposition, Disposition::rework);
  const auto no_teal = [](const Decision& decision) {
    EXPECT_EQ(decision.disposition, Disposition::hold) << decision.headline;  // not scrapped
    ASSERT_FALSE(decision.topups.empty());
    EXPECT_EQ(decision.topups[0].topup.outcome, topup::Outcome::not_permitted);
    EXPECT_THAT(decision.topups[0].topup.because, HasSubstr("no lot of teal is loaded"));
  };
  state.book.lots[1].expires = support::at(30.0);  // after the dose at 20 s, before now at 60 s
  no_teal(decided(state));
  state.book.lots[1].expires.reset();
  state.stations[1].loaded = {{1, -1}};
  no_teal(decided(state));
}

TEST(DecideVial, AnotherOrderThatItMeetsAlreadyGetsItAsItIs) {
  auto vial = small_vial(19.70, 0.260);
  vial.doses[1].commanded_g = 0.260;
  auto state = small_state(vial);
  state.stations[1].loaded.clear();  // no way back to its own recipe
  recipe::Recipe mere = support::small_recipe();
  mere.id = mere.name = "mere";
  // 0.260 g x 0.2 mg/g in 19.96 g are 0.0026 mg/g.
  mere.tolerances[0] = {recipe::ToleranceOn::content, 0, 0.0025, 0.0026, 0.0027};
  state.recipes.push_back(mere);
  EXPECT_EQ(decided(state).disposition, Disposition::hold);  // nobody asks for it
  state.orders = {support::order("O-1", "pond", line::OrderRecord::State::bound, "S-1"),
                  support::order("O-2", "mere")};
  std::swap(state.recipes[0], state.recipes[1]);  // by id
  const Decision decision = decided(state);
  EXPECT_EQ(decision.disposition, Disposition::release) << decision.headline;
  EXPECT_EQ(decision.for_order, "O-2");
  EXPECT_EQ(decision.for_recipe, "mere");
  EXPECT_THAT(decision.headline, HasSubstr("; it meets mere, order O-2 as it is: "));
}

TEST(DecideVial, FarTooMuchTealIsScrapped) {
  // Twice the dye needs 40 g of liquid; the vial takes 24 mL and the order 21 g.
  auto vial = small_vial(19.70, 0.600);
  vial.doses[1].commanded_g = 0.600;
  const Decision decision = decided(small_state(vial));
  EXPECT_EQ(decision.disposition, Disposition::scrap) << decision.headline;
  ASSERT_FALSE(decision.topups.empty());
  EXPECT_EQ(decision.topups[0].topup.outcome, topup::Outcome::impossible);
  EXPECT_FALSE(decision.topups[0].topup.because.empty());
}

TEST(DecideVial, ConflictOfIdentityIsNeverGuessedAway) {
  auto vial = small_vial(19.70, 0.300);
  vial.conflicts = {{"the scanner read S-2 where S-1 was due",
                     {support::origin("gross-1", 40.0), support::origin("scan-9", 40.0)}}};
  const Decision decision = decided(small_state(vial));
  EXPECT_EQ(decision.disposition, Disposition::measure_again);
  EXPECT_THAT(decision.headline, HasSubstr("the scanner read S-2"));
  EXPECT_THAT(decision.reasons, Contains(HasSubstr("gross-1, scan-9")));
}

TEST(DecideVial, UnfinishedIsOpenAndThenAQuestion) {
  auto vial = small_vial(19.70, 0.300);
  vial.readings.pop_back();  // never weighed after dosing
  auto state = small_state(vial);
  EXPECT_EQ(decided(state).disposition, Disposition::open);
  state.as_of = support::at(3600.0);
  const Decision late = decided(state);
  EXPECT_EQ(late.disposition, Disposition::measure_again);
  EXPECT_THAT(late.headline, HasSubstr("not weighed after its last dose"));
}

TEST(DecideVial, WrongGrossReadingIsNamedAndNeverSilentlyDropped) {
  auto vial = small_vial(19.70, 0.300);
  vial.readings[1].value += 0.5;
  const Decision decision = decided(small_state(vial));
  ASSERT_TRUE(decision.estimate->contradiction);
  EXPECT_THAT(decision.reasons, Contains(HasSubstr("gross")));
}

TEST(DecideVial, DoseOrMeterWrongIsAQuestionThatNamesBoth) {
  // The meter saw 40 mg less than was asked; the net mass is too coarse to say which is right.
  const Decision decision = decided(small_state(small_vial(19.70, 0.260)));
  EXPECT_EQ(decision.disposition, Disposition::measure_again);
  EXPECT_THAT(decision.headline, HasSubstr("Cannot tell"));
  EXPECT_THAT(decision.headline, HasSubstr("the dose missed its command (teal"));
  EXPECT_THAT(decision.headline, HasSubstr("the reading dose of teal (meter teal)"));
}

TEST(DecideVial, ReadingThatIsNotClearIsLeftOutAndNamed) {
  auto vial = small_vial(19.70, 0.300);
  vial.doses[1].metered[0].quality = line::Quality::future;
  const Decision decision = decided(small_state(vial));
  ASSERT_EQ(decision.unused.size(), 1U);
  EXPECT_THAT(decision.unused[0], HasSubstr("metered-1"));
  EXPECT_EQ(decision.evidence.readings.size(), 3U);  // tare, gross, base meter
}

TEST(DecideVial, UnsoundUnboundAndForbiddenAreHeld) {
  auto unsound = small_vial(19.70, 0.300);
  unsound.sound = false;
  EXPECT_EQ(decided(small_state(unsound)).disposition, Disposition::hold);

  auto unbound = small_vial(19.70, 0.300);
  unbound.recipe.reset();
  EXPECT_EQ(decided(small_state(unbound)).disposition, Disposition::hold);

  auto forbidden = small_vial(19.70, 0.300);
  forbidden.recipe->stocks = {0};
  forbidden.recipe->tolerances = {{recipe::ToleranceOn::net_mass, -1, 19.0, 20.0, 21.0}};
  const Decision decision = decided(small_state(forbidden));
  EXPECT_EQ(decision.disposition, Disposition::hold);
  EXPECT_THAT(decision.headline, HasSubstr("does not permit"));
}

TEST(DecideVial, DoseFromAnExpiredLotIsHeldAndTheLotNamed) {
  auto state = small_state(small_vial(19.70, 0.300));
  state.book.lots[1].expires = support::at(19.0);  // the teal dose was made at 20 s
  const Decision decision = decided(state);
  EXPECT_EQ(decision.disposition, Disposition::hold);
  EXPECT_THAT(decision.headline, HasSubstr("lot T1"));
  state.book.lots[1].expires = support::at(21.0);
  EXPECT_EQ(decided(state).disposition, Disposition::release);
}

TEST(DecideVial, PersonOverrulesAndIsNamed) {
  auto vial = small_vial(19.70, 0.300);
  vial.overruled = event::DecisionOverruled{"decision/S-1/9", "hold", "keeper", "label is torn"};
  const Decision decision = decided(small_state(vial));
  EXPECT_EQ(decision.disposition, Disposition::hold);
  EXPECT_THAT(decision.headline, HasSubstr("keeper"));
  EXPECT_THAT(decision.reasons, Contains(HasSubstr("label is torn")));
}

TEST(DecideVial, WhatWasAddedToAnEndedVialIsToldWithItsAdvice) {
  auto vial = small_vial(19.70, 0.300);
  vial.fate = line::Fate::released;
  vial.topups = {
      {"decision/V-1/7", R"({"headline":"Too little teal, but 0.03 g saves it."})", {}, {}},
      {"decision/V-1/9", "", {}, {}}};
  const Decision decision = decided(small_state(vial));
  ASSERT_GE(decision.reasons.size(), 2u);
  EXPECT_THAT(decision.reasons[0], HasSubstr("Too little teal, but 0.03 g saves it."));
  EXPECT_THAT(decision.reasons[1], HasSubstr("not in this book"));
}

TEST(DecideAll, SameStateSameBytes) {
  const auto state = small_state(small_vial(19.70, 0.260));
  const Shift one = decide_all(state, "ab", {}), two = decide_all(state, "ab", {});
  ASSERT_EQ(one.decisions.size(), 1U);
  EXPECT_EQ(as_json(one.decisions[0], one.provenance, state),
            as_json(two.decisions[0], two.provenance, state));
  EXPECT_EQ(event::write(as_event(one.decisions[0], one.provenance, 1)),
            event::write(as_event(two.decisions[0], two.provenance, 1)));
}

TEST(DecideAll, EveryAdviceExpiresAndSaysFromWhatItCame) {
  auto state = small_state(small_vial(19.70, 0.260));
  state.book.lots[1].expires = support::at(300.0);  // the teal lot that the rework counts on
  const Shift shift = decide_all(state, "ab12", {});
  const Decision& decision = shift.decisions[0];
  EXPECT_EQ(decision.expires, support::at(300.0));
  const std::string json = as_json(decision, shift.provenance, state);
  for (const char* key : {"\"head\":\"ab12\"", "\"position\":12",
                          "\"seed\":", "\"cpu\":", "\"build\":", "\"expires\":"}) {
    EXPECT_THAT(json, HasSubstr(key));
  }
}

}  // namespace
}  // namespace vialwright::decide
