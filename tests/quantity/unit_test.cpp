#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <cmath>

#include "quantity/quantity.hpp"

namespace vialwright::quantity {
namespace {

// Source: SI Brochure, 9th edition (2019): prefixes, the litre and the degree Celsius; UCUM codes.
TEST(Convert, KnownPairsToTheLastBit) {
  EXPECT_EQ(convert(320.0, "mg", "g", "").value(), 0.32);
  EXPECT_EQ(convert(0.5, "mg/g", "mg/g", "").value(), 0.5);
  EXPECT_EQ(convert(0.5, "g/kg", "mg/g", "").value(), 0.5);
  EXPECT_EQ(convert(3.0, "%", "mg/g", "").value(), 30.0);
  EXPECT_DOUBLE_EQ(convert(998.2, "kg/m3", "g/mL", "").value(), 0.9982);  // 998.2 is not exact
  EXPECT_EQ(convert(1013.25, "hPa", "kPa", "").value(), 101.325);
  EXPECT_EQ(convert(1.0, "kW.h", "J", "").value(), 3.6e6);
  EXPECT_NEAR(convert(293.15, "K", "Cel", "").value(), 20.0, 1e-12);  // one rounding of 273.15
  EXPECT_NEAR(convert(9.0, "mg/h", "g/h", "").value(), 0.009, 1e-17);
}

TEST(Convert, UnknownUnitNamesTheNearestOne) {
  const auto refused = convert(1.0, "kgs", "mg", "shift.jsonl:41, data.mass.unit");
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().where, "shift.jsonl:41, data.mass.unit");
  EXPECT_NE(refused.error().what.find("'kgs'"), std::string::npos);
  EXPECT_NE(refused.error().mend.find("'kg'"), std::string::npos);
}

TEST(Convert, WrongDimensionListsWhatFits) {
  const auto refused = convert(1.0, "mL", "g", "here");
  ASSERT_FALSE(refused);
  EXPECT_NE(refused.error().what.find("'mL'"), std::string::npos);
  EXPECT_NE(refused.error().mend.find("kg, g, mg"), std::string::npos);
}

TEST(Convert, NotFiniteIsRefused) {
  EXPECT_FALSE(convert(NAN, "g", "mg", ""));
  EXPECT_FALSE(convert(INFINITY, "g", "g", ""));
  EXPECT_FALSE(convert(1e308, "kg", "ug", ""));
}

RC_GTEST_PROP(Convert, ThereAndBackIsTheSameToRounding, ()) {
  const auto codes = known_units();
  const auto from = *rc::gen::elementOf(codes);
  const auto fits = [from](std::string_view to) { return convert(1.0, from, to, "").has_value(); };
  const auto to = *rc::gen::suchThat(rc::gen::elementOf(codes), fits);
  const double value = *rc::gen::inRange(-1'000'000, 1'000'000) * 1e-3;
  const double there = convert(value, from, to, "").value();
  const double back = convert(there, to, from, "").value();
  // Two roundings, and one of an offset near 273 for temperatures.
  RC_ASSERT(std::abs(back - value) <= 4e-16 * std::abs(value) + 2e-13);
}

TEST(Nearest, FindsSlipsButNotStrangers) {
  const std::vector<std::string_view> known = {"stations", "containers", "stocks"};
  EXPECT_EQ(nearest("statoins", known), "stations");
  EXPECT_EQ(nearest("stock", known), "stocks");
  EXPECT_EQ(nearest("prices", known), "");
  EXPECT_EQ(nearest(std::string(1000, 'x'), known), "");
}

}  // namespace
}  // namespace vialwright::quantity
