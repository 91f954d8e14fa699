/// Holding, pairing, learning and what is impossible: as drawn and as said.

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>

#include "report/become.hpp"
#include "report/drawing.hpp"
#include "report/facts.hpp"
#include "report/html.hpp"
#include "report/report.hpp"
#include "report/sample.hpp"
#include "report/xml.hpp"

namespace vialwright::report {
namespace {

bool holds(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

/// The part of the page under a heading.
std::string part_of(const std::string& name) {
  static const decide::Shift shift = sample::shift(3);
  static const std::string page = shift_page(shift, sample::state(shift), "Larkmoor");
  const std::size_t from = page.find("<h2>" + name);
  EXPECT_NE(from, std::string::npos) << name;
  return page.substr(from, page.find("</section>", from) - from);
}

std::string read(const std::string& svg) { return support::read_page(svg).problem; }

/// Hundredths of the width at which the first line of a class stands.
double place_of(const std::string& svg, const std::string& kind) {
  const std::size_t at = svg.find("<line class=\"" + kind + "\" x1=\"");
  EXPECT_NE(at, std::string::npos) << kind;
  return std::strtod(svg.c_str() + svg.find("x1=\"", at) + 4, nullptr);
}

// Source: docs/look.md, "taper": time is stretched near now by log(1 + t / 30 min).
TEST(Taper, ThePostStandsWhereWaitingStopsPayingOnTheStretchedAxis) {
  Taper taper;
  taper.at_s = {0.0, 1800.0, 5400.0};
  taper.worth = {1.0, 0.5, 0.0};
  taper.limit_s = 5400.0;        // log 4
  taper.last_s = 27000.0;        // log 16, so the post stands at half of the axis
  taper.limit_low_s = 1800.0;    // log 2: a quarter
  taper.limit_high_s = 12600.0;  // log 8: three quarters
  taper.alternative = "waiting pays";
  const std::string svg = taper_svg(taper);
  EXPECT_EQ(read(svg), "");
  const double now = place_of(svg, "limit");
  const double end = 100.0 - now;  // the axis leaves the same edge on both sides
  EXPECT_NEAR(place_of(svg, "binds"), (now + end) / 2.0, 0.01);  // two decimals are printed
  EXPECT_NEAR(place_of(svg, "span"), now + (end - now) / 4.0, 0.01);
  EXPECT_TRUE(holds(svg, "class=\"not\"")) << "hatched after the post";
}

TEST(Taper, NothingIsHatchedWhereWaitingAlwaysPays) {
  Taper taper;
  taper.limit_s = taper.limit_low_s = taper.limit_high_s = taper.last_s = 3600.0;
  taper.alternative = "waiting pays";
  const std::string svg = taper_svg(taper);
  // What is left beyond the axis is its margin.
  EXPECT_NEAR(place_of(svg, "binds"), 98.0, 0.01);
}

TEST(Rung, ReachesTheOrderOnlyWhenThePairIsTaken) {
  const std::string taken = rung_svg({3.0, 1.0, 4.0, true, "taken"});
  const std::string missed = rung_svg({1.0, 3.0, 4.0, false, "not taken"});
  EXPECT_EQ(read(taken), "");
  EXPECT_EQ(read(missed), "");
  EXPECT_TRUE(holds(taken, "<circle class=\"ink\""));
  EXPECT_FALSE(holds(missed, "<circle class=\"ink\""));
  EXPECT_TRUE(holds(missed, "fill=\"none\"")) << "hollow";
  EXPECT_TRUE(holds(missed, "url(#p-hold)")) << "dotted bar of waiting";
}

TEST(HeldPart, SaysUntilWhenWhyForWhatAndWhatAPlaceCosts) {
  const std::string part = part_of("How long it pays to wait");
  for (const char* said : {"1 of 6\u00A0hold places taken", "0.17\u00A0mk a day",
                           "Dunmere green 21 g", "its place costs more than it may still earn",
                           "41 in\u00A0100 in a day", "1.24\u00A0mk over scrapping", "stretched"})
    EXPECT_TRUE(holds(part, said)) << said << "\n" << part;
}

// Scrapping costs 0.30 mk, so 3.62 mk of saving are 3.92 mk over scrapping.
TEST(PairsPart, SaysOddsInWordsWorthAndWhatFallsShort) {
  const std::string part = part_of("Who gets which order");
  for (const char* said :
       {"97 in\u00A0100 (94 to 99)", "3.92\u00A0mk", "1.40\u00A0mk", "63 in\u00A0100 (50 to 75)",
        "0.43\u00A0mk", "licensed practice come first"})
    EXPECT_TRUE(holds(part, said)) << said << "\n" << part;
}

TEST(LearnedPart, ShowsCountAndIntervalOfEverythingLearned) {
  const std::string part = part_of("What the record has taught");
  // Bias -1.2 (-1.9 to -0.5) mg of 38 doses, spread 2.1 (1.7 to 2.7) mg where 1.5 is stated.
  for (const char* said : {"40", "38", "1.2", "1.9", "0.5", "2.1 (1.7 to 2.7)", "1.5",
                           "agree with the odds", "Only vials that were reworked"})
    EXPECT_TRUE(holds(part, said)) << said << "\n" << part;
  // A gamma belief of shape 6.5 in 5 days has the mean 1.3 a day.
  EXPECT_TRUE(holds(part, "1.30 (")) << part;
}

TEST(Record, TellsKindOfImpossibleSecondBestWaitingAndMoney) {
  const decide::Shift shift = sample::shift(0);
  const line::State state = sample::state(shift);
  const std::string text = vial_in_full(sample::find(shift, "LM-30003"), state, {});
  for (const char* said : {"impossible by any amounts", "only by the risk", "second best",
                           "(79 to 91)", "over scrapping", "it fits", "50 in\u00A0100"})
    EXPECT_TRUE(holds(text, said)) << said << "\n" << text;
}

TEST(OrderOfATopup, IsTheOneThatTheVialGoesTo) {
  decide::Decision decision;
  decision.for_recipe = "green";
  decision.for_order = "O-7";
  decide::TopupAnswer answer;
  answer.recipe = "green";
  answer.order = "O-2";  // due first, but given to another vial
  EXPECT_EQ(order_in_words(answer, decision), "O-7");
  decision.for_recipe = "rose";
  EXPECT_EQ(order_in_words(answer, decision), "O-2");
  answer.order.clear();
  EXPECT_EQ(order_in_words(answer, decision), "none open");
}

TEST(WhyNot, SaysTheInequalityOrTheBestOddsAndWhatTheyLack) {
  const decide::Shift shift = sample::shift(0);
  const line::State state = sample::state(shift);
  const decide::Decision& vial = sample::find(shift, "LM-30003");
  const std::string own = why_not(vial, "orrel-20", state, {});
  EXPECT_TRUE(holds(own, "impossible by any amounts: teal dye needs 20.97 g in all")) << own;
  EXPECT_TRUE(holds(own, "check-proof")) << own;
  const std::string other = why_not(vial, "dunmere-21", state, {});
  EXPECT_TRUE(holds(other, "only by the risk")) << other;
  EXPECT_TRUE(holds(other, "88 in\u00A0100")) << other;  // best odds
  EXPECT_TRUE(holds(other, "95 in\u00A0100")) << other;  // what the line's risk asks for
  EXPECT_EQ(why_not(vial, "unheard-of", state, {}), "");
}

TEST(Overrun, IsTheLiquidThatTheClaimNeedsBeyondWhatIsAllowed) {
  const auto found = overrun_of(sample::proved().claim);
  ASSERT_TRUE(found);
  EXPECT_NEAR(found->needs_g, 20.97, 1e-9);  // rounding of the sample's own product
  EXPECT_NEAR(found->allowed_g, 20.5, 1e-9);
  const std::string svg = overrun_svg(*found);
  EXPECT_EQ(read(svg), "");
  EXPECT_TRUE(holds(svg, "needs 20.97 g")) << svg;
  EXPECT_TRUE(holds(svg, "allowed 20.50 g")) << svg;
  // The limit stands before what is needed, both in the drawing.
  EXPECT_LT(place_of(svg, "binds"), 75.0);
  EXPECT_GT(place_of(svg, "binds"), 0.0);
}

TEST(Overrun, IsNotDrawnWhereSeveralLinesForbidItTogether) {
  proof::Claim claim = sample::proved().claim;
  claim.rows[0].present = 20.2 * 0.00312;  // no more than what is there needs
  EXPECT_FALSE(overrun_of(claim));
}

TEST(ValueHtml, KeepsNumberDoubtAndUnitTogetherAndNothingElse) {
  const std::string html =
      value_html("off by 0.146 ± 0.007\u00A0g; it holds 20.105 ± 0.013\u00A0g.");
  EXPECT_EQ(html,
            "off by <span class=\"num\"><b>0.14</b><span class=\"d\">6</span>\u00A0±\u00A0"
            "0.007\u00A0g</span>; it holds <span class=\"num\"><b>20.1</b><span class=\"d\">05"
            "</span>\u00A0±\u00A00.013\u00A0g.</span>");
  EXPECT_EQ(value_html("a ± b"), "a ± b");
}

TEST(Suppositions, SayWhatWouldDifferWithItsMoneyAndThatNothingWasRecorded) {
  const decide::Shift shift = sample::shift(0);
  const std::string text = differences_table(
      {{"LM-30003", "hold: waits", "scrap: no place", 1.24, 0.0}}, sample::state(shift), {});
  EXPECT_TRUE(holds(text, "LM-30003")) << text;
  EXPECT_TRUE(holds(text, "\u22121.24\u00A0mk")) << text;
  EXPECT_TRUE(holds(text, "Nothing was recorded")) << text;
}

}  // namespace
}  // namespace vialwright::report
