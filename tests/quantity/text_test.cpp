#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <cmath>
#include <cstring>

#include "quantity/quantity.hpp"

namespace vialwright::quantity {
namespace {

TEST(ParseNumber, TakesOnlyWholeFiniteDecimals) {
  EXPECT_EQ(parse_number("12.345", "").value(), 12.345);
  EXPECT_EQ(parse_number("-1e-3", "").value(), -0.001);
  for (const char* bad : {"", " 1", "1 ", "12,3", "nan", "inf", "-inf", "0x10", "1e999", "1.2.3"}) {
    EXPECT_FALSE(parse_number(bad, "")) << bad;
  }
}

TEST(ParseNumber, DecimalCommaIsExplained) {
  const auto refused = parse_number("12,3", "shift.csv:4, column net_g");
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().what, "'12,3' is not a number");
  EXPECT_EQ(refused.error().where, "shift.csv:4, column net_g");
  EXPECT_NE(refused.error().mend.find("point"), std::string::npos);
}

// Source: RFC 3339, section 5.8, the examples (the leap second among them).
TEST(ParseInstant, ExamplesOfTheStandard) {
  EXPECT_EQ(parse_instant("1985-04-12T23:20:50.52Z", "")->us, 482196050520000);
  EXPECT_EQ(parse_instant("1996-12-19T16:39:57-08:00", ""),
            parse_instant("1996-12-20T00:39:57Z", ""));
  EXPECT_EQ(parse_instant("1990-12-31T23:59:60Z", ""), parse_instant("1991-01-01T00:00:00Z", ""));
  EXPECT_EQ(parse_instant("1970-01-01T00:00:00Z", "")->us, 0);
}

TEST(ParseInstant, RefusesWhatIsNoTime) {
  for (const char* bad :
       {"", "2026-11-25", "2026-11-25T14:34:05", "2026-11-25 14:34:05Z", "2026-13-01T00:00:00Z",
        "2026-02-29T00:00:00Z", "2026-11-25T24:00:00Z", "2026-11-25T14:34:05.Z",
        "2026-11-25T14:34:05+1:00", "1969-12-31T23:59:59Z", "2026-11-25T14:34:05Zx"}) {
    EXPECT_FALSE(parse_instant(bad, "")) << bad;
  }
}

RC_GTEST_PROP(Instant, TextReadsBackToTheSameMoment, ()) {
  const Instant moment{*rc::gen::inRange<std::int64_t>(0, 4'000'000'000'000'000)};
  RC_ASSERT(parse_instant(to_text(moment), "").value() == moment);
}

// The rules of our own visual language: half of the 95 % interval, two digits if they begin with 1
// or 2, else one.
TEST(WithDoubt, DigitsFollowTheDoubt) {
  const auto text = [](double value, double half) {
    return with_doubt(value, half / 1.959963984540054, "g");
  };
  EXPECT_EQ(text(19.35606, 0.01321), "19.356 ± 0.013\u00a0g");
  EXPECT_EQ(text(0.30821, 0.0069), "0.308 ± 0.007\u00a0g");
  EXPECT_EQ(text(-0.5, 0.29), "−0.50 ± 0.29\u00a0g");
  EXPECT_EQ(text(-0.5, 0.31), "−0.5 ± 0.3\u00a0g");
  EXPECT_EQ(text(20.0, 0.0996), "20.00 ± 0.10\u00a0g");
  EXPECT_EQ(text(20.0, 0.996), "20.0 ± 1.0\u00a0g");
  EXPECT_EQ(text(1234.0, 270.0), "1230 ± 270\u00a0g");
  EXPECT_EQ(text(1234.0, 27.0), "1234 ± 27\u00a0g");
  EXPECT_EQ(text(-0.0001, 0.5), "0.0 ± 0.5\u00a0g");
}

TEST(WithDoubt, SaysWhenItCannotTell) {
  EXPECT_EQ(with_doubt(NAN, 1.0, "g"), "cannot tell");
  EXPECT_EQ(with_doubt(1.0, INFINITY, "g"), "cannot tell");
  EXPECT_EQ(with_doubt(2.5, 0.0, "g"), "2.5\u00a0g (exact)");
}

TEST(OddsInWords, NeverPercentAndBoundedAtTheEnds) {
  EXPECT_EQ(odds_in_words(0.971), "97 in\u00a0100");
  EXPECT_EQ(odds_in_words(0.004), "fewer than 1 in\u00a0100");
  EXPECT_EQ(odds_in_words(0.9951), "more than 99 in\u00a0100");
  EXPECT_EQ(odds_in_words(NAN), "cannot tell");
}

RC_GTEST_PROP(Shortest, ReadsBackToTheSameBits, (std::uint64_t bits)) {
  double value = 0.0;
  std::memcpy(&value, &bits, sizeof value);
  RC_PRE(std::isfinite(value));
  const double back = parse_number(shortest(value), "").value();
  RC_ASSERT(back == value);
}

}  // namespace
}  // namespace vialwright::quantity
