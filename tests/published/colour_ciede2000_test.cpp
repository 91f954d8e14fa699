// Source: G. Sharma, W. Wu & E. N. Dalal, Color Res. Appl. 30 (2005) 21-30, Table 1: 34 pairs to 4
// decimals, chosen by its authors to break wrong hue handling. Pairs 9 to 15 lie at opposite hues,
// where the mean hue jumps.
#include <gtest/gtest.h>

#include <array>

#include "colour/colour.hpp"
#include "published/table_of_numbers.hpp"

namespace vialwright::colour {
namespace {

constexpr double half_digit = 5e-5;  // of the last printed one

struct Pair {
  Lab one, other;
  double difference;
};

std::vector<Pair> pairs() {
  std::vector<Pair> read;
  for (const auto& row : published::table_of_numbers("ciede2000_sharma2005.csv"))
    read.push_back({{row[1], row[2], row[3]}, {row[4], row[5], row[6]}, row[7]});
  return read;
}

TEST(PublishedSharma2005, AllThirtyFourPairsInBothOrders) {
  ASSERT_EQ(pairs().size(), 34u);
  for (const Pair& pair : pairs()) {
    SCOPED_TRACE(pair.difference);
    EXPECT_NEAR(difference_00(pair.one, pair.other), pair.difference, half_digit);
    EXPECT_NEAR(difference_00(pair.other, pair.one), pair.difference, half_digit);
  }
}

TEST(PublishedSharma2005, ManyAtOnceAndManyAgainstOne) {
  std::vector<double> l1, a1, b1, l2, a2, b2;
  const std::vector<Pair> all = pairs();
  for (const auto& [one, other, difference] : all) {
    l1.push_back(one.l), a1.push_back(one.a), b1.push_back(one.b);
    l2.push_back(other.l), a2.push_back(other.a), b2.push_back(other.b);
  }
  std::vector<double> forth(all.size()), back(all.size()), single(all.size());
  difference_00(Labs{l1, a1, b1}, Labs{l2, a2, b2}, forth);
  difference_00(Labs{l2, a2, b2}, Labs{l1, a1, b1}, back);
  for (std::size_t i = 0; i < all.size(); ++i) {
    EXPECT_NEAR(forth[i], all[i].difference, half_digit) << i;
    EXPECT_NEAR(back[i], all[i].difference, half_digit) << i;
    difference_00(Labs{l1, a1, b1}, all[i].other, single);
    EXPECT_NEAR(single[i], all[i].difference, half_digit) << i;
  }
}

}  // namespace
}  // namespace vialwright::colour
