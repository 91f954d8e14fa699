// Four components and a mass window: P(all lines hold) beside a general-purpose peer, fixed points
// tested line by line with vectors of floats (Monte Carlo with pseudo-random points made
// beforehand; and, harder to beat, with Sobol points). The answers are compared first, against a
// million Sobol points; then all are timed, in processor time, at the least powers of two of points
// that bring each to a root-mean-square error of 1e-3 over the same 200 beliefs.
#include <benchmark/benchmark.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/random/sobol.hpp>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <ctime>
#include <string>
#include <vector>

#include "conformity/conformity.hpp"
#include "conformity/random_beliefs.hpp"

namespace {

using vialwright::conformity::lines_of;
using vialwright::conformity::Options;
using vialwright::conformity::probability;
using vialwright::conformity_test::Case;

constexpr int components = 4, axes = components + 1, beliefs = 200;
constexpr int most_points = 1 << 20;
constexpr double wanted_rms = 1e-3;

// ---- the peer ------------------------------------------------------------------------------

constexpr int lanes = 16;
using Floats = float __attribute__((vector_size(lanes * sizeof(float))));
using Flags = std::int32_t __attribute__((vector_size(lanes * sizeof(float))));

/// Standard normal draws, axis by axis.
struct FixedPoints {
  std::vector<float> z[axes];
};

FixedPoints pseudo_random_points() {
  FixedPoints made;
  vialwright::support::Random random(20255);
  for (auto& axis : made.z) {
    axis.resize(most_points);
    for (float& one : axis) one = static_cast<float>(random.normal());
  }
  return made;
}

FixedPoints sobol_points() {
  FixedPoints made;
  for (auto& axis : made.z) axis.resize(most_points);
  boost::random::sobol points(axes);
  const boost::math::normal law;
  for (std::size_t k = 0; k < most_points; ++k) {
    for (auto& axis : made.z) {
      const double u = (static_cast<double>(points()) + 0.5) * 0x1p-64;
      axis[k] = static_cast<float>(boost::math::quantile(law, std::min(u, 1.0 - 1e-16)));
    }
  }
  return made;
}

/// The lines as half-spaces of z: normal * z <= limit.
struct HalfSpaces {
  float normal[2 * axes][axes], limit[2 * axes];
};

HalfSpaces half_spaces(const Case& c) {
  const Eigen::MatrixXd root = c.belief.covariance.topLeftCorner(axes, axes).llt().matrixL();
  HalfSpaces made;
  int row = 0;
  const auto add = [&](const Eigen::VectorXd& form, double limit) {
    const Eigen::VectorXd normal = root.transpose() * form;
    for (int v = 0; v < axes; ++v) made.normal[row][v] = static_cast<float>(normal(v));
    made.limit[row++] = static_cast<float>(limit - form.dot(c.belief.mean.head(axes)));
  };
  const Eigen::VectorXd net = Eigen::VectorXd::Unit(axes, components);
  for (int k = 0; k < components; ++k) {
    const auto& line = c.recipe.tolerances[static_cast<std::size_t>(k)];
    add(Eigen::VectorXd::Unit(axes, k) - line.high * net, 0.0);
    add(line.low * net - Eigen::VectorXd::Unit(axes, k), 0.0);
  }
  const auto& window = c.recipe.tolerances.back();
  add(net, window.high);
  add(-net, -window.low);
  return made;
}

/// A clone for each of the instruction sets that matter, chosen at run time like ours.
__attribute__((target_clones("arch=x86-64-v4", "arch=x86-64-v3", "default"))) std::int64_t count(
    const HalfSpaces& h, const FixedPoints& points, int n) {
  Flags good = {};
  for (std::size_t k = 0; k < static_cast<std::size_t>(n / lanes); ++k) {
    Floats z[axes];
    for (int v = 0; v < axes; ++v) std::memcpy(&z[v], &points.z[v][k * lanes], sizeof z[v]);
    Flags holds = ~Flags{};
    for (int row = 0; row < 2 * axes; ++row) {
      Floats sum = {};
      for (int v = 0; v < axes; ++v) sum += h.normal[row][v] * z[v];
      holds &= sum <= h.limit[row];
    }
    good -= holds;
  }
  std::int64_t total = 0;
  for (int lane = 0; lane < lanes; ++lane) total += good[lane];
  return total;
}

double peer(const Case& c, const FixedPoints& points, int n) {
  return static_cast<double>(count(half_spaces(c), points, n)) / n;
}

// ---- both ----------------------------------------------------------------------------------

double ours(const Case& c, int n) {
  Options options;
  options.points = options.most_points = n;
  return probability(c.belief.mean, c.belief.covariance, lines_of(c.recipe, c.belief), options)
      .value;
}

struct Errors {
  double rms = 0.0, most = 0.0;
};

template <class Answer>
Errors errors_of(const std::vector<Case>& cases, const std::vector<double>& right,
                 const Answer& answer) {
  Errors found;
  for (std::size_t k = 0; k < cases.size(); ++k) {
    const double error = std::abs(answer(cases[k]) - right[k]);
    found.rms += error * error / static_cast<double>(cases.size());
    found.most = std::max(found.most, error);
  }
  found.rms = std::sqrt(found.rms);
  return found;
}

/// The smallest power of two that reaches the wanted error, and stays there at twice the points.
template <class Answer>
int points_for(const std::vector<Case>& cases, const std::vector<double>& right,
               const Answer& answer) {
  for (int n = 16; n < most_points / 2; n *= 2) {
    const auto at = [&](int points) {
      return errors_of(cases, right, [&](const Case& c) { return answer(c, points); }).rms;
    };
    if (at(n) <= wanted_rms && at(2 * n) <= wanted_rms) return n;
  }
  return most_points;
}

/// Processor time, so that what else the machine does counts less.
template <class Work>
double seconds(const Work& work) {
  const std::clock_t from = std::clock();
  work();
  return static_cast<double>(std::clock() - from) / CLOCKS_PER_SEC;
}

void conformity_beside_fixed_points(benchmark::State& state) {
  vialwright::support::Random random(20254);
  std::vector<Case> cases;
  for (int k = 0; k < beliefs; ++k) {
    cases.push_back(vialwright::conformity_test::any_case(random, components));
  }
  const FixedPoints random_points = pseudo_random_points(), even_points = sobol_points();
  const auto by_random = [&](const Case& c, int n) { return peer(c, random_points, n); };
  const auto by_sobol = [&](const Case& c, int n) { return peer(c, even_points, n); };
  std::vector<double> right;
  for (const Case& c : cases) right.push_back(ours(c, 1 << 16));
  const Errors agreement =
      errors_of(cases, right, [&](const Case& c) { return by_sobol(c, most_points); });
  if (agreement.most > 1e-3) return state.SkipWithError("the answers differ");

  const int mine = points_for(cases, right, ours);
  const int at_random = points_for(cases, right, by_random);
  const int even = points_for(cases, right, by_sobol);
  double mine_s = 0.0, random_s = 0.0, sobol_s = 0.0, sum = 0.0;
  const auto every = [&](const auto& answer, int n) {
    return seconds([&] {
      for (const Case& c : cases) sum += answer(c, n);
    });
  };
  for (auto _ : state) {  // turn about, so that a busy machine hurts all
    mine_s += every(ours, mine);
    random_s += every(by_random, at_random);
    sobol_s += every(by_sobol, even);
    benchmark::DoNotOptimize(sum);
  }
  const double each = 1e6 / (static_cast<double>(state.iterations()) * beliefs);
  const auto report = [&](const std::string& name, const auto& answer, int n, double spent_s) {
    const Errors found = errors_of(cases, right, [&](const Case& c) { return answer(c, n); });
    state.counters[name + "_points"] = n;
    state.counters[name + "_us"] = spent_s * each;
    state.counters[name + "_rms"] = found.rms;
    state.counters[name + "_max"] = found.most;
  };
  report("ours", ours, mine, mine_s);
  report("monte_carlo", by_random, at_random, random_s);
  report("sobol", by_sobol, even, sobol_s);
  state.counters["monte_carlo_over_ours"] = random_s / mine_s;
  state.counters["sobol_over_ours"] = sobol_s / mine_s;
}
BENCHMARK(conformity_beside_fixed_points)->Unit(benchmark::kMillisecond)->MinTime(2.0);

}  // namespace

BENCHMARK_MAIN();
