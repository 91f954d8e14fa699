// Four components and a mass window: P(all lines hold) beside a general-purpose peer, fixed points
// tested line by line with vectors of floats (Monte Carlo with pseudo-random points made
// beforehand; and, harder to beat, with Sobol points). The answers are compared first, against a
// million Sobol points; then all are timed, in processor time, at the least powers of two of points
// that bring each to a root-mean-square error of 1e-3 over the same 200 beliefs.
#include <benchmark/benchmark.h>

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/random/sobol.hpp>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <ctime>
#include <span>
#include <string>
#include <vector>

#include "conformity/conformity.hpp"
#include "conformity/tints.hpp"

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

// ---- with a colour -------------------------------------------------------------------------
// Contents of three dyes, net mass, absorptivities in doubt, and one limit on colour. The peer
// draws all axes from fixed pseudo-random points and asks every line; its colours come from the
// same vectorised batches as ours, so what is compared is the integration.

using vialwright::conformity_test::Tint;

constexpr int coloured = 40, chunk = 1024, most_draws = 1 << 19;

/// Standard normal draws of the axes, one after the other.
std::vector<double> normals(int axes_drawn) {
  vialwright::support::Random random(20258);
  std::vector<double> z(static_cast<std::size_t>(axes_drawn) * most_draws);
  for (double& one : z) one = random.normal();
  return z;
}

/// Axes of x at some draws, (chunk, axes).
struct Draws {
  Eigen::MatrixXd root;
  Eigen::MatrixXd x;
  void fill(const Tint& tint, const std::vector<double>& z, int from) {
    const Eigen::Index n = root.cols();
    const Eigen::Map<const Eigen::MatrixXd> points(z.data() + static_cast<Eigen::Index>(from) * n,
                                                   n, chunk);
    x.noalias() = (root * points).transpose();
    x.rowwise() += tint.belief.mean.transpose();
  }
};

int conforming(const Tint& tint, const vialwright::conformity::ColourLine& colour,
               const Eigen::MatrixXd& x) {
  static std::vector<double> amounts, lab(3 * chunk), difference(chunk);
  const Eigen::ArrayXd volume = x.col(tint.belief.volume()).array();
  amounts.resize(3 * chunk);
  for (int k = 0; k < 3; ++k) {
    Eigen::Map<Eigen::ArrayXd> row(amounts.data() + k * chunk, chunk);
    row = x.col(k).array() / volume;
    row *= 1.0 + x.col(colour.deviation[static_cast<std::size_t>(k)]).array();
  }
  const std::span<double> l(lab.data(), chunk), a(lab.data() + chunk, chunk),
      b(lab.data() + 2 * chunk, chunk);
  colour.view->labs(amounts, chunk, l, a, b);
  vialwright::colour::difference_00({l, a, b}, colour.target, difference);
  Eigen::Array<bool, Eigen::Dynamic, 1> holds =
      Eigen::Map<Eigen::ArrayXd>(difference.data(), chunk) <= colour.high;
  const Eigen::ArrayXd net = x.col(tint.belief.net()).array();
  for (const auto& line : tint.recipe.tolerances) {
    if (line.on == vialwright::recipe::ToleranceOn::content)
      holds = holds && x.col(line.of).array() >= line.low * net &&
              x.col(line.of).array() <= line.high * net;
    if (line.on == vialwright::recipe::ToleranceOn::net_mass)
      holds = holds && net >= line.low && net <= line.high;
  }
  return static_cast<int>(holds.count());
}

double drawn(const Tint& tint, const vialwright::conformity::ColourLine& colour,
             const Eigen::MatrixXd& root, const std::vector<double>& z, int draws) {
  Draws points{root, {}};
  int good = 0;
  for (int from = 0; from < draws; from += chunk) {
    points.fill(tint, z, from);
    good += conforming(tint, colour, points.x);
  }
  return static_cast<double>(good) / draws;
}

