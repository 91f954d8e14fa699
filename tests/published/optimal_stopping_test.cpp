// Waiting for Poisson offers, against closed forms. The engine takes kinds of order, each with one
// worth; a continuous worth is cut into narrow bins, each with its probability and its mean. Then
// E[(X - W)^+] is exact for W at a bin's edge, and else too large by at most the bin's
// probability times width / 8.
#include <gtest/gtest.h>

#include <cmath>

#include "holding/course.hpp"
#include "holding/holding.hpp"
#include "holding/rivals.hpp"
#include "published/table_of_numbers.hpp"

namespace vialwright::holding {
namespace {

constexpr double six_digits = 5e-7;

Offer kind_of_order(std::size_t index, double rate, double worth) {
  Offer offer;
  offer.recipe = "worth-" + std::to_string(index);
  offer.demand.shape = rate;
  offer.demand.days = 1.0;
  offer.at_days = {0.0};
  offer.worth = {worth};
  return offer;
}

std::vector<Offer> uniform_offers(double lam, std::size_t bins) {
  std::vector<Offer> offers;
  const auto n = static_cast<double>(bins);
  for (std::size_t i = 0; i < bins; ++i)
    offers.push_back(kind_of_order(i, lam / n, (static_cast<double>(i) + 0.5) / n));
  return offers;
}

/// Narrow bins up to `top`; all above it in one: as long as W stays below, only its mean matters.
std::vector<Offer> exponential_offers(double lam, std::size_t bins, double top) {
  std::vector<Offer> offers;
  const double width = top / static_cast<double>(bins);
  for (std::size_t i = 0; i < bins; ++i) {
    const double a = width * static_cast<double>(i), b = a + width;
    const double p = std::exp(-a) - std::exp(-b);
    const double mean = ((a + 1.0) * std::exp(-a) - (b + 1.0) * std::exp(-b)) / p;
    offers.push_back(kind_of_order(i, lam * p, mean));
  }
  offers.push_back(kind_of_order(bins, lam * std::exp(-top), top + 1.0));
  return offers;
}

Terms until(double days, double cost = 0.0) {
  Terms terms;
  terms.longest_days = days;
  terms.cost_per_day = cost;
  terms.learn_while_waiting = false;
  return terms;
}

TEST(PublishedStopping, OneUnitUniformAndExponentialToSixDigits) {
  const auto rows = published::table_of_numbers("stopping_one_unit.csv");
  ASSERT_EQ(rows.size(), 18U);
  for (const auto& row : rows) {
    SCOPED_TRACE("lam " + std::to_string(row[0]) + " s " + std::to_string(row[1]));
    const Terms terms = until(row[1]);
    EXPECT_NEAR(value_now(uniform_offers(row[0], 4'000), terms), row[2], six_digits);
    EXPECT_NEAR(value_now(exponential_offers(row[0], 20'000, 5.0), terms), row[4], six_digits);
  }
}

/// The same by the general method, which level worths do not need, with the chance of being left
/// over. Bins of width w put up to w^2 / 8 times the rate of offers on the slope of W: 2e-6 and
/// 1e-5 on W here. Whether an offer is taken is known to half a bin: 3e-3 of the chance.
TEST(PublishedStopping, TheGeneralMethodAgreesAndTellsTheChanceOfBeingLeftOver) {
  for (const auto& row : published::table_of_numbers("stopping_one_unit.csv")) {
    SCOPED_TRACE("lam " + std::to_string(row[0]) + " s " + std::to_string(row[1]));
    const std::vector<double> stops = {row[1]};
    const Course uniform(uniform_offers(row[0], 1'000), until(row[1]), 1.0, stops);
    EXPECT_NEAR(uniform.now(), row[2], 2e-6);
    EXPECT_NEAR(1.0 - uniform.odds_within(row[1]), row[3], 3e-3);
    const Course exponential(exponential_offers(row[0], 2'000, 5.0), until(row[1]), 1.0, stops);
    EXPECT_NEAR(exponential.now(), row[4], 1e-5);
    EXPECT_NEAR(1.0 - exponential.odds_within(row[1]), row[5], 3e-3);
  }
}

/// What is had at the deadline, S, is a rest that can be sold at any time: all worths less S, and S
/// added again. Offers below S are never taken.
TEST(PublishedStopping, WithACostOfWaitingToSixDigits) {
  const auto rows = published::table_of_numbers("stopping_with_cost.csv");
  ASSERT_EQ(rows.size(), 4U);
  for (const auto& row : rows) {
    SCOPED_TRACE("lam " + std::to_string(row[0]) + " s " + std::to_string(row[1]));
    const auto above = [&](std::vector<Offer> offers) {
      for (Offer& offer : offers) offer.worth.front() -= row[3];
      return row[3] + value_now(offers, until(row[1], row[2]));
    };
    EXPECT_NEAR(above(uniform_offers(row[0], 4'000)), row[4], six_digits);
    EXPECT_NEAR(above(exponential_offers(row[0], 20'000, 5.0)), row[5], six_digits);
  }
}

/// Worths of 1, 2, ... vials that are alike, in steps of that number.
std::vector<double> worths_of_alike(const std::vector<Offer>& offers, double days, int k,
                                    int steps) {
  Candidate vial;
  vial.offers = offers;
  vial.terms = until(days);
  std::vector<Kind> kinds;
  for (const Offer& offer : offers)
    kinds.push_back(
        {offer.recipe, std::vector<double>(static_cast<std::size_t>(steps), offer.demand.rate())});
  Rivals rivals(graded_times(days, steps), kinds);
  std::vector<double> worths = {0.0};
  for (int i = 0; i < k; ++i) {
    rivals.add(vial);
    worths.push_back(rivals.worth(rivals.all()).front());
  }
  return worths;
}

/// The programme is of second order in its step: the error of twice the steps is a third of the
/// difference.
std::vector<double> to_the_limit(const std::vector<Offer>& offers, double days, int k, int steps) {
  const auto once = worths_of_alike(offers, days, k, steps);
  auto twice = worths_of_alike(offers, days, k, 2 * steps);
  for (std::size_t i = 0; i < once.size(); ++i) twice[i] += (twice[i] - once[i]) / 3.0;
  return twice;
}

TEST(PublishedStopping, UnitsThatAreAlikeToSixDigits) {
  const auto rows = published::table_of_numbers("stopping_alike_units.csv");
  ASSERT_EQ(rows.size(), 25U);
  for (const double days : {0.5, 1.0, 2.0, 5.0, 10.0}) {
    const auto offers = exponential_offers(1.0, 2'000, 2.5);
    const auto worths = to_the_limit(offers, days, 10, 150);
    for (const auto& row : rows) {
      if (row[1] != days) continue;
      SCOPED_TRACE("k " + std::to_string(row[0]) + " lam s " + std::to_string(days));
      const auto k = static_cast<std::size_t>(row[0]);
      EXPECT_NEAR(worths[k], row[2], 1e-6 * std::max(1.0, row[2]));
      EXPECT_NEAR(worths[k] - worths[k - 1], row[3], 1e-6);
    }
  }
}

TEST(PublishedStopping, UnitsThatAreAlikeWithUniformOffersToSixDigits) {
  for (const auto& row : published::table_of_numbers("stopping_alike_units_uniform.csv")) {
    const auto worths = to_the_limit(uniform_offers(1.0, 1'500), row[0], 3, 250);
    for (std::size_t k = 1; k <= 3; ++k)
      EXPECT_NEAR(worths[k], row[k], 1e-6) << "s " << row[0] << " k " << k;
  }
}

}  // namespace
}  // namespace vialwright::holding
