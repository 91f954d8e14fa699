/// What the logbook teaches: demand from orders, outcomes from top-ups, habits from doses.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "decide/small_state.hpp"

namespace vialwright::decide {
namespace {

using support::at;
using support::order;
using support::small_state;
using support::small_vial;
using OrderState = line::OrderRecord::State;

constexpr double day = 86'400.0;

const holding::Demand& demand_for(const Learned& learned, const std::string& recipe) {
  for (const auto& each : learned.demand) {
    if (each.recipe == recipe) return each.demand;
  }
  ADD_FAILURE() << "no demand of " << recipe;
  return learned.demand.front().demand;
}

TEST(LearnDemand, EveryOrderThatWasPlacedCountsWhateverBecameOfIt) {
  auto state = small_state(small_vial(19.7, 0.3));
  state.plant.holding.demand_half_life_days = 1e9;  // nothing is forgotten
  state.first_fact = at(60.0 - 21.0 * day);
  state.orders = {order("1", "pond", OrderState::filled), order("2", "pond", OrderState::cancelled),
                  order("3", "pond", OrderState::open)};
  state.orders[1].placed = at(60.0 - 20.0 * day);
  const Learned learned = learn(state, {});
  // Gamma: half an order in a day is the prior, 3 in 21 days were seen.
  EXPECT_EQ(demand_for(learned, "pond").orders, 3);
  EXPECT_NEAR(demand_for(learned, "pond").rate(), 3.5 / 22.0, 1e-6);
}

TEST(LearnDemand, OldOrdersCountForLess) {
  auto state = small_state(small_vial(19.7, 0.3));
  state.plant.holding.demand_half_life_days = 5.0;
  state.first_fact = at(60.0 - 40.0 * day);
  state.orders = {order("1", "pond"), order("2", "pond")};
  state.orders[0].placed = state.orders[1].placed = at(60.0 - 39.0 * day);
  const double old = demand_for(learn(state, {}), "pond").rate();
  state.orders[0].placed = state.orders[1].placed = at(60.0 - 1.0 * day);
  EXPECT_LT(old, 0.5 * demand_for(learn(state, {}), "pond").rate());
}

// ---- outcomes -----------------------------------------------------------------------------------

/// A vial short of teal, with the decision that advised its top-up.
struct Advised {
  line::State state;
  std::string body;
  double odds = 0.0, told_g = 0.0;
};

Advised advised() {
  Advised made;
  made.state = small_state(small_vial(19.7, 0.26));
  made.state.vials[0].doses[1].commanded_g = 0.26;
  const Decision decision = decide_vial(made.state, made.state.vials[0], {});
  EXPECT_EQ(decision.disposition, Disposition::rework) << decision.headline;
  const auto event = as_event(decision, {}, 1);
  made.body = std::get<event::DecisionMade>(event.data).body;
  made.odds = decision.topups[0].topup.odds.value;
  made.told_g = decision.topups[0].topup.additions[0].amount_g;
  EXPECT_EQ(decision.topups[0].topup.additions.size(), 1U);
  return made;
}

/// The dose was made; `grams` came out of it.
void apply(Advised& made, double grams, bool weighed) {
  line::VialRecord& vial = made.state.vials[0];
  const double gross = vial.readings[1].value;
  line::DoseRecord dose = support::dosed(1, made.told_g, grams, 100.0);
  dose.id = "top-up";
  dose.topup = true;
  vial.doses.push_back(dose);
  vial.topups = {{"decision/S-1/12", made.body, {"top-up"}, support::origin("applied", 101.0)}};
  if (weighed) {
    const double apparent = grams * (1.0 - 1.2 / 1000.0) / (1.0 - 1.2 / 8000.0);
    vial.readings.push_back(support::weighed(line::Weighed::gross, gross + apparent, 3, 110.0));
  }
  vial.last_event = at(110.0);
  made.state.as_of = at(120.0 + 2.0 * day);
}

TEST(LearnOutcomes, TopUpIsHeldAgainstTheOddsThatAdvisedIt) {
  Advised good = advised();
  apply(good, good.told_g, true);
  const Learned learned = learn(good.state, {});
  ASSERT_EQ(learned.outcomes.size(), 1U);
  EXPECT_DOUBLE_EQ(learned.outcomes[0].odds, good.odds);
  EXPECT_GT(learned.outcomes[0].good, 0.9);
  EXPECT_EQ(learned.outcomes[0].stock, 1);
  EXPECT_NEAR(learned.outcomes[0].least_dose_ratio, good.told_g / 0.01, 1e-9);
  EXPECT_NEAR(learned.outcomes[0].days_ago, 2.0, 1e-3);  // 19 s are 2e-4 of a day
  EXPECT_EQ(learned.recalibration.n, 1);

  Advised spilt = advised();
  apply(spilt, 0.004, true);  // hardly anything came out
  const Learned bad = learn(spilt.state, {});
  // The command disagrees with the meter and the scale, so it may be left open; never good.
  for (const outcomes::Outcome& each : bad.outcomes) EXPECT_LT(each.good, 0.1);
}

TEST(LearnOutcomes, WithoutAWeighingOnlyItsFateSpeaks) {
  Advised made = advised();
  apply(made, made.told_g, false);
  EXPECT_TRUE(learn(made.state, {}).outcomes.empty());
  made.state.vials[0].fate = line::Fate::released;
  ASSERT_EQ(learn(made.state, {}).outcomes.size(), 1U);
  EXPECT_EQ(learn(made.state, {}).outcomes[0].good, 1.0);
  made.state.vials[0].fate = line::Fate::scrapped;
  EXPECT_EQ(learn(made.state, {}).outcomes[0].good, 0.0);
}

TEST(LearnOutcomes, FirstOfTwoTopUpsIsJudgedBeforeTheSecond) {
  Advised made = advised();
  apply(made, made.told_g, true);
  line::VialRecord& vial = made.state.vials[0];
  line::DoseRecord second = support::dosed(1, 0.10, 0.10, 200.0);  // spoils it
  second.id = "second";
  vial.doses.push_back(second);
  vial.readings.push_back(
      support::weighed(line::Weighed::gross, vial.readings.back().value + 0.0999, 4, 210.0));
  vial.topups.push_back({"other", made.body, {"second"}, support::origin("again", 201.0)});
  const Learned learned = learn(made.state, {});
  ASSERT_EQ(learned.outcomes.size(), 2U);
  EXPECT_GT(learned.outcomes[0].good, 0.9);
  EXPECT_LT(learned.outcomes[1].good, 0.1);
}

TEST(LearnOutcomes, AdviceThatIsNotKnownTeachesNothing) {
  Advised made = advised();
  apply(made, made.told_g, true);
  for (const std::string& body : {std::string(), std::string("{}"), std::string("not JSON")}) {
    made.state.vials[0].topups[0].advised = body;
    EXPECT_TRUE(learn(made.state, {}).outcomes.empty()) << body;
  }
}

// ---- habits -------------------------------------------------------------------------------------

const outcomes::DoseHabit& habit_of(const Learned& learned, int station) {
  for (const auto& each : learned.habits) {
    if (each.station == station) return each;
  }
  ADD_FAILURE() << "no habit of station " << station;
  return learned.habits.front();
}

/// `count` vials told 0.300 g of teal that got `over` more, one a minute, after those there are.
void make(line::State& state, int count, double over, int lot) {
  for (int i = 0; i < count; ++i) {
    line::VialRecord vial = small_vial(19.7, 0.3 + over);
    const auto n = static_cast<int>(state.vials.size());
    vial.serial = "H-" + std::to_string(100 + n);
    vial.doses[1].lot = lot;
    vial.doses[1].origin.time = at(60.0 * n);
    state.vials.push_back(std::move(vial));
  }
}

TEST(LearnHabits, BiasOfAStationIsFoundFromItsMeters) {
  auto state = small_state(small_vial(19.7, 0.3));
  state.vials.clear();
  state.as_of = at(3600.0);
  make(state, 10, 0.004, 1);
  const outcomes::DoseHabit& teal = habit_of(learn(state, {}), 1);
  EXPECT_EQ(teal.n, 10);
  // Ten doses beside a prior that counts as a tenth of one. The scale and the meter saw the same
  // amount, so both say 4 mg; 0.2 mg is what the prior on the other dose can pull.
  EXPECT_NEAR(teal.bias_g, 0.004 * 10.0 / 10.1, 2e-4);
  EXPECT_LT(teal.bias_low, 0.004);
  EXPECT_GT(teal.bias_high, 0.004);
}

TEST(LearnHabits, ChangeOfLotsStartsTheBiasAnew) {
  auto state = small_state(small_vial(19.7, 0.3));
  state.vials.clear();
  state.as_of = at(3600.0);
  make(state, 10, 0.004, 1);
  state.book.lots.push_back({"T2", 1, {{0.2, 0.0004}}, {}});
  make(state, 5, -0.004, 2);
  state.stations[1].loaded = {{1, 2}};
  const outcomes::DoseHabit& teal = habit_of(learn(state, {}), 1);
  EXPECT_EQ(teal.n, 14);  // the first of the new lot is not clean
  EXPECT_NEAR(teal.bias_g, -0.004 * 4.0 / 4.1, 2e-4);
}

TEST(LearnHabits, DosesThatContradictOrWereTakenBackDoNotCount) {
  auto state = small_state(small_vial(19.7, 0.3));
  state.vials.clear();
  state.as_of = at(3600.0);
  make(state, 6, 0.0, 1);
  state.vials[0].doses[1].aborted = true;
  state.vials[1].doses[1].metered[0].value = 0.2;  // against command and scale
  EXPECT_EQ(habit_of(learn(state, {}), 1).n, 4);
}

}  // namespace
}  // namespace vialwright::decide
