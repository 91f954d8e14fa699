// A few hold places in a steady stream of vials, against Erlang's loss formula.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>

#include "holding/holding.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::holding {
namespace {

/// A vial for which one kind of order comes, of its own, every two days on average.
Candidate waiting_for_its_order(int number) {
  Candidate vial;
  vial.serial = "V-" + std::to_string(number);
  vial.holds_a_place = true;
  Offer offer{"shade-" + std::to_string(number), {}, {0.0}, {1.2}};
  offer.demand.shape = 0.5e6;  // 0.5 a day, and sure of it
  offer.demand.days = 1e6;
  vial.offers.push_back(std::move(offer));
  return vial;
}

/// Share of vials that find no place.
double turned_away(int places, int vials, std::uint64_t seed) {
  support::Random random(seed);
  std::vector<Candidate> held;
  std::vector<double> until;
  double day = 0.0;
  int away = 0;
  for (int i = 0; i < vials; ++i) {
    // As many numbers a vial whatever becomes of it, so that both trials see the same stream.
    day -= std::log(random.uniform()) / 1.5;
    const double order = day - std::log(random.uniform()) / 0.5;
    for (std::size_t k = held.size(); k-- > 0;) {
      if (until[k] > day) continue;
      held.erase(held.begin() + static_cast<std::ptrdiff_t>(k));
      until.erase(until.begin() + static_cast<std::ptrdiff_t>(k));
    }
    held.push_back(waiting_for_its_order(i));
    held.back().holds_a_place = false;
    until.push_back(order);
    const Shared shared = share(held, places);
    for (std::size_t k = held.size(); k-- > 0;) {
      held[k].holds_a_place = true;
      if (shared.stays[k]) continue;
      EXPECT_EQ(k + 1, held.size()) << "of equals those that have a place keep it";
      ++away;
      held.erase(held.begin() + static_cast<std::ptrdiff_t>(k));
      until.erase(until.begin() + static_cast<std::ptrdiff_t>(k));
    }
  }
  return away / static_cast<double>(vials);
}

// Source: Erlang B, standard table: B(4 places, load 3) = 0.2061, B(5, 3) = 0.1101. 1.5 vials a
// day, each held two days, worth 1.20 when kept: the fifth place is worth 0.096 x 1.5 x 1.20 = 0.17
// a day.
TEST(PublishedErlang, WhatAFifthPlaceIsWorthInASteadyStream) {
  const std::uint64_t seed = 3;
  SCOPED_TRACE("seed " + std::to_string(seed));
  const int vials = support::trials(8'000, 80'000);
  const double four = turned_away(4, vials, seed), five = turned_away(5, vials, seed);
  const double fifth = (four - five) * 1.5 * 1.2;
  std::printf("turned away with 4 places %.4f, with 5 %.4f; the fifth is worth %.3f a day\n", four,
              five, fifth);
  // Turning away goes on for about two vials at a time: the error is some sqrt(3) of that of
  // independent ones; three of them.
  const double error = 3.0 * std::sqrt(3.0 * 0.21 * 0.79 / vials);
  EXPECT_NEAR(four, 0.2061, error);
  EXPECT_NEAR(five, 0.1101, error);
  EXPECT_NEAR(fifth, 0.17, 1.8 * error);
}

}  // namespace
}  // namespace vialwright::holding
