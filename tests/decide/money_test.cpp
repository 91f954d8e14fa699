/// What an answer is worth, worked by hand; and who gets which order and which place.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <nlohmann/json.hpp>

#include "decide/small_state.hpp"
#include "proof/proof.hpp"

namespace vialwright::decide {
namespace {

using support::at;
using support::order;
using support::small_recipe;
using support::small_state;
using support::small_vial;
using ::testing::Contains;
using ::testing::HasSubstr;
using OrderState = line::OrderRecord::State;

/// A vial whose readings agree and that was told what it got.
line::VialRecord vial(const std::string& serial, double base_g, double teal_g,
                      const std::string& made_for = {}) {
  line::VialRecord made = small_vial(base_g, teal_g);
  made.serial = serial;
  made.order = made_for;
  made.doses[0].commanded_g = base_g;
  made.doses[1].commanded_g = teal_g;
  return made;
}

recipe::Recipe recipe_of(const std::string& id, double content) {
  recipe::Recipe recipe = small_recipe();
  recipe.id = recipe.name = id;
  recipe.tolerances[0] = {recipe::ToleranceOn::content, 0, 0.96 * content, content, 1.04 * content};
  return recipe;
}

line::State line_of(std::vector<line::VialRecord> vials) {
  line::State state = small_state(small_vial(19.7, 0.3));
  state.vials = std::move(vials);
  state.plant.prices.making = 1.0;
  state.plant.holding = {};
  return state;
}

const Decision& of(const Shift& shift, const std::string& serial) {
  for (const Decision& each : shift.decisions) {
    if (each.serial == serial) return each;
  }
  ADD_FAILURE() << serial << " was not decided";
  return shift.decisions.front();
}

// ---- money --------------------------------------------------------------------------------------

TEST(Money, FreshVialCostsWhatThePageSays) {
  // 20 g at 0.0030 mg/g from 0.2 mg/g teal: 0.3 g of teal at 0.05 and 19.7 g of base at 0.002 are
  // 0.0150 + 0.0394; two visits 0.10; vial 0.15; making 1.00.
  const auto state = line_of({vial("A", 19.7, 0.26, "O-1")});
  const Shift shift = decide_all(state, "", {});
  ASSERT_FALSE(of(shift, "A").topups.empty());
  EXPECT_NEAR(of(shift, "A").topups[0].fresh, 0.15 + 1.0 + 0.0150 + 0.0394 + 0.10, 1e-9);
}

TEST(Money, ReworkIsWorthOddsTimesFreshLessCostLessLossWhenItFails) {
  auto state = line_of({vial("A", 19.7, 0.26, "O-1")});
  const Shift shift = decide_all(state, "", {});
  const Decision& decision = of(shift, "A");
  ASSERT_EQ(decision.disposition, Disposition::rework) << decision.headline;
  EXPECT_EQ(decision.for_order, "O-1");
  const TopupAnswer& found = decision.topups[0];
  double stocks = 0.0;
  for (const topup::Addition& each : found.topup.additions) {
    stocks += each.amount_g * (each.stock == 0 ? 0.002 : 0.05);
  }
  const double cost = stocks + 0.05 * static_cast<double>(found.topup.additions.size());
  EXPECT_NEAR(found.topup.cost, cost, 1e-4);   // stations are told a little else than what falls
  const double odds = found.topup.odds.value;  // no history: nothing corrects it
  EXPECT_NEAR(decision.money, odds * 1.3044 - cost - (1.0 - odds) * 0.3 + 0.3, 1e-4);
}

double late_of(line::State state, std::optional<double> due_s, int priority) {
  state.plant.holding.making_h = 1.0;
  state.plant.prices.late_per_h = 0.2;
  state.orders = {order("O-1", "pond", OrderState::bound, "A")};
  if (due_s) state.orders[0].due = at(60.0 + *due_s);  // the state is of 60 s after noon
  state.orders[0].priority = priority;
  const Shift late = decide_all(state, "", {});
  state.orders[0].due.reset();
  const Shift never = decide_all(state, "", {});
  const Decision &with = of(late, "A"), &without = of(never, "A");
  return (with.money - without.money) / with.topups[0].topup.odds.value;
}

TEST(Money, LatenessIsWhatMakingFreshAdds) {
  const auto state = line_of({vial("A", 19.7, 0.26, "O-1")});
  // Odds hardly move with the price of success, so the difference is the lateness to 1e-4.
  EXPECT_NEAR(late_of(state, 7200.0, 0), 0.0, 1e-9);         // an hour's making meets it
  EXPECT_NEAR(late_of(state, 1800.0, 0), 0.5 * 0.2, 1e-4);   // half an hour late
  EXPECT_NEAR(late_of(state, -7200.0, 0), 1.0 * 0.2, 1e-4);  // late already: one hour more
  EXPECT_NEAR(late_of(state, 1800.0, 2), 3.0 * 0.1, 1e-4);   // priority 2 counts three times
}

TEST(Money, SumInWordsCanBeDoneAgain) {
  const auto state = line_of({vial("A", 19.7, 0.26, "O-1")});
  const Shift shift = decide_all(state, "", {});
  EXPECT_THAT(of(shift, "A").reasons, Contains(HasSubstr("1.3044 mk for a fresh vial")));
  EXPECT_THAT(of(shift, "A").headline, HasSubstr("worth 1."));
}

// ---- who gets what ------------------------------------------------------------------------------

line::State regrading() {
  auto state = line_of({vial("A", 19.7, 0.40, "O-1")});
  state.recipes = {recipe_of("mere", 0.0040), small_recipe()};
  state.orders = {order("O-1", "pond", OrderState::bound, "A"), order("O-2", "mere")};
  return state;
}

TEST(Regrade, AVialThatIsLostToItsOwnOrderGoesToAnother) {
  // 0.0040 mg/g is a third over pond, which no filling up to 21 g dilutes; mere is just that.
  const Shift shift = decide_all(regrading(), "", {});
  const Decision& decision = of(shift, "A");
  EXPECT_EQ(decision.disposition, Disposition::release) << decision.headline;
  EXPECT_EQ(decision.for_order, "O-2");
  auto short_of_it = regrading();
  short_of_it.vials = {vial("A", 19.7, 0.36, "O-1")};
  const Shift again = decide_all(short_of_it, "", {});
  const Decision& rework = of(again, "A");
  EXPECT_EQ(rework.disposition, Disposition::rework) << rework.headline;
  EXPECT_EQ(rework.for_order, "O-2");
  EXPECT_EQ(rework.for_recipe, "mere");
  EXPECT_THAT(rework.headline, HasSubstr("makes it mere, order O-2"));
  ASSERT_FALSE(again.rungs.empty());
  EXPECT_TRUE(again.rungs[0].taken);
  EXPECT_EQ(again.rungs[0].order, "O-2");
}

TEST(Regrade, ImpossibleCarriesAProofThatTheCheckerAccepts) {
  const auto state = regrading();
  const Shift shift = decide_all(state, "", {});
  const Decision& decision = of(shift, "A");
  ASSERT_EQ(decision.topups[0].recipe, "pond");
  EXPECT_EQ(decision.topups[0].impossible, topup::Impossible::by_any_amounts);
  const auto json = nlohmann::json::parse(as_json(decision, shift.provenance, state));
  const auto stated = proof::from_json(json["topups"][0]["proof"].dump(), "test");
  ASSERT_TRUE(stated.has_value());
  EXPECT_TRUE(proof::check(stated->claim, stated->proof).accepted);
}

TEST(Regrade, GoodVialThatIsBoundToNobodyIsGivenAsItIs) {
  auto state = line_of({vial("A", 19.7, 0.30)});
  state.vials[0].recipe.reset();
  EXPECT_EQ(of(decide_all(state, "", {}), "A").disposition, Disposition::hold);
  state.orders = {order("O-7", "pond")};
  const Shift shift = decide_all(state, "", {});
  const Decision& decision = of(shift, "A");
  EXPECT_EQ(decision.disposition, Disposition::release) << decision.headline;
  EXPECT_EQ(decision.for_order, "O-7");
}

TEST(Regrade, VialWhoseOrderWasCancelledGoesToTheNextOfItsKind) {
  auto state = line_of({vial("A", 19.7, 0.30, "O-1")});
  state.orders = {order("O-1", "pond", OrderState::cancelled)};
  const Shift spare = decide_all(state, "", {});
  EXPECT_EQ(of(spare, "A").disposition, Disposition::release);
  EXPECT_EQ(of(spare, "A").for_order, "");
  state.orders.push_back(order("O-2", "pond"));
  EXPECT_EQ(of(decide_all(state, "", {}), "A").for_order, "O-2");
}

/// The best sum of (worth - waiting) over all ways to give each order to one vial at most.
double best_by_trying_all(const std::vector<Rung>& rungs) {
  std::function<double(std::size_t, std::vector<std::string>&)> from =
      [&](std::size_t next, std::vector<std::string>& used) -> double {
    if (next == rungs.size()) return 0.0;
    double best = from(next + 1, used);
    const Rung& rung = rungs[next];
    for (const auto& each : {rung.serial, rung.order}) {
      if (std::find(used.begin(), used.end(), each) != used.end()) return best;
    }
    used.insert(used.end(), {rung.serial, rung.order});
    best = std::max(best, rung.worth - rung.waiting + from(next + 1, used));
    used.resize(used.size() - 2);
    return best;
  };
  std::vector<std::string> used;
  return from(0, used);
}

TEST(Pairing, OrdersGoWhereTheyBringMostInAll) {
  // Three vials that can become pond or mere, two orders of each kind of urgency.
  auto state = line_of({vial("A", 19.4, 0.32), vial("B", 19.6, 0.36), vial("C", 19.2, 0.30)});
  for (auto& each : state.vials) each.recipe.reset();
  state.recipes = {recipe_of("mere", 0.0040), recipe_of("pond", 0.0035)};
  state.plant.prices.late_per_h = 0.5;
  state.orders = {order("O-1", "mere"), order("O-2", "pond")};
  state.orders[1].due = at(600.0);
  const Shift shift = decide_all(state, "", {});
  double got = 0.0;
  int taken = 0;
  for (const Rung& rung : shift.rungs) {
    if (rung.taken) got += rung.worth - rung.waiting;
    taken += rung.taken ? 1 : 0;
  }
  ASSERT_GE(shift.rungs.size(), 4U);
  EXPECT_EQ(taken, 2);
  EXPECT_NEAR(got, best_by_trying_all(shift.rungs), 1e-5);  // amounts are rounded to 1e-6
}

TEST(Pairing, AmongEqualsAVialKeepsItsOwnOrder) {
  auto state = line_of({vial("A", 19.7, 0.26, "O-2"), vial("B", 19.7, 0.26, "O-1")});
  state.plant.holding.switching = 0.05;
  state.orders = {order("O-1", "pond", OrderState::bound, "B"),
                  order("O-2", "pond", OrderState::bound, "A")};
  const Shift shift = decide_all(state, "", {});
  EXPECT_EQ(of(shift, "A").for_order, "O-2");
  EXPECT_EQ(of(shift, "B").for_order, "O-1");
  state.vials[0].advised_order = "O-1";  // what was advised is kept, too
  state.vials[1].advised_order = "O-2";
  const Shift kept = decide_all(state, "", {});
  EXPECT_EQ(of(kept, "A").for_order, "O-1");
}

// ---- waiting ------------------------------------------------------------------------------------

/// Two vials lost to pond that are mere as they are; `orders` of mere came in the last ten days.
line::State waiting(int vials, int orders, int places) {
  line::State state = line_of({});
  for (int i = 0; i < vials; ++i) {
    state.vials.push_back(
        vial(std::string(1, static_cast<char>('A' + i)), 19.7, 0.40, "O-" + std::to_string(i)));
  }
  state.recipes = {recipe_of("mere", 0.0040), small_recipe()};
  for (int i = 0; i < orders; ++i) {
    state.orders.push_back(order("M-" + std::to_string(i), "mere", OrderState::filled));
    state.orders.back().placed = at(60.0 - 86'400.0 * (10.0 * i + 5.0) / orders);
  }
  state.first_fact = at(60.0 - 10.0 * 86'400.0);
  state.plant.holding.places = places;
  state.plant.holding.cost_per_day = 0.05;
  state.plant.holding.longest_days = 20.0;
  return state;
}

TEST(Waiting, VialThatOrdersAreComingForIsHeldUntilItsLimit) {
  const Shift shift = decide_all(waiting(1, 8, 1), "", {});
  const Decision& decision = of(shift, "A");
  ASSERT_EQ(decision.disposition, Disposition::hold) << decision.headline;
  ASSERT_TRUE(decision.hold.has_value());
  EXPECT_GT(decision.hold->limit, decision.as_of);
  EXPECT_LE(decision.hold->limit, at(60.0 + 20.0 * 86'400.0));
  EXPECT_LE(decision.hold->limit_low, decision.hold->limit);
  EXPECT_GE(decision.hold->limit_high, decision.hold->limit);
  EXPECT_EQ(decision.hold->for_recipes, std::vector<std::string>{"mere"});
  // Not more than an order that came at once would bring: a fresh vial, and what scrapping costs.
  EXPECT_GT(decision.money, 0.0);
  EXPECT_LT(decision.money, decision.topups[1].fresh + 0.3);
  EXPECT_EQ(shift.places_taken, 1);
  EXPECT_THAT(decision.headline, HasSubstr("hold it until 2026-1"));
}

TEST(Waiting, WithoutDemandOrPlacesItIsScrapped) {
  const Shift nobody = decide_all(waiting(1, 0, 1), "", {});
  EXPECT_EQ(of(nobody, "A").disposition, Disposition::scrap);
  EXPECT_THAT(of(nobody, "A").headline, HasSubstr("nobody asks for"));
  EXPECT_THAT(of(nobody, "A").would_change, Contains(HasSubstr("an order for mere (worth ")));
  const Shift none = decide_all(waiting(1, 8, 0), "", {});
  EXPECT_EQ(of(none, "A").disposition, Disposition::scrap);
  EXPECT_THAT(of(none, "A").would_change, Contains(HasSubstr("one hold place more")));
}

TEST(Waiting, OnePlaceTakesOneOfTwo) {
  const Shift shift = decide_all(waiting(2, 8, 1), "", {});
  const int held = (of(shift, "A").disposition == Disposition::hold ? 1 : 0) +
                   (of(shift, "B").disposition == Disposition::hold ? 1 : 0);
  EXPECT_EQ(held, 1);
  const Shift roomy = decide_all(waiting(2, 8, 2), "", {});
  EXPECT_EQ(of(roomy, "A").disposition, Disposition::hold);
  EXPECT_EQ(of(roomy, "B").disposition, Disposition::hold);
  // Two that wait for the same orders are worth less than twice one.
  const Shift alone = decide_all(waiting(1, 8, 2), "", {});
  EXPECT_LT(of(roomy, "A").money + of(roomy, "B").money, 2.0 * of(alone, "A").money - 1e-6);
}

TEST(Waiting, AnOrderThatIsThereIsTakenWhenItBringsMore) {
  auto state = waiting(1, 8, 1);
  state.orders.push_back(order("X-1", "mere"));
  const Shift shift = decide_all(state, "", {});
  EXPECT_EQ(of(shift, "A").disposition, Disposition::release);
  EXPECT_EQ(of(shift, "A").for_order, "X-1");
}

// ---- time ---------------------------------------------------------------------------------------

TEST(Ageing, BeliefIsOfTheMomentAskedAbout) {
  auto state = line_of({vial("A", 19.7, 0.30, "O-1")});
  state.book.components[0].fade_per_day = 0.02;
  const double fresh = decide_vial(state, state.vials[0], {}).estimate->belief.mean[0];
  state.as_of = at(40.0 + 5.0 * 86'400.0);  // the last reading is of 40 s
  const Decision old = decide_vial(state, state.vials[0], {});
  // 20 s of fade separate `fresh` from the last reading: 5e-6 of it.
  EXPECT_NEAR(old.estimate->belief.mean[0] / fresh, std::exp(-0.1), 1e-5);
  EXPECT_DOUBLE_EQ(old.aged_days, 5.0);
  EXPECT_NE(old.disposition, Disposition::release) << old.headline;  // 10 % of the dye is gone
}

// ---- one vial or all ----------------------------------------------------------------------------

TEST(DecideVial, AnswersAsDecidingAllDoes) {
  auto state = waiting(3, 8, 2);
  state.vials.push_back(vial("Z", 19.7, 0.26, "O-9"));
  const Shift shift = decide_all(state, "ab", {});
  for (const line::VialRecord& each : state.vials) {
    EXPECT_EQ(as_json(decide_vial(state, each, {}), shift.provenance, state),
              as_json(of(shift, each.serial), shift.provenance, state));
  }
}

TEST(WhyNot, EveryRecipeThatIsAskedForIsAnswered) {
  auto state = waiting(1, 0, 0);
  recipe::Recipe pale = recipe_of("pale", 0.0001);  // forty times less: no room for that
  state.recipes.push_back(pale);
  std::sort(state.recipes.begin(), state.recipes.end(),
            [](const auto& a, const auto& b) { return a.id < b.id; });
  Options options;
  options.asked = {"pale", "mere"};
  const Decision decision = decide_vial(state, state.vials[0], options);
  ASSERT_GE(decision.topups.size(), 3U);
  EXPECT_EQ(decision.topups[1].recipe, "pale");
  EXPECT_EQ(decision.topups[1].impossible, topup::Impossible::by_any_amounts);
  ASSERT_TRUE(decision.topups[1].proved.has_value());
  EXPECT_THAT(decision.topups[1].topup.because, HasSubstr("teal dye"));
  EXPECT_EQ(decision.topups[2].recipe, "mere");
  EXPECT_GT(decision.topups[2].topup.odds.value, 0.9);
}

TEST(WhyNot, LeastDoseThatIsTooLargeIsNamedWithTheOneThatWouldDo) {
  // 4.1 % short of teal, just outside; a station that gives no less than 0.5 g overshoots.
  auto state = line_of({vial("A", 19.7, 0.2850, "O-1")});
  state.plant.stations[1].least_dose_g = 0.5;
  state.vials[0].doses[1].metered[0].value = 0.2850;
  const Decision decision = decide_vial(state, state.vials[0], {});
  ASSERT_EQ(decision.topups[0].impossible, topup::Impossible::by_least_doses)
      << decision.headline << decision.topups[0].topup.because;
  EXPECT_THAT(decision.would_change, Contains(HasSubstr("a least dose of teal no larger than")));
}

}  // namespace
}  // namespace vialwright::decide
