// The colour search beside a general-purpose optimiser in one run: the same colours and slopes, the
// same start, answers compared first, then the time.
//   nearest/N     CIEDE2000 as near as can be by N stocks, 400 pairs; SLSQP (Kraft 1988) the peer
//   best/N        the whole answer with odds for N stocks, ours alone
#include <benchmark/benchmark.h>

#include <algorithm>
#include <cmath>
#include <nlopt.hpp>

#include "timing.hpp"
#include "topup/colour_recipes.hpp"
#include "topup/colour_search.hpp"

namespace {

using vialwright::bench::seconds;
using namespace vialwright;
using namespace vialwright::topup;
using topup::testing::Palette;

double quantile(std::vector<double> values, double share) {
  std::sort(values.begin(), values.end());
  return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1))];
}

struct Problem {
  std::vector<Aim> aims;
  AimRegion region;
};

Problem problem_of(const Palette& palette, const colour::Lab& target) {
  const auto n = static_cast<Eigen::Index>(palette.vial.cap.size());
  const Amounts volume = Eigen::Map<const Eigen::VectorXd>(palette.vial.ml_per_g.data(), n);
  Problem made;
  made.aims.push_back(
      {Shade(palette.view(), palette.vial.now, palette.vial.per_g, palette.vial.volume_ml, volume),
       wanted(target, 1.0)});
  made.region = {Amounts::Zero(n),
                 Eigen::Map<const Eigen::VectorXd>(palette.vial.cap.data(), n),
                 {},
                 Eigen::Vector2d(palette.vial.room_g, palette.vial.room_ml)};
  made.region.rows.resize(2, n);
  made.region.rows << Amounts::Ones(n).transpose(), volume.transpose();
  return made;
}

double ours(const Problem& problem) {
  return ColourSearch(problem.aims, problem.region).from(problem.region.low).differences.front();
}
double ours_of_all_starts(const Problem& problem) {
  return ColourSearch(problem.aims, problem.region).best(problem.region.low).differences.front();
}

/// The square of CIEDE2000 with its slope: the eye's by the same kernel, the formula's by the same
/// differences.
double objective(const std::vector<double>& x, std::vector<double>& slope, void* data) {
  const Aim& aim = static_cast<const Problem*>(data)->aims.front();
  const Amounts grams =
      Eigen::Map<const Eigen::VectorXd>(x.data(), static_cast<Eigen::Index>(x.size()));
  const auto squared = [&](const colour::Lab& lab) {
    return std::pow(colour::difference_00(lab, aim.wanted.lab), 2);
  };
  if (slope.empty()) return squared(aim.shade.lab(grams));
  Shade::Gradient gradient;
  const colour::Lab lab = aim.shade.lab(grams, gradient);
  const double value = squared(lab), width = 1e-5;
  const Eigen::Vector3d of_lab((squared({lab.l + width, lab.a, lab.b}) - value) / width,
                               (squared({lab.l, lab.a + width, lab.b}) - value) / width,
                               (squared({lab.l, lab.a, lab.b + width}) - value) / width);
  Eigen::Map<Eigen::VectorXd>(slope.data(), static_cast<Eigen::Index>(slope.size())) =
      gradient.transpose() * of_lab;
  return value;
}

double theirs(Problem& problem) {
  const auto n = static_cast<std::size_t>(problem.region.low.size());
  nlopt::opt optimiser(nlopt::LD_SLSQP, static_cast<unsigned>(n));
  optimiser.set_lower_bounds({problem.region.low.begin(), problem.region.low.end()});
  optimiser.set_upper_bounds({problem.region.high.begin(), problem.region.high.end()});
  optimiser.set_min_objective(objective, &problem);
  using Row = std::pair<const Problem*, Eigen::Index>;
  std::array<Row, 2> rows{Row{&problem, 0}, Row{&problem, 1}};
  const auto over = [](const std::vector<double>& x, std::vector<double>& slope, void* data) {
    const auto& [of, row] = *static_cast<const Row*>(data);
    double sum = -of->region.limits[row];
    for (std::size_t j = 0; j < x.size(); ++j) {
      const double each = of->region.rows(row, static_cast<Eigen::Index>(j));
      sum += each * x[j];
      if (!slope.empty()) slope[j] = each;
    }
    return sum;
  };
  for (Row& row : rows) optimiser.add_inequality_constraint(over, &row, 1e-9);
  optimiser.set_ftol_rel(1e-7);
  optimiser.set_xtol_rel(1e-9);
  optimiser.set_stopval(1e-6);
  optimiser.set_maxeval(300);
  std::vector<double> x(problem.region.low.begin(), problem.region.low.end());
  double reached = recipe::no_limit;
  try {
    optimiser.optimize(x, reached);
  } catch (const std::exception&) {  // it stops on rounding; what it reached stands
    std::vector<double> none;
    reached = objective(x, none, &problem);
  }
  return std::sqrt(reached);
}

