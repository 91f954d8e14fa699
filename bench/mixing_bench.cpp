// Contents to colour: many liquids at once beside a plain scalar loop over 36 bands, and what one
// look costs; the same answers first, then the time.
#include <benchmark/benchmark.h>
#include <hwy/highway.h>
#include <hwy/targets.h>

#include <array>
#include <cmath>

#include "mixing/absorption.hpp"
#include "mixing/tints.hpp"
#include "timing.hpp"

namespace {

using vialwright::bench::median;
using vialwright::bench::seconds;
using namespace vialwright;
using namespace vialwright::mixing;

constexpr std::size_t liquids = 4096, dyes = 5;

/// Five dyes over 380 to 730 nm in steps of 10, 2 cm thick.
struct Case {
  colour::Weights weights;
  Rows natural, by_band;
  std::vector<double> amounts, l, a, b;

  Case()
      : weights(colour::weights(colour::Observer::cie1931, colour::power(colour::Illuminant::d65),
                                {380.0, 730.0, 10.0})),
        by_band(3, weights.x.size()),
        amounts(dyes * liquids),
        l(liquids),
        a(liquids),
        b(liquids) {
    recipe::Book book = testing::tint_book();
    book.components.pop_back();
    for (const auto& [peak, centre, width] : {std::array{90.0, 560.0, 30.0}, {40.0, 590.0, 70.0}}) {
      book.components.emplace_back();
      book.components.back().absorptivity = testing::band(peak, centre, width);
    }
    natural = natural_rows(2.0 * absorption_per_cm(book, wavelengths(weights.grid)));
    natural.count = dyes;
    std::ranges::copy(weights.x, by_band[0]);
    std::ranges::copy(weights.y, by_band[1]);
    std::ranges::copy(weights.z, by_band[2]);
    support::Random random(5);
    for (double& each : amounts) each = random.uniform(0.0, 0.01);
  }

  void by_vectors() {
    shine_many(natural, by_band, weights.x.size(), amounts, liquids,
               std::array<double*, 3>{l.data(), a.data(), b.data()});
    colour::lab(l, a, b, weights.white, l, a, b);
  }

  /// What one writes first: exp and cbrt of the C library, ln(10) folded in beforehand.
  void plainly() {
    const std::size_t bands = weights.x.size();
    for (std::size_t r = 0; r < liquids; ++r) {
      double x = 0.0, y = 0.0, z = 0.0;
      for (std::size_t j = 0; j < bands; ++j) {
        double log_t = 0.0;
        for (std::size_t i = 0; i < dyes; ++i) log_t += natural[i][j] * amounts[i * liquids + r];
        const double t = std::exp(log_t);
        x += weights.x[j] * t, y += weights.y[j] * t, z += weights.z[j] * t;
      }
      const auto f = [](double t) {
        return t > 216.0 / 24389.0 ? std::cbrt(t) : 841.0 / 108.0 * t + 4.0 / 29.0;
      };
      const double fx = f(x / weights.white.x), fy = f(y / weights.white.y);
      l[r] = 116.0 * fy - 16.0, a[r] = 500.0 * (fx - fy);
      b[r] = 200.0 * (fy - f(z / weights.white.z));
    }
  }
};

double largest_gap(const std::vector<double>& one, const std::vector<double>& other) {
  double gap = 0.0;
  for (std::size_t i = 0; i < one.size(); ++i) gap = std::max(gap, std::abs(one[i] - other[i]));
  return gap;
}

void contents_to_lab(benchmark::State& state, std::int64_t target) {
  if ((hwy::SupportedTargets() & target) == 0) return state.SkipWithError("not on this processor");
  hwy::SetSupportedTargetsForTest(target);
  hwy::GetChosenTarget().DeInit();
  Case vectors, plain;
  vectors.by_vectors();
  plain.plainly();
  const double gap = std::max({largest_gap(vectors.l, plain.l), largest_gap(vectors.a, plain.a),
                               largest_gap(vectors.b, plain.b)});
  if (!(gap < 1e-10)) return state.SkipWithError("the answers differ");
  std::vector<double> ours, theirs;
  for (auto _ : state) {  // turn about, so that a busy machine hurts both
    ours.push_back(seconds([&] { vectors.by_vectors(); }));
    theirs.push_back(seconds([&] { plain.plainly(); }));
    benchmark::ClobberMemory();
  }
  hwy::SetSupportedTargetsForTest(0);
  hwy::GetChosenTarget().DeInit();
  state.counters["ours_ns"] = 1e9 * median(ours) / liquids;
  state.counters["plain_ns"] = 1e9 * median(theirs) / liquids;
  state.counters["times_plain"] = median(theirs) / median(ours);
}
#define VIALWRIGHT_ON(name, target) \
  BENCHMARK_CAPTURE(contents_to_lab, name, target)->Iterations(101)->Unit(benchmark::kMicrosecond)
VIALWRIGHT_ON(avx512, HWY_AVX3);
VIALWRIGHT_ON(avx2, HWY_AVX2);
VIALWRIGHT_ON(sse4, HWY_SSE4);

/// One colour with its slopes, over the 81 bands of a view; all amounts, and the dyes alone.
void one_look(benchmark::State& state) {
  const View view(testing::tint_book(), testing::seen_in(2.0));
  const Eigen::VectorXd amounts = testing::green().head(state.range(0));
  Gradient gradient;
  for (auto _ : state) benchmark::DoNotOptimize(view.lab(amounts, gradient));
}
BENCHMARK(one_look)->ArgName("amounts")->Arg(12)->Arg(3);

/// What a gauge shows, with all slopes: 31 bands, Lab, three channels; round vial with a strip.
void one_showing(benchmark::State& state, plant::ColourGauge::Gives gives, double bandwidth_nm) {
  plant::ColourGauge gauge;
  gauge.gives = gives;
  gauge.bandwidth_nm = bandwidth_nm;
  gauge.strip_rel = 0.3;
  gauge.channels.assign(3, testing::band(1.0, 550.0, 40.0));
  plant::Container vial;
  vial.inner_diameter_mm = 20.0;
  const Gauge seen(testing::tint_book(), gauge, vial);
  Eigen::VectorXd values;
  Gauge::Slopes slopes;
  for (auto _ : state) seen.show(testing::green(), {}, values, &slopes);
}
using Gives = plant::ColourGauge::Gives;
BENCHMARK_CAPTURE(one_showing, narrow_bands, Gives::spectrum, 0.0);
BENCHMARK_CAPTURE(one_showing, bands_of_10_nm, Gives::spectrum, 10.0);
BENCHMARK_CAPTURE(one_showing, lab, Gives::lab, 0.0);
BENCHMARK_CAPTURE(one_showing, channels, Gives::channels, 0.0);

}  // namespace

BENCHMARK_MAIN();
