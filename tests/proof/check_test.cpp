#include "proof/proof.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <algorithm>
#include <limits>

namespace vialwright::proof {
namespace {

using ::testing::HasSubstr;

constexpr double none = std::numeric_limits<double>::infinity();

/// A dye that is 8 % too strong, to be diluted with base: at most 20.5 g of liquid is allowed, and
/// 0.0648 mg at 0.00309 mg/g need 20.971 g (0.0648 / 0.00309, by hand).
Claim too_strong(double most_g = 20.5) {
  Claim claim;
  claim.stocks = {"base"};
  claim.least = {0.03};
  claim.largest = {4.0};
  claim.rows = {{"content of teal", 0.0648, {0.0}, 20.0, {1.0}, -none, 0.00309},
                {"net mass", 20.0, {1.0}, 1.0, {0.0}, -none, most_g}};
  return claim;
}

/// Content limit once, net limit 0.00309 times: 0.00309 * 20.5 - 0.0648 = -0.00145, whatever is
/// added.
Proof dilution_is_not_enough() { return {{{-1, -1, -1, {-1.0, -0.00309}}}}; }

/// 20 g that want 20.01 to 20.02 g, and a dose of at least 0.03 g.
Claim too_small_a_dose() {
  Claim claim;
  claim.stocks = {"base"};
  claim.least = {0.03};
  claim.largest = {5.0};
  claim.rows = {{"net mass", 20.0, {1.0}, 1.0, {0.0}, 20.01, none},
                {"net mass", 20.0, {1.0}, 1.0, {0.0}, -none, 20.02}};
  return claim;
}
Proof either_way_misses() {
  return {{{0, 1, 2, {}}, {-1, -1, -1, {1.0, 0.0}}, {-1, -1, -1, {0.0, -1.0}}}};
}

TEST(CheckProof, DilutionThatNeedsMoreThanIsAllowedIsProved) {
  const Checked checked = check(too_strong(), dilution_is_not_enough());
  EXPECT_TRUE(checked.accepted) << checked.because;
  EXPECT_EQ(checked.leaves, 1);
}

TEST(CheckProof, TheSameMultipliersProveNothingWhereThereIsRoom) {
  // 21 g may be in it and 20.971 g are enough, so no proof can be right.
  EXPECT_FALSE(check(too_strong(21.0), dilution_is_not_enough()).accepted);
}

TEST(CheckProof, BothCasesOfALeastDoseAreNeeded) {
  EXPECT_TRUE(check(too_small_a_dose(), either_way_misses()).accepted);
  Proof lacking = either_way_misses();
  lacking.nodes[0].with = 1;  // the case "left out" twice
  EXPECT_FALSE(check(too_small_a_dose(), lacking).accepted);
  lacking.nodes.pop_back();
  lacking.nodes[0].with = 2;
  EXPECT_THAT(check(too_small_a_dose(), lacking).because, HasSubstr("missing"));
}

TEST(CheckProof, WithoutTheCasesTheLeastDoseIsNoReason) {
  // From 0 to 5 g the window is met by 0.015 g.
  for (const double lower : {0.0, 0.5, 1.0}) {
    const Proof leaf{{{-1, -1, -1, {lower, lower - 1.0}}}};
    EXPECT_FALSE(check(too_small_a_dose(), leaf).accepted);
  }
}

TEST(CheckProof, ArithmeticIsExact) {
  // In doubles 0.1 + 0.2 is 0.3 and 5.6e-17 more; the claim "0.3 cannot reach it" is true by that.
  Claim claim;
  claim.stocks = {"base"};
  claim.least = {0.0};
  claim.largest = {0.3};
  claim.rows = {{"net mass", 0.0, {1.0}, 1.0, {0.0}, 0.1 + 0.2, none}};
  const Proof proof{{{-1, -1, -1, {1.0}}}};
  EXPECT_TRUE(check(claim, proof).accepted);
  claim.largest = {0.1 + 0.2};
  EXPECT_FALSE(check(claim, proof).accepted);
}

TEST(CheckProof, StocksThatStayApartCloseACase) {
  // Two dyes of which one may be dosed; each alone reaches 1 g of the 1.5 g wanted.
  Claim claim;
  claim.stocks = {"salt", "grey"};
  claim.least = {0.1, 0.1};
  claim.largest = {1.0, 1.0};
  claim.rows = {{"net mass", 0.0, {1.0, 1.0}, 1.0, {0.0, 0.0}, 1.5, none}};
  const Proof proof{
      {{0, 1, 2, {}}, {-1, -1, -1, {1.0}}, {1, 3, 4, {}}, {-1, -1, -1, {1.0}}, {-1, -1, -1, {}}}};
  EXPECT_FALSE(check(claim, proof).accepted);
  claim.apart = {{0, 1}};
  EXPECT_TRUE(check(claim, proof).accepted);
}

TEST(CheckProof, MalformedProofsAreRefusedWithAReason) {
  const auto refused = [](const Claim& claim, const Proof& proof, const char* because) {
    const Checked checked = check(claim, proof);
    EXPECT_FALSE(checked.accepted);
    EXPECT_THAT(checked.because, HasSubstr(because));
  };
  refused(too_strong(), {}, "missing");
  refused(too_strong(), {{{-1, -1, -1, {-1.0}}}}, "one multiplier a row");
  refused(too_strong(), {{{-1, -1, -1, {-1.0, std::nan("")}}}}, "no number");
  refused(too_strong(), {{{-1, -1, -1, {1.0, -1.0}}}}, "has not");
  refused(too_strong(), {{{0, 0, 0, {}}}}, "leads back");
  refused(too_strong(), {{{7, 1, 1, {}}}}, "not there");
  refused(too_small_a_dose(), {{{0, 1, 1, {}}, {0, 2, 2, {}}, {-1, -1, -1, {1.0, 0.0}}}},
          "told apart twice");
  Claim upside_down = too_strong();
  upside_down.least = {5.0};
  refused(upside_down, dilution_is_not_enough(), "no interval");
  Claim empty = too_strong();
  empty.rows[0].present_divisor = 0.0;
  refused(empty, dilution_is_not_enough(), "not positive");
  Claim ragged = too_strong();
  ragged.rows[1].per_gram.clear();
  refused(ragged, dilution_is_not_enough(), "one coefficient a stock");
}

/// A claim of one to four stocks that some amounts meet, with the amounts.
struct Feasible {
  Claim claim;
  std::vector<double> amounts;
};
Feasible any_feasible() {
  const auto real = [](int from, int to) { return *rc::gen::inRange(from, to) / 64.0; };
  Feasible made;
  const auto n = static_cast<std::size_t>(*rc::gen::inRange(1, 5));
  for (std::size_t j = 0; j < n; ++j) {
    made.claim.stocks.push_back("stock");
    made.claim.least.push_back(real(0, 64));
    made.claim.largest.push_back(made.claim.least[j] + real(0, 640));
    const bool dosed = *rc::gen::arbitrary<bool>();
    made.amounts.push_back(dosed ? made.claim.least[j] : 0.0);
  }
  const auto rows = static_cast<std::size_t>(*rc::gen::inRange(1, 6));
  for (std::size_t i = 0; i < rows; ++i) {
    // All numbers are small multiples of 1/64, so that sums and products of doubles are exact.
    Row row{"row", real(0, 640), {}, 1.0, std::vector<double>(n, 0.0), 0.0, 0.0};
    double value = row.present;
    for (std::size_t j = 0; j < n; ++j) {
      row.per_gram.push_back(real(-128, 128));
      value += row.per_gram[j] * made.amounts[j];
    }
    row.low = value - real(0, 64);
    row.high = value + real(0, 64);
    made.claim.rows.push_back(row);
  }
  return made;
}

RC_GTEST_PROP(CheckProof, NothingProvesThatWhatCanBeCannotBe, ()) {
  const Feasible feasible = any_feasible();
  const std::size_t rows = feasible.claim.rows.size();
  const auto leaf = [&] {
    Proof::Node node;
    for (std::size_t i = 0; i < rows; ++i)
      node.multipliers.push_back(*rc::gen::inRange(-64, 65) / 16.0);
    return node;
  };
  Proof proof;
  const int stock = *rc::gen::inRange(-1, static_cast<int>(feasible.claim.stocks.size()));
  if (stock < 0) {
    proof.nodes = {leaf()};
  } else {
    proof.nodes = {{stock, 1, 2, {}}, leaf(), leaf()};
  }
  RC_ASSERT(!check(feasible.claim, proof).accepted);
}

TEST(ProofJson, SurvivesBitForBit) {
  Claim claim = too_small_a_dose();
  claim.rows[0].low = 20.0 + 1e-13;
  claim.apart = {};
  const auto back = from_json(to_json(claim, either_way_misses()), "there");
  ASSERT_TRUE(back);
  EXPECT_EQ(to_json(back->claim, back->proof), to_json(claim, either_way_misses()));
  EXPECT_EQ(back->claim.rows[0].low, claim.rows[0].low);
  EXPECT_EQ(back->claim.rows[0].high, none);
  EXPECT_EQ(back->proof, either_way_misses());
}

TEST(ProofJson, WhatIsNoProofIsToldWithItsPlace) {
  for (const char* text : {"", "[]", "{}", "{\"claim\": 3}"}) {
    const auto read = from_json(text, "salt.proof");
    ASSERT_FALSE(read);
    EXPECT_EQ(read.error().where, "salt.proof");
    EXPECT_THAT(read.error().mend, HasSubstr("--proof"));
  }
}

}  // namespace
}  // namespace vialwright::proof
