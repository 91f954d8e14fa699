// What colour does to decisions. Line, vials and spectrum are invented.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "decide/evidence_of.hpp"
#include "decide/small_state.hpp"
#include "decide/words.hpp"

namespace vialwright::decide {
namespace {

using support::small_state;
using support::small_vial;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

constexpr int eye = 3;  ///< the colour gauge's place in the plant

plant::Instrument colour_gauge() {
  plant::Instrument made;
  made.id = "eye";
  made.kind = plant::InstrumentKind::colour_gauge;
  made.repeatability = 0.3;
  made.colour.emplace();
  made.colour->path_cm = 2.0;
  made.colour->u_path_rel = 0.002;
  made.colour->u_session = 0.1;
  return made;
}

/// The small line with a dye that is seen. Pond asks for the colour of 0.0030 mg/mL, through 2 cm.
line::State colour_state(line::VialRecord vial, double limit = 2.0) {
  line::State state = small_state(std::move(vial));
  state.plant.instruments.push_back(colour_gauge());
  recipe::Component& dye = state.book.components[0];
  dye.absorptivity = {{380.0, 550.0, 630.0, 680.0, 780.0}, {5.0, 30.0, 163.0, 40.0, 0.0}};
  dye.u_absorptivity_rel = 0.002;
  recipe::Recipe& pond = state.recipes[0];
  pond.colours.resize(1);
  pond.colours[0].path_cm = 2.0;
  Eigen::VectorXd amounts = Eigen::VectorXd::Zero(mixing::amounts_of(state.book));
  amounts[0] = 0.0030;
  pond.colours[0].lab = mixing::View(state.book, pond.colours[0]).lab(amounts);
  pond.tolerances.push_back(recipe::tolerance(recipe::ToleranceOn::colour, 0, {{}, {}, limit}));
  state.vials[0].recipe = pond;
  return state;
}

/// What the gauge should show of that much dye, in mg/mL.
line::VialReading seen(const line::State& state, double dye_mg_per_ml, double when) {
  const mixing::Gauge gauge(state.book, *state.plant.instruments[eye].colour,
                            state.plant.containers[0]);
  Eigen::VectorXd amounts = Eigen::VectorXd::Zero(gauge.amounts()), values;
  amounts[0] = dye_mg_per_ml;
  gauge.show(amounts, {}, values, nullptr);
  line::VialReading reading = support::weighed(line::Weighed::colour, 0.0, 2, when);
  reading.instrument = eye;
  reading.values.assign(values.begin(), values.end());
  reading.origin.id = "colour-1";
  return reading;
}

Decision decided(const line::State& state) { return decide_vial(state, state.vials[0], {}); }

nlohmann::json json_of(const Decision& decision, const line::State& state) {
  return nlohmann::json::parse(as_json(decision, provenance_of(state, "", {}), state));
}

TEST(DecideColour, AGoodVialOfTheRightColourIsReleasedAndTellsItsColour) {
  line::State state = colour_state(small_vial(19.70, 0.300));
  state.vials[0].readings.push_back(seen(state, 0.0030, 45.0));
  const Decision decision = decided(state);
  EXPECT_EQ(decision.disposition, Disposition::release) << decision.headline;
  EXPECT_THAT(decision.unused, IsEmpty());
  const auto told = json_of(decision, state);
  const auto& line = told["conformity"]["lines"][2];
  EXPECT_EQ(line["line"], "colour");
  EXPECT_EQ(line["property"]["unit"], "1");
  EXPECT_EQ(line["wanted"]["illuminant"], "D65");
  const auto& lab = state.recipes[0].colours[0].lab;
  // Doses and reading are those of the target; 0.5 is beyond rounding and the weak prior's pull.
  EXPECT_NEAR(line["seen"]["lab"][0].get<double>(), lab.l, 0.5);
  EXPECT_NEAR(line["seen"]["lab"][1].get<double>(), lab.a, 0.5);
  EXPECT_GT(line["seen"]["u"][1].get<double>(), 0.0);
  const auto& reading = told["evidence"]["readings"][2];
  EXPECT_EQ(reading["what"], "colour");
  EXPECT_THAT(reading["values"], SizeIs(3));
  EXPECT_FALSE(reading.contains("value"));
}

TEST(DecideColour, AReadingBeforeMixingIsToldWithItsReasonAndDoesNotCount) {
  line::State state = colour_state(small_vial(19.70, 0.300));
  line::VialReading unmixed = seen(state, 0.0010, 45.0);  // far off, as a layer would be
  unmixed.mixed = false;
  state.vials[0].readings.push_back(unmixed);
  const Decision decision = decided(state);
  EXPECT_EQ(decision.disposition, Disposition::release) << decision.headline;
  ASSERT_THAT(decision.unused, SizeIs(1));
  EXPECT_THAT(decision.unused[0], HasSubstr("colour by eye at 2026-11-25T12:00:45.000Z"));
  EXPECT_THAT(decision.unused[0], HasSubstr("mixed"));
  const auto reading = json_of(decision, state)["evidence"]["readings"][2];
  EXPECT_EQ(reading["counted"], false);
  EXPECT_THAT(reading["reason"].get<std::string>(), HasSubstr("mixed"));
}

TEST(DecideColour, CountsThatSayNothingAreToldAndDoNotCount) {
  line::State state = colour_state(small_vial(19.70, 0.300));
  line::VialReading clipped = seen(state, 0.0030, 45.0);
  clipped.values.clear();
  clipped.unusable = "channel 2 is clipped";
  state.vials[0].readings.push_back(clipped);
  const Decision decision = decided(state);
  EXPECT_EQ(decision.disposition, Disposition::release) << decision.headline;
  EXPECT_THAT(decision.unused, Contains(HasSubstr("channel 2 is clipped")));
}

TEST(DecideColour, ACloudyVialIsForAPerson) {
  line::State state = colour_state(small_vial(19.70, 0.300));
  line::VialReading cloudy = seen(state, 0.0030, 45.0);
  cloudy.cloudy = true;
  state.vials[0].readings.push_back(cloudy);
  const Decision decision = decided(state);
  EXPECT_EQ(decision.disposition, Disposition::hold) << decision.headline;
  EXPECT_THAT(decision.headline, HasSubstr("Its colour cannot be judged"));
  EXPECT_THAT(decision.headline, HasSubstr("cloudy"));
}

TEST(DecideColour, WhereTheColourDecidesAndNobodyLookedAReadingIsAskedFor) {
  // The dye's content is known to some 1 %, which moves the colour by about 0.2: a limit of 0.2
  // leaves it open, and the gauge is there.
  line::VialRecord vial = small_vial(19.70, 0.300);
  line::State state = colour_state(vial, 0.2);
  state.book.lots[1].strengths[0].u_mg_per_g = 0.002;
  state.vials[0].recipe->tolerances[0].low = 0.0024;
  state.vials[0].recipe->tolerances[0].high = 0.0036;
  const Decision asked = decided(state);
  EXPECT_EQ(asked.disposition, Disposition::measure_again) << asked.headline;
  EXPECT_THAT(asked.headline, HasSubstr("its colour decides, and no reading of it counts"));
  EXPECT_TRUE(asked.colour_unread);
  Options without;
  without.off = {"eye"};
  EXPECT_FALSE(decide_vial(state, state.vials[0], without).colour_unread) << "no gauge could look";
}

TEST(DecideColour, ATooPaleVialIsReworkedAndItsColourComesBack) {
  line::VialRecord vial = small_vial(19.70, 0.260);
  vial.doses[1].commanded_g = 0.260;
  line::State state = colour_state(vial, 1.0);
  // Only the colour binds: the content may be anything.
  state.vials[0].recipe->tolerances.erase(state.vials[0].recipe->tolerances.begin());
  state.recipes[0] = *state.vials[0].recipe;
  state.vials[0].readings.push_back(seen(state, 0.0026, 45.0));
  const Decision decision = decided(state);
  EXPECT_EQ(decision.disposition, Disposition::rework) << decision.headline;
  EXPECT_THAT(decision.headline, HasSubstr("of teal"));
  EXPECT_THAT(decision.binding, HasSubstr("colour"));
  EXPECT_THAT(decision.binding, HasSubstr("\u0394E00"));
}

// ---- evidence --------------------------------------------------------------------------------

TEST(ColourEvidence, FadeIsCountedOnce) {
  line::State state = colour_state(small_vial(19.70, 0.300));
  line::VialRecord& vial = state.vials[0];
  vial.first_dose = vial.doses[0].origin.time;  // 10 s after noon
  state.as_of = support::at(40.0 + 2.0 * 86'400.0);
  const auto evidence = evidence_of(vial, state).evidence;
  const Decision decision = decided(state);
  // Known up to the weighing at 40 s, aged by two days from there.
  EXPECT_NEAR(evidence.days, 30.0 / 86'400.0, 1e-9);
  EXPECT_NEAR(decision.aged_days, 2.0, 1e-9);
  state.book.components[0].absorptivity = {};
  EXPECT_EQ(evidence_of(vial, state).evidence.days, 0.0) << "nothing on the line sees colour";
}

// ---- words -----------------------------------------------------------------------------------

Decision explained(contents::Explanation::Wrong wrong, double shift, double u) {
  Decision decision;
  decision.stock_names = {"base", "rose stock"};
  decision.estimate.emplace();
  contents::Explanation explanation;
  explanation.wrong = wrong;
  explanation.index = wrong == contents::Explanation::Wrong::carried_over ? 1 : -1;
  explanation.odds = 0.97;
  explanation.shift = shift;
  explanation.u_shift = u;
  explanation.net_g = 20.0;
  explanation.u_net_g = 0.01;
  decision.estimate->explanations = {explanation};
  return decision;
}

TEST(ColourWords, TellWhatIsInTheVialThatNobodyDosed) {
  using Wrong = contents::Explanation::Wrong;
  const Decision rose = explained(Wrong::carried_over, 0.012, 0.002);
  EXPECT_THAT(believed_in_words(rose), HasSubstr("it holds rose stock that nobody dosed"));
  EXPECT_THAT(believed_in_words(rose), HasSubstr("0.012"));
  const Decision faded = explained(Wrong::faded, 0.08, 0.01);
  EXPECT_THAT(believed_in_words(faded), HasSubstr("faded beyond their rates"));
  EXPECT_THAT(believed_in_words(faded), HasSubstr("8.0 \u00b1 2.0\u00a0%"));
  const Decision colourant = explained(Wrong::colourant, 0.05, 0.01);
  EXPECT_THAT(believed_in_words(colourant),
              HasSubstr("something colours it that no mix of the known components explains"));
  for (const Decision* each : {&rose, &faded, &colourant})
    EXPECT_THAT(what_would_settle(*each), HasSubstr("measuring the colour again"));
}

// ---- the shipped line ------------------------------------------------------------------------

TEST(LarkmoorColours, AreThoseOfTheContentsThatItsRecipesAimAt) {
  const std::string folder = std::string(VIALWRIGHT_SOURCE_DIR) + "/examples/larkmoor/";
  const auto line = line::read_line_file(folder + "line.toml");
  ASSERT_TRUE(line.has_value()) << line.error().front().where << line.error().front().what;
  const auto recipes = line::read_recipes_csv(folder + "recipes.csv", *line);
  ASSERT_TRUE(recipes.has_value());
  int colours = 0;
  for (const recipe::Recipe& recipe : *recipes) {
    Eigen::VectorXd amounts = Eigen::VectorXd::Zero(mixing::amounts_of(line->book));
    for (const recipe::Tolerance& it : recipe.tolerances)
      if (it.on == recipe::ToleranceOn::content) amounts[it.of] = it.target;
    for (const recipe::ColourTarget& wanted : recipe.colours) {
      ++colours;
      const auto lab = mixing::View(line->book, wanted).lab(amounts);
      // The file's were made by another program, per mL of the mixture; its density is within 1.6 %
      // of 1 g/mL (salt), and a per cent moves these colours by less than 0.3.
      EXPECT_LT(colour::difference_00(lab, wanted.lab), 0.5) << recipe.id;
    }
  }
  EXPECT_GE(colours, 20);
}

}  // namespace
}  // namespace vialwright::decide
