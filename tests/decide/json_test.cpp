// Decisions as JSON.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "decide/small_state.hpp"

namespace vialwright::decide {
namespace {

TEST(ShiftJson, AWholeShiftIsLongerThanAnEventMayBe) {
  const line::State state = support::small_state(support::small_vial(19.70, 0.260));
  Shift shift = decide_all(state, "", {});
  ASSERT_EQ(shift.decisions.size(), 1u);
  const std::string short_text = as_json(shift, state);
  // RFC 8785: what is canonical stays as it is.
  EXPECT_EQ(event::canonical(short_text, ""), short_text);
  const Decision one = shift.decisions[0];
  while (shift.decisions.size() < 1000) shift.decisions.push_back(one);
  const std::string text = as_json(shift, state);
  ASSERT_GT(text.size(), std::size_t{1} << 20) << "else this shows nothing";
  const auto read = nlohmann::json::parse(text);
  ASSERT_EQ(read["decisions"].size(), 1000u);
  EXPECT_EQ(read["decisions"][999], nlohmann::json::parse(short_text)["decisions"][0]);
}

}  // namespace
}  // namespace vialwright::decide
