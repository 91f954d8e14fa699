#include <gtest/gtest.h>
#include <hwy/targets.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <limits>

#include "colour/colour.hpp"
#include "colour/textbook_ciede2000.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::colour {
namespace {

struct Columns {
  std::vector<double> l, a, b;
  void add(const Lab& each) {
    l.push_back(each.l);
    a.push_back(each.a);
    b.push_back(each.b);
  }
  [[nodiscard]] Labs labs() const { return {l, a, b}; }
  [[nodiscard]] Lab at(std::size_t i) const { return {l[i], a[i], b[i]}; }
};

Lab any_colour(support::Random& random) {
  return {random.uniform(0.0, 100.0), random.uniform(-120.0, 120.0), random.uniform(-120.0, 120.0)};
}
Lab near(support::Random& random, const Lab& other, double spread) {
  return {other.l + spread * random.normal(), other.a + spread * random.normal(),
          other.b + spread * random.normal()};
}

struct Pairs {
  Columns ones, others;
};
/// Half of them 1.5 apart, half anywhere.
Pairs pairs(std::uint64_t seed, int count) {
  support::Random random(seed);
  Pairs made;
  for (int i = 0; i < count; ++i) {
    const Lab one = any_colour(random);
    made.ones.add(one);
    made.others.add(i % 2 == 0 ? near(random, one, 1.5) : any_colour(random));
  }
  return made;
}

// Computed outside this code, to the digits printed: pairs 1, 16, 20 and 34 of Sharma, Wu & Dalal.
TEST(Ciede2000, SpotChecks) {
  EXPECT_NEAR(difference_00({50, 2.6772, -79.7751}, {50, 0, -82.7485}), 2.0425, 5e-5);
  EXPECT_NEAR(difference_00({50, 2.5, 0}, {50, 0, -2.5}), 4.3065, 5e-5);
  EXPECT_NEAR(difference_00({50, 2.5, 0}, {58, 24, 15}), 19.4535, 5e-5);
  EXPECT_NEAR(difference_00({2.0776, 0.0795, -1.1350}, {0.9033, -0.0636, -0.5514}), 0.9082, 5e-5);
}

// Rounding of the textbook's angles: 1e-14 of a turn, magnified by the chroma, up to 170; where the
// hues are within 1e-3 degrees of opposite the root of a small sine takes part of that, and 1e-9
// from the jumps the two may take sides.
TEST(Ciede2000, IsTheTextbookFormula) {
  const int count = support::trials(200'000, 5'000'000);
  const Pairs all = pairs(21, count);
  int on_a_jump = 0;
  for (std::size_t i = 0; i < all.ones.l.size(); ++i) {
    testing::Jumps jumps;
    const Lab one = all.ones.at(i), other = all.others.at(i);
    const double textbook = testing::textbook_00(one, other, &jumps);
    if (std::min(jumps.opposite, jumps.red) < 1e-9) {
      ++on_a_jump;
      continue;
    }
    ASSERT_NEAR(difference_00(one, other), textbook, 1e-10) << i;
  }
  EXPECT_LE(on_a_jump, 2);  // by chance about 1e-11 of all
}

// The larger hue of a pair of opposites lies ahead, even where an arc tangent cannot tell.
TEST(Ciede2000, OppositeHuesTakeTheSideThatTheStandardSays) {
  for (const double chroma : {1e-3, 1.0, 7.5, 80.0})
    for (int turn = 0; turn < 360; turn += 15) {
      const double angle = turn * std::acos(-1.0) / 180.0;
      const Lab one{50.0, chroma * std::cos(angle), chroma * std::sin(angle)};
      const Lab other{50.0, -one.a, -one.b};
      // Mean hue by its definition: the smaller of the two hues in a' and b, and 90 degrees on.
      const Lab lower = one.b > 0.0 || (one.b == 0.0 && one.a > 0.0) ? one : other;
      const Lab upper_nudged{50.0, -lower.a - 1e-9 * lower.b, -lower.b + 1e-9 * lower.a};
      // Seen from the lower hue the nudged one is a hair less than half a turn ahead.
      EXPECT_NEAR(difference_00(one, other), difference_00(lower, upper_nudged), 1e-6) << turn;
      EXPECT_EQ(difference_00(one, other), difference_00(other, one));
    }
}

TEST(Ciede2000, GreysHaveNoHue) {
  // Only L differs: 10 / S_L with L - 50 = 5, by hand 1 + 0.015 x 25 / sqrt(45) = 1.055902.
  EXPECT_NEAR(difference_00({50, 0, 0}, {60, 0, 0}), 10.0 / 1.0559017, 1e-6);
  // A grey against a colour: a' = 1.5 a for small chroma, so C' = 3, S_C = 1 + 0.045 x 1.5;
  // 25^-3.5 = 1.3e-5 is what 1.5 leaves out.
  EXPECT_NEAR(difference_00({50, 0, 0}, {50, 2, 0}), 3.0 / 1.0675, 1.3e-5);
  EXPECT_EQ(difference_00({0, 0, 0}, {0, 0, 0}), 0.0);
}

RC_GTEST_PROP(Ciede2000, IsSymmetricAndZeroOnlyForTheSame, (unsigned seed)) {
  support::Random random(seed);
  const Lab one = any_colour(random), other = near(random, one, 3.0);
  RC_ASSERT(difference_00(one, other) == difference_00(other, one));
  RC_ASSERT(difference_00(one, other) > 0.0);
  RC_ASSERT(difference_00(one, one) == 0.0);
}

TEST(Ciede2000, ManyGiveTheAnswersOfOneByOne) {
  for (const int count : {0, 1, 2, 3, 5, 8, 17, 4099}) {  // full vectors and every rest
    const Pairs all = pairs(31, count);
    const auto n = static_cast<std::size_t>(count);
    std::vector<double> each(n, -1.0), to_one(n, -1.0);
    const Lab target{60.0, -20.0, 30.0};
    difference_00(all.ones.labs(), all.others.labs(), each);
    difference_00(all.ones.labs(), target, to_one);
    for (std::size_t i = 0; i < n; ++i) {
      EXPECT_NEAR(each[i], difference_00(all.ones.at(i), all.others.at(i)), 1e-11);
      EXPECT_NEAR(to_one[i], difference_00(all.ones.at(i), target), 1e-11);
    }
  }
}

// Where the formula jumps by tens, both must fall on the same side.
TEST(Ciede2000, ManyTakeTheSideOfOneByOneAHairFromOppositeHues) {
  support::Random random(32);
  Columns ones, others;
  for (int i = 0; i < 20'000; ++i) {
    const Lab one = any_colour(random);
    const double longer = random.uniform(0.2, 1.5), turn = i % 5 * 1e-17 * random.normal();
    ones.add(one);
    others.add({one.l, -longer * (one.a - turn * one.b), -longer * (one.b + turn * one.a)});
  }
  std::vector<double> made(ones.l.size());
  difference_00(ones.labs(), others.labs(), made);
  for (std::size_t i = 0; i < made.size(); ++i)
    ASSERT_NEAR(made[i], difference_00(ones.at(i), others.at(i)), 1e-11) << i;
}

TEST(Ciede2000, NotANumberStaysOne) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  Columns colours;
  for (int where = 0; where < 3; ++where) {
    Lab hole{50.0, 10.0, 10.0};
    (where == 0 ? hole.l : where == 1 ? hole.a : hole.b) = nan;
    colours.add(hole);
    colours.add({50.0, 10.0, 10.0});
  }
  std::vector<double> made(6);
  difference_00(colours.labs(), {50.0, -10.0, 12.0}, made);
  for (std::size_t i = 0; i < 6; ++i) {
    EXPECT_EQ(std::isnan(made[i]), i % 2 == 0) << i;
    EXPECT_EQ(std::isnan(difference_00(colours.at(i), {50.0, -10.0, 12.0})), i % 2 == 0) << i;
  }
}

/// Every instruction set of this processor, forced in turn.
template <class Work>
void on_each_target(Work work) {
  for (std::int64_t left = hwy::SupportedTargets(); left != 0; left &= left - 1) {
    const std::int64_t target = left & -left;
    hwy::SetSupportedTargetsForTest(target);
    SCOPED_TRACE(hwy::TargetName(target));
    work();
  }
  hwy::SetSupportedTargetsForTest(0);
}

TEST(Ciede2000, EveryInstructionSetGivesTheSameBits) {
  const Pairs all = pairs(41, 10'001);
  std::vector<double> first(10'001), made(10'001);
  difference_00(all.ones.labs(), all.others.labs(), first);
  on_each_target([&] {
    difference_00(all.ones.labs(), all.others.labs(), made);
    EXPECT_EQ(made, first);
  });
}

TEST(Cielab, ManyGiveTheAnswersOfOneByOneOnEveryInstructionSet) {
  support::Random random(51);
  const Xyz white = weights(Observer::cie1964, Illuminant::d50).white;
  Columns start;
  for (int i = 0; i < 3'003; ++i) {
    const double scale = i % 3 == 0 ? 2.0 : 130.0;
    start.add({scale * random.uniform() - 0.1, scale * random.uniform(), scale * random.uniform()});
  }
  const double nan = std::numeric_limits<double>::quiet_NaN();
  start.add({nan, 50.0, 50.0});
  on_each_target([&] {
    Columns made = start;  // in place
    lab(made.l, made.a, made.b, white, made.l, made.a, made.b);
    EXPECT_TRUE(std::isnan(made.a.back()));
    EXPECT_FALSE(std::isnan(made.l.back()));
    for (std::size_t i = 0; i + 1 < start.l.size(); ++i) {
      const Lab one = lab(Xyz{start.l[i], start.a[i], start.b[i]}, white);
      EXPECT_NEAR(made.l[i], one.l, 1e-12);  // rounding, times the 500 of a*
      EXPECT_NEAR(made.a[i], one.a, 2e-12);
      EXPECT_NEAR(made.b[i], one.b, 2e-12);
    }
  });
}

}  // namespace
}  // namespace vialwright::colour
