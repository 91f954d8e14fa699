#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "topup/dosing.hpp"
#include "topup/words.hpp"

namespace vialwright::topup {
namespace {

using contents::Belief;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

// Middles of strata of equal probability: few to choose the first round, more for its odds. Every
// third of those is the middle of a stratum three times as wide, so that one rule checks the other.
constexpr int few_strata = 9, many_strata = 45;
// Shares of each dose that the first round may have.
constexpr std::array<double, 5> shares = {0.6, 0.7, 0.8, 0.9, 0.95};

double normal_quantile(double p) {
  double low = -10.0, high = 10.0;
  for (int half = 0; half < 60; ++half) {
    const double middle = 0.5 * (low + high);
    (0.5 * std::erfc(-middle / std::sqrt(2.0)) < p ? low : high) = middle;
  }
  return low;
}

/// What is left to do when the weighing is known: the odds, and what the second round costs.
struct Then {
  double odds = 0.0, cost = 0.0;
};

/// A first round and what comes of it.
struct Plan {
  std::vector<Addition> first;
  double first_cost = 0.0;
  Then then;
  double u_odds = 0.0;
};

class TwoRoundSearch {
 public:
  TwoRoundSearch(const Belief& belief, const recipe::Recipe& recipe, const Means& means,
                 const plant::Plant& plant, const recipe::Book& book, double u_weighing_g,
                 const Options& options)
      : belief_(belief),
        recipe_(recipe),
        means_(means),
        plant_(plant),
        book_(book),
        u_weighing_g_(u_weighing_g),
        options_(options) {}

  [[nodiscard]] std::optional<TwoRounds> run() const;

 private:
  [[nodiscard]] const Topup& best_single(const Answer& answer) const;
  [[nodiscard]] std::vector<std::vector<Addition>> firsts(const Topup& single) const;
  [[nodiscard]] Plan plan(const std::vector<Addition>& first, int strata) const;
  [[nodiscard]] Then then_at(const Belief& weighed, const Means& means) const;
  [[nodiscard]] double cost_of(const std::vector<Addition>& additions) const;
  [[nodiscard]] double worth(double odds, double cost) const {
    return options_.success > 0.0 ? options_.success * odds - cost : odds;
  }
  [[nodiscard]] double cost_of(const Plan& plan) const {
    return plan.first_cost + plant_.prices.reading + plan.then.cost;
  }
  [[nodiscard]] TwoRounds told(const Plan& plan, const Topup& single) const;
  [[nodiscard]] std::string in_words(const TwoRounds& told, const Topup& single) const;

