// CIEDE2000 and CIELAB of many colours, beside lcms2 called one by one; the same answers first,
// then the time. Colours as a shift has them: readings near their targets. Every target of the
// processor down to AVX2 is forced in turn.
#include <benchmark/benchmark.h>
#include <hwy/targets.h>
#include <lcms2.h>

#include <cmath>

#include "colour/colour.hpp"
#include "support/random.hpp"
#include "timing.hpp"

namespace {

using namespace vialwright;
using namespace vialwright::colour;
using bench::median;
using bench::seconds;

constexpr std::size_t count = 65'536;

struct Columns {
  std::vector<double> l, a, b;
  explicit Columns(std::size_t n) : l(n), a(n), b(n) {}
  [[nodiscard]] Labs labs() const { return {l, a, b}; }
  [[nodiscard]] cmsCIELab at(std::size_t i) const { return {l[i], a[i], b[i]}; }
};

struct Pairs {
  Columns ones{count}, others{count};
};

/// Targets over the colours a display can show; readings 1.5 away in each coordinate.
Pairs near_pairs() {
  support::Random random(2026);
  Pairs made;
  for (std::size_t i = 0; i < count; ++i) {
    made.ones.l[i] = random.uniform(5.0, 98.0);
    made.ones.a[i] = random.uniform(-80.0, 80.0);
    made.ones.b[i] = random.uniform(-80.0, 80.0);
    made.others.l[i] = made.ones.l[i] + 1.5 * random.normal();
    made.others.a[i] = made.ones.a[i] + 1.5 * random.normal();
    made.others.b[i] = made.ones.b[i] + 1.5 * random.normal();
  }
  return made;
}

double largest_gap(const std::vector<double>& a, const std::vector<double>& b) {
  double largest = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) largest = std::max(largest, std::abs(a[i] - b[i]));
  return largest;
}

/// Turn about, so that a busy machine hurts both.
template <class Ours, class Loop, class Theirs>
void compare(benchmark::State& state, Ours ours, Loop loop, Theirs theirs) {
  std::vector<double> mine_s, loop_s, theirs_s;
  for (auto _ : state) {
    mine_s.push_back(seconds(ours));
    loop_s.push_back(seconds(loop));
    theirs_s.push_back(seconds(theirs));
    benchmark::ClobberMemory();
  }
  state.counters["ns_each"] = median(mine_s) / count * 1e9;
  state.counters["times_our_single"] = median(loop_s) / median(mine_s);
  state.counters["times_lcms2"] = median(theirs_s) / median(mine_s);
}

void ciede2000(benchmark::State& state, std::int64_t target) {
  hwy::SetSupportedTargetsForTest(target);
  state.SetLabel(hwy::TargetName(target));
  const Pairs pairs = near_pairs();
  std::vector<double> mine(count), single(count), peer(count);
  const auto ours = [&] { difference_00(pairs.ones.labs(), pairs.others.labs(), mine); };
  const auto loop = [&] {
    for (std::size_t i = 0; i < count; ++i)
      single[i] = difference_00(Lab{pairs.ones.l[i], pairs.ones.a[i], pairs.ones.b[i]},
                                Lab{pairs.others.l[i], pairs.others.a[i], pairs.others.b[i]});
  };
  const auto theirs = [&] {
    for (std::size_t i = 0; i < count; ++i) {
      const cmsCIELab one = pairs.ones.at(i), other = pairs.others.at(i);
      peer[i] = cmsCIE2000DeltaE(&one, &other, 1.0, 1.0, 1.0);
    }
  };
  ours(), loop(), theirs();
  state.counters["largest_gap"] = largest_gap(mine, peer);
  // Rounding of differences up to about 10.
  if (largest_gap(mine, peer) > 1e-9 || largest_gap(mine, single) > 1e-9)
    return state.SkipWithError("the answers differ");
  compare(state, ours, loop, theirs);
  hwy::SetSupportedTargetsForTest(0);
}

void cielab(benchmark::State& state, std::int64_t target) {
  hwy::SetSupportedTargetsForTest(target);
  state.SetLabel(hwy::TargetName(target));
  support::Random random(2027);
  const Xyz white = weights(Observer::cie1931, Illuminant::d65).white;
  Columns xyz(count), mine(count), single(count), peer(count);
  for (std::size_t i = 0; i < count; ++i) {
    xyz.l[i] = random.uniform(0.0, white.x);
    xyz.a[i] = random.uniform(0.0, white.y);
    xyz.b[i] = random.uniform(0.0, white.z);
  }
  const auto ours = [&] { lab(xyz.l, xyz.a, xyz.b, white, mine.l, mine.a, mine.b); };
  const auto loop = [&] {
    for (std::size_t i = 0; i < count; ++i) {
      const Lab made = lab(Xyz{xyz.l[i], xyz.a[i], xyz.b[i]}, white);
      single.l[i] = made.l, single.a[i] = made.a, single.b[i] = made.b;
    }
  };
  const auto theirs = [&] {
    const cmsCIEXYZ whole{white.x, white.y, white.z};
    for (std::size_t i = 0; i < count; ++i) {
      const cmsCIEXYZ each{xyz.l[i], xyz.a[i], xyz.b[i]};
      cmsCIELab made;
      cmsXYZ2Lab(&whole, &made, &each);
      peer.l[i] = made.L, peer.a[i] = made.a, peer.b[i] = made.b;
    }
  };
  ours(), loop(), theirs();
  const double gap = std::max(
      {largest_gap(mine.l, peer.l), largest_gap(mine.a, peer.a), largest_gap(mine.b, peer.b)});
  state.counters["largest_gap"] = gap;
  // lcms2 writes 841/108 and 16/116 the same way; both cut at (24/116)^3.
  if (gap > 1e-9) return state.SkipWithError("the answers differ");
  compare(state, ours, loop, theirs);
  hwy::SetSupportedTargetsForTest(0);
}

/// AVX2, and AVX-512 where this processor has it.
void with_targets(const char* name, void (*run)(benchmark::State&, std::int64_t)) {
  for (const std::int64_t target : {HWY_AVX2, HWY_AVX3}) {
    if ((hwy::SupportedTargets() & target) == 0) continue;
    const std::string full = std::string(name) + "/" + hwy::TargetName(target);
    benchmark::RegisterBenchmark(full.c_str(), run, target)
        ->Iterations(31)
        ->Unit(benchmark::kMillisecond);
  }
}

}  // namespace

int main(int argc, char** argv) {
  benchmark::Initialize(&argc, argv);
  with_targets("ciede2000", ciede2000);
  with_targets("cielab", cielab);
  benchmark::RunSpecifiedBenchmarks();
}
