#include <gtest/gtest.h>

#include <rapidcheck/gtest.h>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>

#include "holding/holding.hpp"
#include "horizons.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::holding {
namespace {

/// One kind of order whose odds fall: 0.92 exp(-0.06 t); success is worth 4.00, failure -0.30, a
/// try costs 0.25. Knots every 0.025 d: the straight lines between are within 1e-6.
Offer with_falling_odds(double shape, double days) {
  Offer offer{"teal", {}, {}, {}};
  offer.demand.shape = shape;
  offer.demand.days = days;
  for (int i = 0; i <= 2'400; ++i) {
    const double t = 0.025 * i, p = 0.92 * std::exp(-0.06 * t);
    offer.at_days.push_back(t);
    offer.worth.push_back(p * 4.0 + (1.0 - p) * -0.3 - 0.25);
  }
  return offer;
}

Terms terms_of(double cost, double longest = 60.0, bool learns = false) {
  Terms terms;
  terms.disposal = 0.3;
  terms.cost_per_day = cost;
  terms.longest_days = longest;
  terms.learn_while_waiting = learns;
  return terms;
}

// Source: closed form. Stop when rate x gain(t) <= cost, i.e. at
// t = ln(0.92 x 4.3 / (cost / 0.2 + 0.25)) / 0.06; worth = integral of
// exp(-0.2 s) (0.2 gain(s) - cost). Rate 0.20 a day known. Printed digits.
TEST(Wait, FallingOddsAtAKnownRate) {
  const double costs[] = {0.05, 0.10, 0.20, 0.40, 0.60};
  const double limits[] = {34.5, 27.7, 19.2, 9.4, 3.3}, worths[] = {2.54, 2.29, 1.80, 0.87, 0.18};
  const std::vector<Offer> offers = {with_falling_odds(0.2, 1.0)};
  for (int i = 0; i < 5; ++i) {
    SCOPED_TRACE(costs[i]);
    const Wait found = wait(offers, terms_of(costs[i]));
    EXPECT_NEAR(found.limit_days, limits[i], 0.05);
    EXPECT_NEAR(found.limit_days, std::log(0.92 * 4.3 / (costs[i] / 0.2 + 0.25)) / 0.06, 1e-4);
    EXPECT_NEAR(found.value + 0.3, worths[i], 0.005);
    // Two methods, each within 1e-6 of the largest worth.
    EXPECT_NEAR(found.value, value_now(offers, terms_of(costs[i])), 4e-6);
  }
  EXPECT_NEAR(value_now(offers, terms_of(0.2, 3.0)) + 0.3, 1.08, 0.005);  // gone after 3 days
  EXPECT_NEAR(value_now(offers, terms_of(0.2, 7.0)) + 0.3, 1.61, 0.005);
}

// Source: exact integrals of a Gamma(2, 10 d) rate, for the same odds and cost 0.20 a day.
TEST(Wait, FallingOddsAtARateThatIsLearned) {
  const std::vector<Offer> offers = {with_falling_odds(2.0, 10.0)};
  const Wait found = wait(offers, terms_of(0.2, 60.0, true));
  EXPECT_NEAR(found.limit_days, 9.7, 0.05);
  EXPECT_NEAR(found.value + 0.3, 1.272, 5e-4);
  EXPECT_NEAR(value_now(offers, terms_of(0.2, 7.0, true)) + 0.3, 1.242, 5e-4);
  EXPECT_LT(found.limit_days, wait(offers, terms_of(0.2)).limit_days)
      << "learning shortens patience";
  // P(an order within 3 days) of a Gamma rate.
  EXPECT_NEAR(found.odds_3, 1.0 - std::pow(10.0 / 13.0, 2.0), 1e-9);
  EXPECT_NEAR(found.odds_7, 1.0 - std::pow(10.0 / 17.0, 2.0), 1e-9);
  EXPECT_LT(found.limit_low, found.limit_days);
  EXPECT_GT(found.limit_high, found.limit_days);
  // At the ends of the 95 % interval of the rate, Gamma quantiles (tables of chi-squared, 4 degrees
  // of freedom: 0.484 and 11.143) / 20: waiting never pays; until ln(...) / 0.06.
  EXPECT_EQ(found.limit_low, 0.0);
  EXPECT_NEAR(found.limit_high, std::log(0.92 * 4.3 / (0.2 / (11.143 / 20.0) + 0.25)) / 0.06, 0.01);
}

std::vector<Offer> any_offers(support::Random& random, int kinds, double longest) {
  std::vector<Offer> offers;
  for (int k = 0; k < kinds; ++k) {
    Offer offer{"tint-" + std::to_string(k), {}, {}, {}};
    offer.demand.shape = random.uniform(0.3, 6.0);
    offer.demand.days = random.uniform(3.0, 40.0);
    double t = 0.0, worth = random.uniform(-0.5, 4.0);
    while (t < longest) {
      offer.at_days.push_back(t);
      offer.worth.push_back(worth);
      t += random.uniform(1.0, 15.0);
      worth += random.uniform(-1.2, 0.5);
    }
    offers.push_back(std::move(offer));
  }
  return offers;
}

double straight(const Offer& offer, double t) {
  for (std::size_t i = 1; i < offer.at_days.size(); ++i) {
    if (t >= offer.at_days[i]) continue;
    const double share = (t - offer.at_days[i - 1]) / (offer.at_days[i] - offer.at_days[i - 1]);
    return (1.0 - share) * offer.worth[i - 1] + share * offer.worth[i];
  }
  return offer.worth.back();
}

/// A dynamic programme in discrete time: in each short time at most one order comes.
double in_short_times(const std::vector<Offer>& offers, const Terms& terms, int times) {
  const double dt = terms.longest_days / times;
  double w = -terms.disposal;
  for (int i = times; i-- > 0;) {
    const double t = dt * (i + 0.5);
    double next = w - dt * terms.cost_per_day;
    for (const Offer& offer : offers) {
      const double rate =
          terms.learn_while_waiting ? offer.demand.rate_after_silence(t) : offer.demand.rate();
      next += dt * rate * std::max(0.0, straight(offer, t) - w);
    }
    w = std::max(-terms.disposal, next);
  }
  return w;
}

/// First order in the time: the difference of two is the error of the finer one.
TEST(Wait, AgreesWithADenseDynamicProgrammeInGeneral) {
  const std::uint64_t seed = 5;
  for (int i = 0; i < support::trials(25, 400); ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + " case " + std::to_string(i));
    support::Random random(seed + static_cast<std::uint64_t>(i));
    const double longest = random.uniform(5.0, 40.0);
    const int kinds = 1 + random.below(14);
    const auto offers = any_offers(random, kinds, longest);
    const double cost = random.uniform(0.0, 0.6);
    const Terms terms = terms_of(cost, longest, random.below(2) == 0);
    const double coarse = in_short_times(offers, terms, 80'000);
    const double fine = in_short_times(offers, terms, 160'000);
    // Kinks and free boundaries leave some of the second order: 1e-5 seen, of worths up to 4.
    EXPECT_NEAR(value_now(offers, terms), 2.0 * fine - coarse, 2e-5);
    EXPECT_NEAR(wait(offers, terms).value, 2.0 * fine - coarse, 2e-5);
  }
}

/// Many short steps of the classical Runge-Kutta method (Kutta 1901), none across a knot.
double in_fine_steps(const std::vector<Offer>& offers, const Terms& terms, int steps) {
  std::vector<double> knots = {terms.longest_days};
  for (const Offer& offer : offers)
    for (const double knot : offer.at_days)
      if (knot < terms.longest_days) knots.push_back(knot);
  std::ranges::sort(knots, std::greater<>());
  const auto rise = [&](double t, double w) {
    double rise = -terms.cost_per_day;
    for (const Offer& offer : offers) {
      const double rate =
          terms.learn_while_waiting ? offer.demand.rate_after_silence(t) : offer.demand.rate();
      rise += rate * std::max(0.0, straight(offer, t) - w);
    }
    return rise;
  };
  double w = -terms.disposal;
  for (std::size_t k = 1; k < knots.size(); ++k) {
    const double to = knots[k - 1], length = to - knots[k];
    const int count = 20 + static_cast<int>(steps * length / terms.longest_days);
    const double h = length / count;
    for (int i = 0; i < count; ++i) {
      const double t = to - i * h, k1 = rise(t, w), k2 = rise(t - 0.5 * h, w + 0.5 * h * k1),
                   k3 = rise(t - 0.5 * h, w + 0.5 * h * k2), k4 = rise(t - h, w + h * k3);
      w = std::max(-terms.disposal, w + h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4));
    }
  }
  return w;
}

/// What is promised of the error, for rates as any, for frequent orders, for young ages and for
/// worths of which many are equal. Steps ten times as fine differ by less than a hundredth of it.
TEST(Wait, IsWithinAMillionthOfTheLargestWorth) {
  const std::uint64_t seed = 300;
  for (int i = 0; i < support::trials(48, 600); ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + " case " + std::to_string(i));
    support::Random random(seed + static_cast<std::uint64_t>(i));
    const double longest = random.uniform(5.0, 40.0);
    auto offers = any_offers(random, 1 + random.below(25), longest);
    double largest = 0.0;
    for (Offer& offer : offers) {
      if (i % 4 == 1) offer.demand.shape *= 30.0;
      if (i % 4 == 2) offer.demand.days *= 0.1;
      for (double& worth : offer.worth) {
        if (i % 4 == 3) worth = 0.5 * std::round(2.0 * worth);
        largest = std::max(largest, std::abs(worth) + 0.3);
      }
    }
    const double cost = random.uniform(0.0, 0.6);
    const Terms terms = terms_of(cost, longest, random.below(3) != 0);
    EXPECT_NEAR(value_now(offers, terms), in_fine_steps(offers, terms, 12'000), 1e-6 * largest);
  }
}

/// Frequent orders over a long time: what is exact for level worths and the general method agree.
TEST(Wait, FrequentOrdersOverALongTime) {
  std::vector<Offer> offers;
  for (int k = 0; k < 12; ++k) {
    Offer offer{"tint-" + std::to_string(k), {}, {0.0}, {0.3 * k}};
    offer.demand.shape = 20.0 + 30.0 * k;
    offer.demand.days = 1.0;
    offers.push_back(offer);
  }
  const double level = value_now(offers, terms_of(0.5, 365.0));
  offers.front().at_days = {0.0, 365.0};  // worth nothing to it, but no longer level
  offers.front().worth = {-0.4, -0.5};
  EXPECT_NEAR(value_now(offers, terms_of(0.5, 365.0)), level, 1e-6 * 4.0);
}

struct Tried {
  double day, worth;  ///< of the first order that it takes; day beyond all where none comes
};

/// First order taken at W(t) or more; from the limit on anything better than scrap.
Tried first_taken(const std::vector<Offer>& offers, const Wait& found, double longest,
                  support::Random& random) {
  Tried first{2.0 * longest, 0.0};
  for (const Offer& offer : offers) {
    const double rate = testing::gamma(offer.demand.shape, random) / offer.demand.days;
    for (double t = -std::log(random.uniform()) / rate; t < std::min(longest, first.day);
         t -= std::log(random.uniform()) / rate) {
      const double place = t / std::max(found.at_days.back(), 1e-9) *
                           (static_cast<double>(found.at_days.size()) - 1.0);
      const auto i = static_cast<std::size_t>(place);
      const double over = i + 1 >= found.at_days.size()
                              ? 0.0
                              : found.over_scrapping[i] +
                                    (place - std::floor(place)) *
                                        (found.over_scrapping[i + 1] - found.over_scrapping[i]);
      if (straight(offer, t) < over - 0.3) continue;
      first = {t, straight(offer, t)};
      break;
    }
  }
  return first;
}

/// Rates drawn from what is believed of them: no other limit earns more than 1 % of the worth more.
TEST(Wait, NoOtherLimitEarnsMoreOverManyFutures) {
  const std::uint64_t seed = 77;
  const int futures = support::trials(10'000, 100'000);
  for (int i = 0; i < support::trials(8, 12); ++i) {
    SCOPED_TRACE("seed " + std::to_string(seed) + " case " + std::to_string(i));
    support::Random random(seed + static_cast<std::uint64_t>(i));
    const auto offers = any_offers(random, 1 + random.below(8), 40.0);
    const double cost = random.uniform(0.02, 0.5);
    const Terms terms = terms_of(cost, 40.0, true);
    const Wait found = wait(offers, terms);
    const double shares[] = {0.0, 0.5, 0.8, 0.9, 1.1, 1.25, 1.5, 2.0, 1e9};
    std::vector<double> sum(std::size(shares), 0.0), squares(std::size(shares), 0.0);
    double ours_sum = 0.0;
    const double scale = found.limit_days > 0.0 ? found.limit_days : 5.0;
    for (int f = 0; f < futures; ++f) {
      const Tried first = first_taken(offers, found, 40.0, random);
      const auto earned = [&](double limit) {
        limit = std::min(limit, 40.0);
        return first.day <= limit ? first.worth - cost * first.day : -0.3 - cost * limit;
      };
      const double ours = earned(found.limit_days);
      ours_sum += ours;
      for (std::size_t s = 0; s < std::size(shares); ++s) {
        const double more = earned(shares[s] * scale) - ours;
        sum[s] += more;
        squares[s] += more * more;
      }
    }
    const double over = found.value + 0.3, mean = ours_sum / futures + 0.3;
    std::printf("limit %6.2f d, over scrapping %.4f, simulated %.4f\n", found.limit_days, over,
                mean);
    for (std::size_t s = 0; s < std::size(shares); ++s) {
      const double more = sum[s] / futures;
      const double error = std::sqrt((squares[s] / futures - more * more) / futures);
      EXPECT_LE(more, 0.01 * over + 3.0 * error + 1e-12) << "limit x " << shares[s];
    }
  }
}

TEST(Wait, SaysWhatEndsIt) {
  const std::vector<Offer> fading = {with_falling_odds(0.2, 1.0)};
  EXPECT_EQ(wait(fading, terms_of(0.01)).ends, Ends::worth);
  EXPECT_EQ(wait(fading, terms_of(0.2, 5.0)).ends, Ends::longest);
  EXPECT_EQ(wait(fading, terms_of(2.0)).ends, Ends::never_pays);
  EXPECT_EQ(wait({}, terms_of(0.1)).ends, Ends::never_pays);
  Terms dear = terms_of(0.0);
  dear.place_per_day = 0.7;
  EXPECT_EQ(wait(fading, dear).ends, Ends::place);
  dear.place_per_day = 5.0;
  EXPECT_EQ(wait(fading, dear).ends, Ends::place);
  Offer steady{"grey", {}, {0.0}, {3.0}};
  steady.demand.shape = 1.0;
  steady.demand.days = 4.0;
  const std::vector<Offer> level = {steady};
  Terms both = terms_of(0.05, 60.0, true);
  both.place_per_day = 0.05;
  EXPECT_EQ(wait(level, both).ends, Ends::silence);
  EXPECT_EQ(wait(level, terms_of(0.1, 5.0, true)).ends, Ends::longest);
  EXPECT_NEAR(wait(level, terms_of(0.1, 60.0, true)).limit_days, 3.3 / 0.1 - 4.0, 1e-6);
}

TEST(Wait, AnOfferOfWhichNothingIsKnownIsNotCountedOn) {
  Offer unknown{"rose", {}, {0.0}, {3.0}};
  unknown.demand.days = 0.0;
  const std::vector<Offer> offers = {unknown};
  EXPECT_EQ(wait(offers, terms_of(0.0)).value, -0.3);
}

TEST(Wait, TakesWhatIsWorthAtLeastAsMuchAsWaiting) {
  Wait found;
  found.value = 1.5;
  EXPECT_TRUE(takes(1.5, found));
  EXPECT_FALSE(takes(1.499, found));
}

RC_GTEST_PROP(WaitProperty, MoreDemandIsWorthMoreAndCostLessAndScrapIsTheFloor, ()) {
  const auto seed = *rc::gen::inRange(0, 1'000'000);
  support::Random random(static_cast<std::uint64_t>(seed));
  auto offers = any_offers(random, 1 + random.below(8), 30.0);
  const double cost = random.uniform(0.0, 0.4);
  Terms terms = terms_of(cost, 30.0, random.below(2) == 0);
  const Wait found = wait(offers, terms);
  RC_ASSERT(found.value >= -terms.disposal);
  RC_ASSERT((found.limit_days > 0.0) == (found.value > -terms.disposal));
  RC_ASSERT(found.limit_low <= found.limit_days && found.limit_days <= found.limit_high);
  RC_ASSERT(found.odds_1 <= found.odds_3 && found.odds_3 <= found.odds_7 && found.odds_7 <= 1.0);
  for (const double over : found.over_scrapping) RC_ASSERT(over >= 0.0);
  RC_ASSERT(std::abs(found.over_scrapping.front() - (found.value + terms.disposal)) < 1e-6);
  const double before = found.value;
  terms.cost_per_day += 0.1;
  RC_ASSERT(value_now(offers, terms) <= before + 1e-6);
  terms.cost_per_day -= 0.1;
  for (Offer& offer : offers) offer.demand.shape *= 1.5;
  RC_ASSERT(value_now(offers, terms) >= before - 1e-6);
}

}  // namespace
}  // namespace vialwright::holding
