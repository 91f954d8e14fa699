// The worth of waiting of one vial against 50 kinds of order beside Boost.Odeint (Dormand-Prince 5
// with step control, at the loosest tolerance that is as near the truth as ours): the same answers
// first, then the time. And what sharing a line's held vials takes; no general library does that.
#include <benchmark/benchmark.h>

#include <algorithm>
#include <boost/numeric/odeint.hpp>
#include <cmath>
#include <ctime>

#include "holding/holding.hpp"
#include "support/random.hpp"
#include "timing.hpp"

namespace {

using vialwright::bench::median;
using vialwright::bench::seconds;
using namespace vialwright;
using namespace vialwright::holding;

struct Question {
  std::vector<Offer> offers;
  Terms terms;
};

enum Shape { level, fading, fading_of_all_ages };

/// 50 kinds of order, from half an order to ten seen in a month; worths knotted as the engine's
/// are.
Question question(Shape shape) {
  support::Random random(7);
  Question asked;
  asked.terms.disposal = 0.3;
  asked.terms.cost_per_day = 0.2;
  asked.terms.longest_days = 30.0;
  asked.terms.learn_while_waiting = shape != level;
  for (int k = 0; k < 50; ++k) {
    Offer offer{"tint-" + std::to_string(k), {}, {}, {}};
    offer.demand.shape = random.uniform(0.5, 10.5);
    offer.demand.days = shape == fading_of_all_ages ? random.uniform(5.0, 45.0) : 31.0;
    const double worth = random.uniform(-0.3, 4.7), lost = random.uniform(0.02, 0.12);
    for (const double t : {0.0, 7.5, 15.0, 30.0}) {
      offer.at_days.push_back(t);
      offer.worth.push_back(worth - (shape == level ? 0.0 : lost * t));
    }
    asked.offers.push_back(std::move(offer));
  }
  return asked;
}

/// The equation as one writes it for a solver: rates and worths side by side, stretch by stretch.
class Peer {
 public:
  explicit Peer(const Question& asked) : asked_(asked) {}
  double solve(double tolerance) {
    namespace odeint = boost::numeric::odeint;
    const auto& knots = asked_.offers.front().at_days;
    double w = -asked_.terms.disposal, to = asked_.terms.longest_days;
    for (std::size_t k = knots.size() - 1; k-- > 0;) {
      enter(k);
      const double from = knots[k];
      auto stepper =
          odeint::make_controlled<odeint::runge_kutta_dopri5<double>>(tolerance, tolerance);
      const auto slope = [&](const double& value, double& rise, double back) {
        rise = this->rise(value, to - back);
      };
      odeint::integrate_adaptive(stepper, slope, w, 0.0, to - from, 0.01);
      to = from;
    }
    return w;
  }

 private:
  void enter(std::size_t knot) {
    shape_.clear(), days_.clear(), base_.clear(), slope_.clear();
    for (const Offer& offer : asked_.offers) {
      const double length = offer.at_days[knot + 1] - offer.at_days[knot];
      slope_.push_back((offer.worth[knot + 1] - offer.worth[knot]) / length);
      base_.push_back(offer.worth[knot] - slope_.back() * offer.at_days[knot]);
      const bool learns = asked_.terms.learn_while_waiting;
      shape_.push_back(learns ? offer.demand.shape : offer.demand.rate());
      days_.push_back(offer.demand.days);
    }
  }
  [[nodiscard]] double rise(double w, double t) const {
    double rise = -asked_.terms.cost_per_day;
    const bool learns = asked_.terms.learn_while_waiting;
    for (std::size_t i = 0; i < shape_.size(); ++i) {
      const double over = base_[i] + slope_[i] * t - w;
      if (over > 0.0) rise += over * shape_[i] / (learns ? days_[i] + t : 1.0);
    }
    return w <= -asked_.terms.disposal ? std::max(0.0, rise) : rise;
  }

  const Question& asked_;
  std::vector<double> shape_, days_, base_, slope_;
};

void value_of_one_vial(benchmark::State& state) {
  const Question asked = question(static_cast<Shape>(state.range(0)));
  Peer peer(asked);
  const double truth = peer.solve(1e-13), ours = value_now(asked.offers, asked.terms);
  const double off = std::abs(ours - truth);
  if (off > 5e-6) return state.SkipWithError("the answers differ");  // 1e-6 of the largest worth
  double tolerance = 1e-2;
  while (std::abs(peer.solve(tolerance) - truth) > std::max(off, 1e-9)) tolerance *= 0.5;

  std::vector<double> mine, theirs;
  constexpr int each = 200;
  for (auto _ : state) {  // turn about, so that a busy machine hurts both
    mine.push_back(seconds([&] {
      for (int i = 0; i < each; ++i) benchmark::DoNotOptimize(value_now(asked.offers, asked.terms));
    }));
    theirs.push_back(seconds([&] {
      for (int i = 0; i < each; ++i) benchmark::DoNotOptimize(peer.solve(tolerance));
    }));
  }
  state.counters["ours_us"] = 1e6 * median(mine) / each;
  state.counters["odeint_us"] = 1e6 * median(theirs) / each;
  state.counters["times_odeint"] = median(theirs) / median(mine);
  state.counters["off"] = off;
}
BENCHMARK(value_of_one_vial)
    ->ArgName("level_fading_ages")
    ->Arg(level)
    ->Arg(fading)
    ->Arg(fading_of_all_ages)
    ->Iterations(25);

/// Vials of a line that ask for places: each fits a third of the kinds.
void share_places(benchmark::State& state) {
  support::Random random(11);
  std::vector<Candidate> vials;
  const int kinds = 20;
  std::vector<double> shapes;
  for (int k = 0; k < kinds; ++k) shapes.push_back(random.uniform(0.5, 6.5));
  for (int i = 0; i < state.range(0); ++i) {
    Candidate vial;
    vial.serial = "V-" + std::to_string(i);
    vial.terms.disposal = 0.3;
    vial.terms.cost_per_day = 0.1;
    vial.terms.longest_days = 30.0;
    for (int k = 0; k < kinds; ++k) {
      if (random.uniform() > 0.35) continue;
      Offer offer{"tint-" + std::to_string(k), {}, {}, {}};
      offer.demand.shape = shapes[static_cast<std::size_t>(k)];
      offer.demand.days = 20.0;
      const double worth = random.uniform(0.0, 4.0), lost = random.uniform(0.0, 0.1);
      for (const double t : {0.0, 7.5, 15.0, 30.0}) {
        offer.at_days.push_back(t);
        offer.worth.push_back(std::max(-0.3, worth - lost * t));
      }
      vial.offers.push_back(std::move(offer));
    }
    vials.push_back(std::move(vial));
  }
  std::vector<double> times;
  for (auto _ : state) {
    times.push_back(seconds(
        [&] { benchmark::DoNotOptimize(share(vials, static_cast<int>(state.range(1))).total); }));
  }
  state.counters["median_ms"] = 1e3 * median(times);
  state.counters["most_ms"] = 1e3 * *std::max_element(times.begin(), times.end());
}
BENCHMARK(share_places)
    ->ArgNames({"vials", "places"})
    ->Args({12, 6})
    ->Args({30, 6})
    ->Args({30, 12})
    ->Args({30, 30})
    ->Iterations(15)
    ->Unit(benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
