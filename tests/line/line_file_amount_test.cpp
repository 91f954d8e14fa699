// Amounts and limits as texts.
#include "line/line_file_amount.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <string>

namespace vialwright::line {
namespace {

using testing::HasSubstr;

Amount amount(const std::string& text, const std::string& unit) {
  const auto read = read_amount(text, unit, "here");
  EXPECT_TRUE(read.has_value()) << text << ": " << (read ? "" : read.error().what);
  return read.value_or(Amount{std::nan(""), std::nan("")});
}

Error refused(const std::string& text, const std::string& unit) {
  const auto read = read_amount(text, unit, "here");
  EXPECT_FALSE(read.has_value()) << text;
  return read ? Error{} : read.error();
}

// One strength, 0.500 mg/g with a standard uncertainty of 0.005 mg/g, in each of its spellings.
TEST(Amounts, AllSpellingsOfOneStrengthAgree) {
  for (const char* text : {
           "0.500 mg/g, u 0.005 mg/g",
           "0.500 mg/g, u 5 ug/g",
           "0.500 mg/g, u 1 %",
           "0.5 mg/g,u 1%",
           "0.5mg/g, u=0.005 mg/g",
           "0.500 ± 0.010 mg/g (k = 2)",
           "0.500 mg/g ± 0.010 mg/g (k=2)",
           "0.500 mg/g ± 2 % (k = 2)",
           "0.500 mg/g +/- 0.015 mg/g (k = 3)",
           "500 mg/kg, u 5 mg/kg",
           "0.05 %, u 0.0005 %",
           "5e-4 g/g, u 5E-6 g/g",
           "  0.500 mg/g, u 1 %  ",
       }) {
    const Amount it = amount(text, "mg/g");
    // 1e-15 is a few roundings of 0.5.
    EXPECT_NEAR(it.value, 0.5, 1e-15) << text;
    EXPECT_NEAR(it.u, 0.005, 1e-15) << text;
  }
}

TEST(Amounts, WithoutDoubtHaveNone) {
  EXPECT_EQ(amount("5 mg", "g").value, 0.005);
  EXPECT_EQ(amount("5 mg", "g").u, 0.0);
  EXPECT_EQ(amount("-0.2 %", "1").value, -0.002);
  EXPECT_EQ(amount("0.25", "1").value, 0.25) << "a ratio may stand without its unit";
}

// JCGM 100:2008 (GUM), 7.2.2: the ± form is confused with an interval of high confidence; and its
// 7.2.4: an expanded uncertainty is stated with its k. A calibration certificate does so.
TEST(Amounts, PlusMinusWithoutItsKIsRefused) {
  const Error error = refused("0.500 ± 0.010 mg/g", "mg/g");
  EXPECT_THAT(error.what, HasSubstr("does not say what its ± means"));
  EXPECT_THAT(error.mend, HasSubstr("u 0.005 mg/g"));
  refused("0.500 ± 0.010 mg/g (k = 0)", "mg/g");
  refused("0.500 ± 0.010 mg/g (k = two)", "mg/g");
  refused("0.500 ± 0.010 mg/g (95 %)", "mg/g");
}

TEST(Amounts, WhatIsNoneIsRefused) {
  EXPECT_THAT(refused("", "g").what, HasSubstr("does not begin with a number"));
  EXPECT_THAT(refused("five mg", "g").what, HasSubstr("does not begin with a number"));
  EXPECT_THAT(refused("5", "g").mend, HasSubstr("\"5 g\""));
  EXPECT_THAT(refused("1,5 g", "g").mend, HasSubstr("with a point"));
  EXPECT_THAT(refused("1.5.2 g", "g").what, HasSubstr("'1.5.2' is not a number"));
  EXPECT_THAT(refused("nan g", "g").what, HasSubstr("does not begin with a number"));
  EXPECT_THAT(refused("inf g", "g").what, HasSubstr("does not begin with a number"));
  EXPECT_THAT(refused("1e999 g", "g").what, HasSubstr("not a number"));
  EXPECT_THAT(refused("5 g g", "g").what, HasSubstr("unit 'g g'"));
  EXPECT_THAT(refused("5 mL", "g").what, HasSubstr("does not fit"));
  EXPECT_THAT(refused("5 g, u", "g").what, HasSubstr("unit 'g, u'"));
  EXPECT_THAT(refused("5 g, u x", "g").what, HasSubstr("does not begin with a number"));
  EXPECT_THAT(refused("5 g, u 1 mL", "g").what, HasSubstr("does not fit"));
}

TEST(Limits, AllSpellingsOfOneBandAgree) {
  for (const char* text : {
           "20.0 ± 0.5 g",
           "20.0 g ± 0.5 g",
           "20.0 g ± 500 mg",
           "20.0 g ± 2.5 %",
           "20.0 g +/- 0.5 g",
           "19.5 to 20.5 g, target 20 g",
           "19.5 g to 20.5 g, target 20000 mg",
           "19500 mg to 20.5 g, target 20 g",
       }) {
    const auto read = read_limits(text, "g", "here");
    ASSERT_TRUE(read.has_value()) << text << ": " << read.error().what;
    EXPECT_NEAR(read->low.value(), 19.5, 1e-12) << text;
    EXPECT_NEAR(read->target.value(), 20.0, 1e-12) << text;
    EXPECT_NEAR(read->high.value(), 20.5, 1e-12) << text;
  }
}

TEST(Limits, OfOneSideLeaveTheOtherOpen) {
  const auto most = read_limits("at most 0.2 mg/g", "mg/g", "here");
  ASSERT_TRUE(most.has_value());
  EXPECT_FALSE(most->low.has_value());
  EXPECT_EQ(most->high, 0.2);
  const auto least = read_limits("at least 19.5 g, target 20 g", "g", "here");
  ASSERT_TRUE(least.has_value());
  EXPECT_EQ(least->low, 19.5);
  EXPECT_EQ(least->target, 20.0);
  EXPECT_FALSE(least->high.has_value());
}

TEST(Limits, InPercentAreOfTheWholeWhereTheValueIsInPercent) {
  const auto read = read_limits("5 % ± 1 %", "mg/g", "here");
  ASSERT_TRUE(read.has_value());
  EXPECT_NEAR(read->low.value(), 40.0, 1e-12) << "4 % is 40 mg/g";
  EXPECT_NEAR(read->high.value(), 60.0, 1e-12);
}

TEST(Limits, ThatAreNoneAreRefused) {
  for (const char* text :
       {"", "20 g", "about 20 g", "at most", "at most 20", "19.5 to 20.5", "to 20.5 g", "20 ± g",
        "20 g ± -1 g", "20 g ± 1 mL", "19 to 20 g, target x"}) {
    const auto read = read_limits(text, "g", "here");
    EXPECT_FALSE(read.has_value()) << text;
    EXPECT_TRUE(read || !read.error().mend.empty()) << text;
  }
}

RC_GTEST_PROP(Amounts, AnyValueAndDoubtComeBackFromTheirText, ()) {
  const double value = *rc::gen::inRange(-1000000, 1000000) / 64.0;
  const double u = *rc::gen::inRange(0, 1000000) / 64.0;
  const std::string text = quantity::shortest(value) + " g, u " + quantity::shortest(u) + " g";
  const auto read = read_amount(text, "g", "here");
  RC_ASSERT(read.has_value());
  RC_ASSERT(read->value == value);  // the same unit: nothing is rounded
  RC_ASSERT(read->u == u);
}

RC_GTEST_PROP(Amounts, AnyTextIsReadOrRefusedWithAMend, ()) {
  const auto text = *rc::gen::container<std::string>(
      rc::gen::elementOf(std::string("0123456789.,eE+-u %gmLk=()±to\xc2\xb1 /")));
  const auto read = read_amount(text, "g", "here");
  if (read) {
    RC_ASSERT(std::isfinite(read->value) && read->u >= 0.0);
  } else {
    RC_ASSERT(!read.error().what.empty() && !read.error().mend.empty());
    RC_ASSERT(read.error().where == "here");
  }
  const auto limits = read_limits(text, "g", "here");
  if (!limits) RC_ASSERT(!limits.error().mend.empty());
}

}  // namespace
}  // namespace vialwright::line