void nearest_beside_slsqp(benchmark::State& state) {
  support::Random random(61);
  std::vector<Problem> problems;
  for (int i = 0; i < 400; ++i) {  // half of them can be reached
    const Palette palette =
        topup::testing::any_palette(random, static_cast<int>(state.range(0)) - 1);
    const ColourTable one = topup::testing::any_recipes(palette, 1, i % 2 == 0 ? 1.0 : 0.0, random);
    problems.push_back(problem_of(palette, one.target.front()));
  }
  int ours_worse = 0, theirs_worse = 0, all_worse = 0;
  for (Problem& each : problems) {
    const double mine = ours(each), peer = theirs(each), all = ours_of_all_starts(each);
    const double best = std::min({mine, peer, all});
    ours_worse += mine > best + 0.01 ? 1 : 0;
    theirs_worse += peer > best + 0.01 ? 1 : 0;
    all_worse += all > best + 0.01 ? 1 : 0;
  }
  if (ours_worse > theirs_worse + 4) return state.SkipWithError("ours is worse");
  std::vector<double> our_s, their_s, all_s;
  for (auto _ : state) {  // turn about, so that a busy machine hurts both
    for (Problem& each : problems) {
      our_s.push_back(seconds([&] { benchmark::DoNotOptimize(ours(each)); }));
      their_s.push_back(seconds([&] { benchmark::DoNotOptimize(theirs(each)); }));
      all_s.push_back(seconds([&] { benchmark::DoNotOptimize(ours_of_all_starts(each)); }));
    }
  }
  state.counters["ours_us"] = 1e6 * quantile(our_s, 0.5);
  state.counters["ours_all_starts_us"] = 1e6 * quantile(all_s, 0.5);
  state.counters["slsqp_us"] = 1e6 * quantile(their_s, 0.5);
  state.counters["times_slsqp"] = quantile(their_s, 0.5) / quantile(our_s, 0.5);
  state.counters["ours_worse_of_400"] = ours_worse;
  state.counters["all_starts_worse_of_400"] = all_worse;
  state.counters["slsqp_worse_of_400"] = theirs_worse;
}
BENCHMARK(nearest_beside_slsqp)
    ->Name("nearest")
    ->Arg(3)
    ->Arg(5)
    ->Iterations(5)
    ->Unit(benchmark::kMillisecond);

void whole(benchmark::State& state) {
  const int stocks = static_cast<int>(state.range(0));
  support::Random random(62);
  std::vector<topup::testing::Pair> pairs;
  for (int i = 0; i < 20; ++i)
    pairs.push_back(topup::testing::any_colour_pair(random, stocks, stocks));
  std::vector<double> taken;
  for (auto _ : state)
    for (const auto& each : pairs)
      taken.push_back(seconds([&] {
        benchmark::DoNotOptimize(
            best(each.belief, each.recipe, each.means, each.plant, each.book).meets_risk);
      }));
  state.counters["ms_median"] = 1e3 * quantile(taken, 0.5);
  state.counters["ms_worst"] = 1e3 * quantile(taken, 1.0);
}
BENCHMARK(whole)->Name("best")->Arg(2)->Arg(3)->Arg(4)->Iterations(1)->Unit(
    benchmark::kMillisecond);

}  // namespace

BENCHMARK_MAIN();