Eigen::MatrixXd root_of(const Eigen::MatrixXd& covariance) {
  const Eigen::VectorXd scale = covariance.diagonal().cwiseSqrt().cwiseMax(1e-300);
  const Eigen::MatrixXd scaled =
      scale.cwiseInverse().asDiagonal() * covariance * scale.cwiseInverse().asDiagonal();
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> parts(scaled);
  return scale.asDiagonal() * parts.eigenvectors() *
         parts.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal();
}

void colour_beside_fixed_points(benchmark::State& state) {
  vialwright::support::Random random(20257);
  std::vector<Tint> tints;
  std::vector<vialwright::conformity::ColourLine> colours;
  std::vector<Eigen::MatrixXd> roots;
  for (int k = 0; k < coloured; ++k) {
    tints.push_back(vialwright::conformity_test::any_tint(random, {}));
    const Tint& tint = tints.back();
    colours.push_back(
        vialwright::conformity::colour_lines_of(tint.recipe, tint.belief, tint.book).front());
    roots.push_back(root_of(tint.belief.covariance));
  }
  const std::vector<double> z = normals(static_cast<int>(roots.front().cols()));
  const auto ours_at = [&](std::size_t k, const Options& options) {
    return probability(tints[k].belief.mean, tints[k].belief.covariance,
                       lines_of(tints[k].recipe, tints[k].belief), {colours[k]}, options);
  };
  const auto theirs_at = [&](std::size_t k, int draws) {
    return drawn(tints[k], colours[k], roots[k], z, draws);
  };
  Options fine;
  fine.points = 1 << 13;
  fine.error = 1e-4;
  std::vector<double> right, ours_us;
  for (std::size_t k = 0; k < coloured; ++k) right.push_back(ours_at(k, fine).value);
  double rms = 0.0;
  for (std::size_t k = 0; k < coloured; ++k) {
    const double theirs = theirs_at(k, most_draws), p = right[k];
    const double u = std::sqrt(std::max(p * (1.0 - p), 1.0 / most_draws) / most_draws);
    if (std::abs(theirs - p) > 1e-4 + 4.5 * u) return state.SkipWithError("the answers differ");
    const double mine = ours_at(k, {}).value;
    rms += (mine - p) * (mine - p) / coloured;
  }
  int draws = chunk;
  const auto rms_at = [&](int n) {
    double squares = 0.0;
    for (std::size_t k = 0; k < coloured; ++k)
      squares += std::pow(theirs_at(k, n) - right[k], 2) / coloured;
    return std::sqrt(squares);
  };
  while (draws < most_draws && rms_at(draws) > wanted_rms) draws *= 2;

  double mine_s = 0.0, theirs_s = 0.0, judge_s = 0.0, sum = 0.0;
  for (auto _ : state) {
    for (std::size_t k = 0; k < coloured; ++k) {
      ours_us.push_back(1e6 * seconds([&] { sum += ours_at(k, {}).value; }));
      mine_s += 1e-6 * ours_us.back();
      theirs_s += seconds([&] { sum += theirs_at(k, draws); });
      judge_s += seconds([&] {
        sum += vialwright::conformity::judge(tints[k].belief, tints[k].recipe, tints[k].book, {})
                   .joint.value;
      });
    }
    benchmark::DoNotOptimize(sum);
  }
  std::ranges::sort(ours_us);
  const double each = 1e6 / (static_cast<double>(state.iterations()) * coloured);
  state.counters["ours_us"] = mine_s * each;
  state.counters["ours_median_us"] = ours_us[ours_us.size() / 2];
  state.counters["ours_rms"] = std::sqrt(rms);
  state.counters["judge_us"] = judge_s * each;
  state.counters["monte_carlo_us"] = theirs_s * each;
  state.counters["monte_carlo_draws"] = draws;
  state.counters["monte_carlo_rms"] = rms_at(draws);
  state.counters["monte_carlo_over_ours"] = theirs_s / mine_s;
}
BENCHMARK(colour_beside_fixed_points)->Unit(benchmark::kMillisecond)->Iterations(3);

}  // namespace

BENCHMARK_MAIN();
