#include "report/tally.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "report/drawing.hpp"
#include "report/html.hpp"
#include "report/sample.hpp"
#include "report/words.hpp"

namespace vialwright::report {
namespace {

// The score interval holds every share p whose distance from the observed one is at most z standard
// errors of p itself; so at both of its ends (observed - p)^2 = z^2 p (1 - p) / n.
TEST(ShareInterval, EndsWhereTheScoreTestJustAccepts) {
  constexpr double z = 1.959963984540054;
  for (const auto& [hits, tries] : {std::pair{548, 575}, {14, 17}, {1, 30}, {7, 7}, {0, 12}}) {
    const double observed = static_cast<double>(hits) / tries;
    const auto found =
        share_interval(static_cast<std::uint64_t>(hits), static_cast<std::uint64_t>(tries));
    EXPECT_LE(found.lower, observed + 1e-12);
    EXPECT_GE(found.upper, observed - 1e-12);
    for (const double end : {found.lower, found.upper}) {
      // 1e-12: rounding of quantities below 1.
      EXPECT_NEAR(std::pow(observed - end, 2), z * z * end * (1.0 - end) / tries, 1e-12);
    }
  }
}

// By hand: of 100 readings 0.27 lie beyond 3 u by chance. P(2 or more) = 1 - e^-0.27 (1 + 0.27) =
// 0.031, no news; P(3 or more) = 0.0027, rarer than one shift in a hundred.
TEST(Pulls, NeedCareWhenMoreStandFarOffThanChanceExplains) {
  Pulls pulls;
  pulls.count = 100;
  pulls.beyond_3 = 2;
  EXPECT_FALSE(pulls.needs_care());
  pulls.beyond_3 = 3;
  EXPECT_TRUE(pulls.needs_care());
}

TEST(Pulls, CountEveryReadingOnceAndLeaveBlundersOutOfTheMean) {
  const decide::Shift shift = sample::shift(30);
  std::uint64_t readings = 0;
  for (const decide::Decision& decision : shift.decisions) readings += decision.readings.size();
  std::uint64_t counted = 0;
  for (const Pulls& pulls : pulls_of(shift)) {
    std::uint64_t strokes = 0;
    for (const std::uint64_t each : pulls.strokes) strokes += each;
    EXPECT_EQ(strokes, pulls.count);
    counted += pulls.count + pulls.alone;
    EXPECT_LE(std::abs(pulls.mean), 6.0);
    // The sample puts one reading of the line scale at 41 u and one of the teal meter at -8.2 u.
    const bool blunder = pulls.instrument == "line scale" || pulls.instrument == "meter teal";
    EXPECT_EQ(pulls.count - pulls.within_6, blunder ? 1u : 0u) << pulls.instrument;
  }
  EXPECT_EQ(counted, readings);
}

TEST(LaneOf, PutsLimitsAtTheEdgesOfTheClear) {
  const recipe::Tolerance two{recipe::ToleranceOn::net_mass, -1, 19.5, 20.0, 20.5};
  const Lane lane = lane_of(two, narrow_clear);
  EXPECT_NEAR(lane.place(19.5), 35.0, 1e-9);  // a clear of 30 hundredths in the middle
  EXPECT_NEAR(lane.place(20.0), 50.0, 1e-9);
  EXPECT_NEAR(lane.place(20.5), 65.0, 1e-9);
  const recipe::Tolerance most{recipe::ToleranceOn::content, 0, -recipe::no_limit, 0.0, 0.1};
  EXPECT_NEAR(lane_of(most, wide_clear).place(0.1) - lane_of(most, wide_clear).place(0.0), 60.0,
              1e-9);
  const recipe::Tolerance least{recipe::ToleranceOn::net_mass, -1, 10.0, 12.0, recipe::no_limit};
  EXPECT_GT(lane_of(least, wide_clear).place(11.0), lane_of(least, wide_clear).clear_from);
}

TEST(ValueHtml, MakesTheDigitsOutsideTheDoubtBold) {
  // Worked by hand: with 0.013 the hundredths are already in doubt, with 0.13 the tenths are.
  EXPECT_NE(value_html("19.356 ± 0.013 g").find("<b>19.3</b><span class=\"d\">56</span>"),
            std::string::npos);
  EXPECT_NE(value_html("8.00 ± 0.13").find("<b>8</b><span class=\"d\">.00</span>"),
            std::string::npos);
  EXPECT_NE(value_html("19282 ± 10 mg").find("<b>192</b><span class=\"d\">82</span>"),
            std::string::npos);
  EXPECT_EQ(value_html("a < b"), "a &lt; b");
}

// Source: RFC 4648, section 10, test vectors.
TEST(Base64, GivesTheVectorsOfItsStandard) {
  EXPECT_EQ(base64(""), "");
  EXPECT_EQ(base64("f"), "Zg==");
  EXPECT_EQ(base64("fo"), "Zm8=");
  EXPECT_EQ(base64("foo"), "Zm9v");
  EXPECT_EQ(base64("foob"), "Zm9vYg==");
  EXPECT_EQ(base64("fooba"), "Zm9vYmE=");
  EXPECT_EQ(base64("foobar"), "Zm9vYmFy");
}

TEST(Plain, ShowsSixDigitsWithoutExponent) {
  EXPECT_EQ(plain(0.029152499999999998), "0.0291525");
  EXPECT_EQ(plain(1e-4), "0.0001");
  EXPECT_EQ(plain(20.5), "20.5");
  EXPECT_EQ(plain(0.0), "0");
  EXPECT_EQ(plain(-12.0), "−12");
}

}  // namespace
}  // namespace vialwright::report