  const Belief& belief_;
  const recipe::Recipe& recipe_;
  const Means& means_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  double u_weighing_g_;
  const Options& options_;
};

const Topup& TwoRoundSearch::best_single(const Answer& answer) const {
  const bool best = worth(answer.best.odds.value, answer.best.cost) >
                    worth(answer.surest.odds.value, answer.surest.cost);
  return best ? answer.best : answer.surest;
}

double TwoRoundSearch::cost_of(const std::vector<Addition>& additions) const {
  double sum = 0.0;
  for (const Addition& each : additions) {
    const Dosing dosing = dosing_of(belief_, each.station, each.stock, plant_, book_);
    sum += plant_.prices.visit +
           book_.stocks[at(each.stock)].price_per_g * dosing.true_amount(each.amount_g);
  }
  return sum;
}

/// Shares of the single round, where a dose is so large that the rest of it can be dosed again;
/// smaller doses in full, or left for the second round. And each dose alone, in full.
std::vector<std::vector<Addition>> TwoRoundSearch::firsts(const Topup& single) const {
  const auto least = [&](const Addition& each) {
    return each.station < 0 ? 0.0 : plant_.stations[at(each.station)].least_dose_g;
  };
  std::vector<std::vector<Addition>> made;
  for (const double share : shares) {
    for (const bool leave_small : {false, true}) {
      std::vector<Addition> first;
      bool any_small = false, any_large = false;
      for (Addition each : single.additions) {
        const bool large = each.amount_g > 2.0 * least(each);
        any_large = any_large || large;
        any_small = any_small || !large;
        if (large) each.amount_g = std::max(least(each), share * each.amount_g);
        if (large || !leave_small) first.push_back(each);
      }
      if (any_large && (any_small || !leave_small)) made.push_back(std::move(first));
    }
  }
  if (single.additions.size() > 1)
    for (const Addition& each : single.additions) made.push_back({each});
  return made;
}

/// The second round at its best, from what is believed once the weighing is known.
Then TwoRoundSearch::then_at(const Belief& weighed, const Means& means) const {
  const Answer answer = best(weighed, recipe_, means, plant_, book_, options_);
  const Topup& second = best_single(answer);
  return {second.odds.value, second.cost};
}

/// The weighing moves every mean along its covariance with the net mass; how far is normal, and
/// what doubt it leaves does not hang on what it reads (linear Gaussian update; Särkkä, Bayesian
/// Filtering and Smoothing (CUP 2013), ch. 4).
Plan TwoRoundSearch::plan(const std::vector<Addition>& first, int strata) const {
  const Belief made = after(belief_, first, plant_, book_);
  Means means = means_;
  for (const Addition& each : first)
    means.fill_now_ml += each.amount_g / book_.stocks[at(each.stock)].density_g_per_ml;
  const Eigen::VectorXd seen = made.covariance.col(made.net());
  const double variance = seen[made.net()] + u_weighing_g_ * u_weighing_g_;
  Belief weighed = made;
  if (variance > 0.0) weighed.covariance -= seen * seen.transpose() / variance;
  Plan plan{first, cost_of(first), {}, 0.0};
  double wider = 0.0;
  for (int i = 0; i < strata; ++i) {
    const double z = normal_quantile((i + 0.5) / strata);
    weighed.mean = made.mean;
    if (variance > 0.0) weighed.mean += seen * (z / std::sqrt(variance));
    const Then then = then_at(weighed, means);
    plan.then.odds += then.odds / strata;
    plan.then.cost += then.cost / strata;
    if (i % 3 == 1) wider += 3.0 * then.odds / strata;
  }
  plan.u_odds = std::abs(plan.then.odds - wider) + options_.conformity.error / 3.0;
  return plan;
}

TwoRounds TwoRoundSearch::told(const Plan& plan, const Topup& single) const {
  TwoRounds told;
  told.first.outcome = Outcome::found;
  told.first.additions = plan.first;
  told.first.cost = plan.first_cost;
  told.first.odds = odds_of(belief_, recipe_, plan.first, plant_, book_, options_);
  const Belief then = after(belief_, plan.first, plant_, book_);
  told.first.total_g = then.mean[then.net()];
  told.odds = plan.then.odds;
  told.u_odds = plan.u_odds;
  told.cost = cost_of(plan);
  const double gain = worth(told.odds, told.cost) - worth(single.odds.value, single.cost);
  told.pays = gain > (options_.success > 0.0 ? options_.success : 1.0) * told.u_odds;
  told.in_words = in_words(told, single);
  return told;
}

/// "86.8 of 100 (give or take 0.4)"; what is nearly certain is told as a bound.
std::string of_hundred(double odds, double u) {
  if (odds > 0.99) return "more than 99 of 100";
  return fmt::format("{:.1f} of 100 (give or take {:.1f})", 100.0 * odds, 200.0 * u);
}

std::string TwoRoundSearch::in_words(const TwoRounds& told, const Topup& single) const {
  std::vector<std::string> doses;
  for (const Addition& each : told.first.additions)
    doses.push_back(fmt::format("{:.4f} g of {}", each.amount_g, stock_name(each.stock, book_)));
  return fmt::format(
      "dose {}, weigh, and dose again as the weighing says: {} become good for {:.3f} {}; in one "
      "round {} for {:.3f}",
      listed(doses, " and "), of_hundred(told.odds, told.u_odds), told.cost, plant_.prices.unit,
      of_hundred(single.odds.value, single.odds.error / 3.0), single.cost);
}

std::optional<TwoRounds> TwoRoundSearch::run() const {
  const Answer answer = best(belief_, recipe_, means_, plant_, book_, options_);
  const Topup& single = best_single(answer);
  if (answer.best.outcome != Outcome::found || single.additions.empty()) return std::nullopt;
  std::optional<Plan> chosen;
  for (const std::vector<Addition>& first : firsts(single)) {
    Plan plan = this->plan(first, few_strata);
    const double value = worth(plan.then.odds, cost_of(plan));
    if (!chosen || value > worth(chosen->then.odds, cost_of(*chosen))) chosen = std::move(plan);
  }
  if (!chosen) return std::nullopt;
  return told(plan(chosen->first, many_strata), single);
}

}  // namespace

std::optional<TwoRounds> two_rounds(const contents::Belief& belief, const recipe::Recipe& recipe,
                                    const Means& means, const plant::Plant& plant,
                                    const recipe::Book& book, double u_weighing_g,
                                    const Options& options) {
  require(u_weighing_g >= 0.0, "a standard uncertainty is not negative");
  return TwoRoundSearch(belief, recipe, means, plant, book, u_weighing_g, options).run();
}

}  // namespace vialwright::topup
