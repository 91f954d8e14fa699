/// Random stretches of a line's future for tests: vials that go wrong, orders that come, and rules
/// that say which vial waits how long and who gets which order. Invented, with fixed seeds.
#pragma once

#include <vector>

#include "holding/holding.hpp"
#include "support/random.hpp"

namespace vialwright::holding::testing {

struct Vial {
  Candidate candidate;  ///< as on the day it came
  double comes_day = 0.0;
};

struct Horizon {
  std::vector<Vial> vials;  ///< by the day they come
  std::vector<Demand> demand;
  std::vector<std::string> kinds;
  int places = 0;
  double days = 0.0;  ///< orders come until then
};

struct Order {
  double day = 0.0;
  std::size_t kind = 0;
};
using Future = std::vector<Order>;  ///< by day

/// A Gamma variable of that shape and scale 1.
[[nodiscard]] double gamma(double shape, support::Random& random);
/// 2 to 12 vials, 3 to 8 kinds of order, 1 to 6 places.
[[nodiscard]] Horizon any_horizon(support::Random& random);
/// Rates drawn from what is believed of them, then orders drawn with those rates.
[[nodiscard]] Future any_future(const Horizon& horizon, support::Random& random);

/// The vial as it is some days later.
[[nodiscard]] Candidate aged(const Candidate& candidate, double days);

/// What each rule earns on a future; scrap, running costs and worths counted.
struct FixedHours {
  double hours = 0.0;
  bool oldest_makes_room = false;  ///< else a vial that finds no place is scrapped
};
[[nodiscard]] double earned_with_fixed_hours(const Horizon&, const Future&, const FixedHours&);
/// @param rivals  false: each vial counts on all the demand.
[[nodiscard]] double earned_with_advice(const Horizon&, const Future&, bool rivals);
/// No rule can earn more: all orders are known, places are free.
[[nodiscard]] double most_that_could_be_earned(const Horizon&, const Future&);

}  // namespace vialwright::holding::testing
