#include <gtest/gtest.h>

#include <rapidcheck/gtest.h>
#include <bit>
#include <cmath>
#include <cstdio>
#include <numeric>

#include "holding/holding.hpp"
#include "horizons.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::holding {
namespace {

Offer offer_of(const std::string& recipe, double rate, std::vector<double> at,
               std::vector<double> worth) {
  Offer offer{recipe, {}, std::move(at), std::move(worth)};
  offer.demand.shape = rate * 20.0;
  offer.demand.days = 20.0;
  return offer;
}

Candidate vial_of(const std::string& serial, std::vector<Offer> offers) {
  Candidate vial;
  vial.serial = serial;
  vial.offers = std::move(offers);
  vial.terms.disposal = 0.3;
  vial.terms.cost_per_day = 0.1;
  vial.terms.longest_days = 20.0;
  vial.terms.learn_while_waiting = false;
  return vial;
}

/// Vials that fit some of the same kinds with worths of their own that fall.
std::vector<Candidate> any_vials(support::Random& random, int vials, int kinds) {
  std::vector<double> rates;
  for (int k = 0; k < kinds; ++k) rates.push_back(random.uniform(0.02, 0.4));
  std::vector<Candidate> all;
  for (int i = 0; i < vials; ++i) {
    std::vector<Offer> offers;
    for (int k = 0; k < kinds; ++k) {
      if (random.uniform() > 0.6) continue;
      const double worth = random.uniform(0.5, 4.0), lost = random.uniform(0.0, 1.5);
      offers.push_back(offer_of("tint-" + std::to_string(k), rates[static_cast<std::size_t>(k)],
                                {0.0, 10.0, 20.0}, {worth, worth - 0.7 * lost, worth - lost}));
    }
    all.push_back(vial_of("V-" + std::to_string(i), std::move(offers)));
  }
  return all;
}

double worth_on(const Offer& offer, double t) {
  const double first = t < 10.0 ? 0.0 : 1.0, share = (t - 10.0 * first) / 10.0;
  const auto i = static_cast<std::size_t>(first);
  return offer.worth[i] + share * (offer.worth[i + 1] - offer.worth[i]);
}

/// All sets in short times, at most one order in each: an independent programme.
std::vector<double> worth_of_sets(const std::vector<Candidate>& vials, int kinds, int times) {
  const std::size_t sets = std::size_t{1} << vials.size();
  const double dt = 20.0 / times;
  std::vector<double> w(sets, 0.0);
  for (std::size_t s = 0; s < sets; ++s) w[s] = -0.3 * std::popcount(s);
  for (int step = times; step-- > 0;) {
    std::vector<double> next = w;
    for (std::size_t s = 1; s < sets; ++s) {
      next[s] -= 0.1 * dt * std::popcount(s);
      for (int k = 0; k < kinds; ++k) {
        double gain = 0.0, rate = 0.0;
        for (std::size_t i = 0; i < vials.size(); ++i) {
          if ((s >> i & 1) == 0) continue;
          for (const Offer& offer : vials[i].offers) {
            if (offer.recipe != "tint-" + std::to_string(k)) continue;
            rate = offer.demand.rate();
            gain = std::max(
                gain, worth_on(offer, dt * (step + 0.5)) + w[s & ~(std::size_t{1} << i)] - w[s]);
          }
        }
        next[s] += rate * dt * gain;
      }
      for (std::size_t i = 0; i < vials.size(); ++i)
        if ((s >> i & 1) != 0) next[s] = std::max(next[s], next[s & ~(std::size_t{1} << i)] - 0.3);
    }
    w = next;
  }
  return w;
}

TEST(Share, OneAloneWaitsAsItWouldWithoutOthers) {
  const std::vector<Candidate> vials = {
      vial_of("V-1", {offer_of("teal", 0.3, {0.0, 10.0, 20.0}, {3.0, 1.0, 0.0})}),
      vial_of("V-2", {offer_of("grey", 0.2, {0.0}, {2.0})})};
  const Shared shared = share(vials, 2);
  for (std::size_t i = 0; i < 2; ++i) {
    const Wait alone = wait(vials[i].offers, vials[i].terms);
    EXPECT_TRUE(shared.stays[i]);
    EXPECT_EQ(shared.counted_on[i], 1.0);
    EXPECT_DOUBLE_EQ(shared.waits[i].value, alone.value);
    EXPECT_DOUBLE_EQ(shared.waits[i].limit_days, alone.limit_days);
  }
  EXPECT_EQ(shared.place_per_day, 0.0);
}

/// The programme in 96 steps against one in 4,000 and 8,000 short times, extrapolated.
TEST(Share, EachIsWorthWhatItAddsByADenseProgrammeOverAllSets) {
  const std::uint64_t seed = 31;
  double furthest = 0.0;
  for (int c = 0; c < support::trials(8, 60); ++c) {
    SCOPED_TRACE("seed " + std::to_string(seed) + " case " + std::to_string(c));
    support::Random random(seed + static_cast<std::uint64_t>(c));
    const auto vials = any_vials(random, 4, 5);
    const Shared shared = share(vials, 4);
    auto dense = worth_of_sets(vials, 5, 8'000);
    const auto coarse = worth_of_sets(vials, 5, 4'000);
    for (std::size_t s = 0; s < dense.size(); ++s) dense[s] += dense[s] - coarse[s];
    // 1e-3 of the largest worth (4.0) is what 96 steps are meant to give.
    EXPECT_NEAR(shared.total, dense.back(), 4e-3);
    for (std::size_t i = 0; i < 4; ++i) {
      const double adds = dense.back() - dense[15U & ~(1U << i)];
      furthest = std::max(furthest, std::abs(shared.waits[i].value - adds));
      EXPECT_NEAR(shared.waits[i].value, std::max(-0.3, adds), 4e-3) << vials[i].serial;
    }
  }
  std::printf("furthest from the dense programme: %.2e\n", furthest);
}

// Source: k alike, unit exponential offers: V_k = ln sum_{i <= k} (lam s)^i / i! (see the published
// checks). 200 bins of width 0.025 and 96 steps: within 0.2 %.
double worth_of_alike(int k, double lam_s) {
  double sum = 1.0, term = 1.0;
  for (int i = 1; i <= k; ++i) sum += term *= lam_s / i;
  return std::log(sum);
}

std::vector<Candidate> alike(int k, double lam, double slightly = 0.0) {
  std::vector<Candidate> vials;
  for (int i = 0; i < k; ++i) {
    std::vector<Offer> offers;
    for (int b = 0; b <= 120; ++b) {
      const double low = 0.025 * b, high = low + 0.025;
      const double p = b < 120 ? std::exp(-low) - std::exp(-high) : std::exp(-low);
      const double mean =
          b < 120 ? ((low + 1.0) * std::exp(-low) - (high + 1.0) * std::exp(-high)) / p : low + 1.0;
      offers.push_back(offer_of("w" + std::to_string(b), lam * p, {0.0}, {mean + slightly * i}));
    }
    vials.push_back(vial_of("V-" + std::to_string(100 + i), std::move(offers)));
    vials.back().terms.disposal = vials.back().terms.cost_per_day = 0.0;
    vials.back().terms.longest_days = 5.0;
  }
  return vials;
}

TEST(Share, VialsThatAreAlikeAreWorthWhatTheLastAdds) {
  for (const int k : {1, 2, 3, 5, 10}) {
    const Shared shared = share(alike(k, 1.0), k);
    EXPECT_NEAR(shared.total, worth_of_alike(k, 5.0), 2e-3 * worth_of_alike(k, 5.0)) << k;
    const double last = worth_of_alike(k, 5.0) - worth_of_alike(k - 1, 5.0);
    for (const Wait& each : shared.waits) EXPECT_NEAR(each.value, last, 2e-3) << k;
  }
}

/// Many that are nearly alike are solved in blocks, the later on what the earlier leave. How far
/// off that is: a few per cent in all.
TEST(Share, BlocksOfManyAreNearTheWorthOfAllTogether) {
  for (const int k : {12, 16, 24}) {
    const Shared shared = share(alike(k, 4.0, 1e-7), k);
    const double exact = worth_of_alike(k, 20.0);
    std::printf("%d nearly alike in blocks: %.4f, together %.4f (%+.1f %%)\n", k, shared.total,
                exact, 100.0 * (shared.total / exact - 1.0));
    EXPECT_NEAR(shared.total, exact, 0.05 * exact);
  }
}

/// Places one after another to whoever adds most, against every choice of three of seven.
TEST(Share, PlacesGoToNearlyTheBestChoice) {
  const std::uint64_t seed = 41;
  double worst = 1.0;
  for (int c = 0; c < support::trials(12, 100); ++c) {
    SCOPED_TRACE("seed " + std::to_string(seed) + " case " + std::to_string(c));
    support::Random random(seed + static_cast<std::uint64_t>(c));
    const auto vials = any_vials(random, 7, 6);
    const double scrap = -0.3 * 7.0, ours = share(vials, 3).total - scrap;
    double best = 0.0;
    for (unsigned set = 0; set < 128U; ++set) {
      if (std::popcount(set) != 3) continue;
      std::vector<Candidate> chosen;
      for (std::size_t i = 0; i < 7; ++i)
        if ((set >> i & 1U) != 0) chosen.push_back(vials[i]);
      best = std::max(best, share(chosen, 3).total - 0.3 * 4.0 - scrap);
    }
    worst = std::min(worst, ours / best);
    EXPECT_LE(ours, best + 1e-9);
    EXPECT_GE(ours, 0.97 * best);
  }
  std::printf("greedy places earn at least %.4f of the best choice\n", worst);
}

TEST(Share, OneThatCanBeReplacedByItsLikeIsNotMissed) {
  const auto offers = {offer_of("teal", 0.3, {0.0}, {3.0})};
  const std::vector<Candidate> vials = {vial_of("V-1", offers), vial_of("V-2", offers)};
  const Shared shared = share(vials, 1);
  EXPECT_NE(shared.stays[0], shared.stays[1]);
  EXPECT_NEAR(shared.waits[0].value, -0.3, 1e-9);
  EXPECT_NEAR(shared.waits[1].value, -0.3, 1e-9);
  EXPECT_GT(shared.place_per_day, 0.0);
  EXPECT_EQ(shared.waits[shared.stays[0] ? 1 : 0].ends, Ends::place);
}

TEST(Share, OfEqualsOneThatHoldsAPlaceKeepsItThenTheOneThatKeepsLonger) {
  const auto offers = {offer_of("teal", 0.3, {0.0}, {3.0})};
  std::vector<Candidate> vials = {vial_of("V-1", offers), vial_of("V-2", offers),
                                  vial_of("V-3", offers)};
  vials[1].good_for_days = 400.0;
  EXPECT_EQ(share(vials, 1).stays, (std::vector<bool>{false, true, false}));
  vials[2].holds_a_place = true;
  EXPECT_EQ(share(vials, 1).stays, (std::vector<bool>{false, false, true}));
  EXPECT_EQ(share(vials, 2).stays, (std::vector<bool>{false, true, true}));
}

TEST(Share, NoPlaceNoVialAndOneThatFitsNothing) {
  EXPECT_TRUE(share({}, 3).waits.empty());
  const std::vector<Candidate> vials = {vial_of("V-1", {offer_of("teal", 0.3, {0.0}, {3.0})}),
                                        vial_of("V-2", {})};
  const Shared none = share(vials, 0);
  EXPECT_EQ(none.stays, (std::vector<bool>{false, false}));
  EXPECT_NEAR(none.total, -0.6, 1e-12);
  EXPECT_EQ(none.waits[0].ends, Ends::place);
  EXPECT_EQ(none.waits[1].ends, Ends::never_pays);
  // What it would pay for a place: what a day brings it now, less the running cost.
  EXPECT_NEAR(none.place_per_day, 0.3 * 3.3 - 0.1, 1e-3);
}

RC_GTEST_PROP(ShareProperty, PlacesAreKeptOrderIsNothingAndRivalsTakeNeverGive, ()) {
  const auto seed = *rc::gen::inRange(0, 1'000'000);
  support::Random random(static_cast<std::uint64_t>(seed));
  const int n = 1 + random.below(7), places = random.below(6);
  const auto vials = any_vials(random, n, 6);
  const Shared shared = share(vials, places);
  int staying = 0;
  double alone = 0.0;
  for (std::size_t i = 0; i < vials.size(); ++i) {
    const double own = value_now(vials[i].offers, vials[i].terms);
    staying += shared.stays[i] ? 1 : 0;
    alone += own;
    RC_ASSERT(shared.waits[i].value >= -0.3);
    RC_ASSERT(shared.waits[i].value <= own + 4e-3);
    RC_ASSERT(shared.counted_on[i] >= 0.0 && shared.counted_on[i] <= 1.0);
    RC_ASSERT(shared.waits[i].limit_days <= 20.0);
    RC_ASSERT((shared.waits[i].limit_days > 0.0) == shared.stays[i]);
  }
  RC_ASSERT(staying <= places);
  RC_ASSERT(shared.total <= alone + 4e-3 * n);
  const std::vector<Candidate> turned(vials.rbegin(), vials.rend());
  const Shared again = share(turned, places);
  RC_ASSERT(std::abs(again.total - shared.total) < 1e-9);
  for (std::size_t i = 0; i < vials.size(); ++i)
    RC_ASSERT(again.stays[vials.size() - 1 - i] == shared.stays[i]);
}

}  // namespace
}  // namespace vialwright::holding
