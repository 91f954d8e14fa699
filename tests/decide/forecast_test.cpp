/// Before dosing: what open orders can expect of the line as it is.
#include <gtest/gtest.h>

#include <algorithm>

#include "decide/small_state.hpp"

namespace vialwright::decide {
namespace {

line::State with_an_order() {
  auto state = support::small_state(support::small_vial(19.7, 0.3));
  state.orders = {support::order("O-1", "pond"),
                  support::order("O-2", "pond", line::OrderRecord::State::filled)};
  return state;
}

const OrderForecast::Without* without(const OrderForecast& forecast, const std::string& what) {
  const auto found = std::find_if(forecast.without.begin(), forecast.without.end(),
                                  [&](const auto& each) { return each.what == what; });
  return found == forecast.without.end() ? nullptr : &*found;
}

TEST(ForecastOrders, OpenOrdersAreToldWhatTheyCanExpect) {
  const auto found = forecast_orders(with_an_order(), {});
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].order, "O-1");
  EXPECT_EQ(found[0].forecast.can, making::Can::yes) << found[0].forecast.because;
  // 4 % of 0.3 g are 12 mg, four spreads of the station: it passes nearly always.
  EXPECT_GT(found[0].forecast.passes.value, 0.95);
  ASSERT_EQ(found[0].forecast.doses.size(), 2U);
}

TEST(ForecastOrders, EachStationAndInstrumentThatMattersIsThoughtAway) {
  const auto found = forecast_orders(with_an_order(), {});
  for (const char* what : {"station base station", "station teal station"}) {
    const auto* then = without(found[0], what);
    ASSERT_NE(then, nullptr) << what;
    EXPECT_FALSE(then->can) << what;
  }
  for (const char* what : {"instrument meter base", "instrument meter teal", "instrument scale"}) {
    EXPECT_NE(without(found[0], what), nullptr) << what;
  }
}

TEST(ForecastOrders, StationThatIsOffMakesNothing) {
  auto state = with_an_order();
  state.stations[1].state = "off";
  const auto found = forecast_orders(state, {});
  ASSERT_EQ(found.size(), 1U);
  EXPECT_NE(found[0].forecast.can, making::Can::yes);
  EXPECT_FALSE(found[0].forecast.because.empty());
}

}  // namespace
}  // namespace vialwright::decide
