// One vial with 12 readings, and one with a spectrum: the whole estimate (residuals, tests,
// critical pairs, belief) beside a general-purpose least-squares solution of the same problem,
// which gives mean and covariance of the unknowns alone: numerical Jacobian apart, dense normal
// equations and Eigen's LDLT.
#include <benchmark/benchmark.h>

#include <Eigen/Dense>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <vector>

#include "contents/contents.hpp"
#include "contents/map_estimate.hpp"
#include "contents/vial_model.hpp"

namespace {

using namespace vialwright;
using contents::ReadingKind;
using Eigen::MatrixXd;
using Eigen::VectorXd;

/// A usual line (sizes: common practice): two scales, five meters with gain, offset and zero rate.
plant::Plant usual_plant() {
  plant::Plant plant;
  plant::Instrument scale;
  scale.repeatability = 0.005;
  scale.resolution = 0.01;
  scale.u_offset = 0.005;
  scale.u_gain = 0.0002;
  plant.instruments = {scale, scale};
  plant::Instrument meter;
  meter.kind = plant::InstrumentKind::mass_meter;
  meter.repeatability = 0.001;
  meter.repeatability_rel = 0.003;
  meter.u_gain = 0.002;
  meter.u_zero_rate = 0.0014;
  for (int i = 0; i < 5; ++i) plant.instruments.push_back(meter);
  plant::Instrument tank;
  tank.kind = plant::InstrumentKind::tank_scale;
  tank.repeatability = 1.0;
  plant.instruments.push_back(tank);
  plant::Station station;
  station.spread_g = 0.006;
  station.spread_rel = 0.005;
  plant.stations = {station};
  plant::Container vial;
  vial.tare_g = 14.8;
  vial.u_tare_g = 0.15;
  vial.brimful_ml = 26.0;
  vial.open_loss_g_per_h = 0.009;
  vial.u_open_loss_g_per_h = 0.003;
  plant.containers = {vial};
  return plant;
}

recipe::Book usual_book() {
  recipe::Book book;
  book.components = {{"water", "", true}, {"yellow", "", false}, {"rose", "", false},
                     {"teal", "", false}, {"grey", "", false},   {"salt", "", false}};
  for (int s = 0; s < 5; ++s) {
    recipe::Stock stock;
    stock.density_g_per_ml = 1.0 + 0.002 * s;
    book.stocks.push_back(stock);
    recipe::Lot lot;
    lot.stock = s;
    lot.strengths.assign(6, {0.0, 0.0});
    lot.strengths[0] = {990.0, 0.0};
    lot.strengths[static_cast<std::size_t>(s + 1)] = {0.5, 0.005};
    book.lots.push_back(lot);
  }
  return book;
}

/// Tare, five meters, a second output, two tank losses, three gross weighings: twelve.
contents::Evidence usual_evidence() {
  contents::Evidence it;
  const double grams[] = {19.0, 0.32, 0.31, 0.25, 0.12};
  for (int d = 0; d < 5; ++d) it.doses.push_back({d, d, 0, grams[d], false});
  const auto read = [&](ReadingKind kind, int instrument, double value, int dose, int after) {
    contents::Reading reading;
    reading.kind = kind;
    reading.instrument = instrument;
    reading.value = value;
    reading.dose = dose;
    reading.after_doses = after;
    reading.counting_s = dose < 0 ? 0.0 : 3.0;
    reading.open_s = after > 0 ? 1800.0 : 0.0;
    it.readings.push_back(reading);
  };
  read(ReadingKind::tare, 0, 14.85, -1, 0);
  for (int d = 0; d < 5; ++d) read(ReadingKind::dose, 2 + d, grams[d] + 0.001, d, 0);
  read(ReadingKind::dose, 2, 19.02, 0, 0);
  read(ReadingKind::tank_loss, 7, 19.6, 0, 0);
  read(ReadingKind::tank_loss, 7, 0.9, 1, 0);
  for (int i = 0; i < 3; ++i) read(ReadingKind::gross, i % 2, 34.82 + 0.01 * i, -1, 5);
  it.open_s = 3600.0;
  return it;
}

/// Gauss-Newton by normal equations in the space of the unknowns, as a general solver would.
struct Peer {
  VectorXd x;
  MatrixXd covariance;
};
Peer by_normal_equations(const contents::VialModel& model) {
  const auto& prior = model.unknowns();
  const auto& observed = model.observed();
  const auto n = prior.mean.size(), m = observed.value.size();
  Peer peer{prior.mean, MatrixXd(n, n)};
  const VectorXd precision = prior.variance.cwiseInverse(),
                 weight = observed.variance.cwiseInverse();
  VectorXd predicted(m);
  MatrixXd gradient(n, m), normal(n, n);
  for (int round = 0; round < 10; ++round) {
    model.linearise(peer.x, predicted, gradient);
    normal = gradient * weight.asDiagonal() * gradient.transpose();
    normal.diagonal() += precision;
    const VectorXd slope = gradient * weight.cwiseProduct(observed.value - predicted) +
                           precision.cwiseProduct(prior.mean - peer.x);
    const VectorXd step = normal.ldlt().solve(slope);
    peer.x += step;
    if (step.cwiseProduct(precision.cwiseSqrt()).cwiseAbs().maxCoeff() < 1e-10) break;
  }
  peer.covariance = normal.ldlt().solve(MatrixXd::Identity(n, n));
  return peer;
}

/// Medians, so that what else the machine does hurts none of them.
class Times {
 public:
  void add(auto&& run) {
    const auto start = std::chrono::steady_clock::now();
    run();
    all_.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
  }
  double median_us() {
    const auto middle = all_.begin() + static_cast<std::ptrdiff_t>(all_.size() / 2);
    std::nth_element(all_.begin(), middle, all_.end());
    return 1e6 * *middle;
  }

 private:
  std::vector<double> all_;
};

void one_vial_of_twelve_readings(benchmark::State& state) {
  const plant::Plant plant = usual_plant();
  const recipe::Book book = usual_book();
  const contents::Evidence evidence = usual_evidence();
  const contents::VialModel model(evidence, plant, book);
  const auto ours = contents::map_estimate(model.unknowns(), model.observed(), model, 25);
  const Peer peer = by_normal_equations(model);
  const VectorXd u = peer.covariance.diagonal().cwiseSqrt();
  if ((ours.mean - peer.x).cwiseQuotient(u).cwiseAbs().maxCoeff() > 1e-6 ||
      (ours.covariance - peer.covariance).cwiseQuotient(u * u.transpose()).cwiseAbs().maxCoeff() >
          1e-6)
    return state.SkipWithError("the answers differ");
  Times estimate, kernel, general;
  for (auto _ : state) {
    estimate.add([&] {
      auto found = contents::estimate(evidence, plant, book);
      benchmark::DoNotOptimize(found);
    });
    kernel.add([&] {
      auto found = contents::map_estimate(model.unknowns(), model.observed(), model, 25);
      benchmark::DoNotOptimize(found);
    });
    general.add([&] {
      auto found = by_normal_equations(model);
      benchmark::DoNotOptimize(found);
    });
  }
  state.counters["estimate_us"] = estimate.median_us();
  state.counters["kernel_us"] = kernel.median_us();
  state.counters["peer_us"] = general.median_us();
  state.counters["peer_over_kernel"] = general.median_us() / kernel.median_us();
}
BENCHMARK(one_vial_of_twelve_readings)->Iterations(20000);

// ---- with a spectrum -------------------------------------------------------------------------

colour::Spectrum band(double peak, double centre, double width) {
  colour::Spectrum spectrum;
  for (double nm = 380.0; nm <= 780.0; nm += 5.0) {
    spectrum.nm.push_back(nm);
    spectrum.value.push_back(peak * std::exp(-0.5 * std::pow((nm - centre) / width, 2)));
  }
  return spectrum;
}

recipe::Book tinted_book() {
  recipe::Book book = usual_book();
  const double peak[] = {36.0, 40.0, 70.0, 20.0}, centre[] = {430.0, 515.0, 630.0, 560.0},
               width[] = {40.0, 38.0, 35.0, 120.0};
  for (std::size_t k = 0; k < 5; ++k) {  // the base is clear, each other stock has one dye
    book.lots[k].strengths[k + 1] = {0.0, 0.0};
    if (k > 0) book.lots[k].strengths[k] = {0.5, 0.005};
  }
  for (std::size_t k = 0; k < 4; ++k) {
    recipe::Component& dye = book.components[k + 1];
    dye.absorptivity = band(peak[k], centre[k], width[k]);
    dye.u_absorptivity_rel = 0.005;
    dye.fade_per_day = 0.002;
    dye.u_fade_per_day = 0.0005;
  }
  return book;
}

/// The line of before with a spectrometer that looks through the vial: 36 bands of 10 nm.
plant::Plant tinted_plant() {
  plant::Plant plant = usual_plant();
  plant.containers[0].inner_diameter_mm = 20.0;
  plant::Instrument gauge;
  gauge.kind = plant::InstrumentKind::colour_gauge;
  gauge.repeatability = 0.002;
  gauge.colour.emplace();
  gauge.colour->gives = plant::ColourGauge::Gives::spectrum;
  gauge.colour->bands = {380.0, 730.0, 10.0};
  gauge.colour->bandwidth_nm = 10.0;
  gauge.colour->strip_rel = 0.3;
  gauge.colour->stray_light = 0.001;
  gauge.colour->u_stray_light = 0.0005;
  gauge.colour->u_session = 0.002;
  plant.instruments.push_back(gauge);
  return plant;
}

/// What the gauge shows of the doses as commanded, by mixing, and a little off in every band.
contents::Evidence tinted_evidence(const plant::Plant& plant, const recipe::Book& book) {
  contents::Evidence evidence = usual_evidence();
  contents::Reading reading;
  reading.kind = ReadingKind::colour;
  reading.instrument = static_cast<int>(plant.instruments.size()) - 1;
  reading.after_doses = 5;
  reading.days = 1.0;
  VectorXd amounts = VectorXd::Zero(6);
  for (int k = 1; k <= 4; ++k)
    amounts[k] = 0.5 * *evidence.doses[static_cast<std::size_t>(k)].commanded_g / 20.0;
  VectorXd shown;
  mixing::Gauge(book, *plant.instruments.back().colour, plant.containers[0])
      .show(amounts, {1.0, 0.001}, shown, nullptr);
  for (Eigen::Index b = 0; b < shown.size(); ++b)
    reading.values.push_back(shown[b] + 0.002 * std::sin(7.0 * static_cast<double>(b)));
  evidence.readings.push_back(reading);
  return evidence;
}

void one_vial_with_a_spectrum(benchmark::State& state) {
  const plant::Plant plant = tinted_plant();
  const recipe::Book book = tinted_book();
  const contents::Evidence evidence = tinted_evidence(plant, book);
  const contents::VialModel model(evidence, plant, book), whole(evidence, plant, book, {}, true);
  const auto ours = contents::map_estimate(model.unknowns(), model.observed(), model, 25);
  const Peer peer = by_normal_equations(whole);
  const VectorXd u = peer.covariance.diagonal().cwiseSqrt();
  // A rate that may not fade below zero is bounded in ours alone: none is near here.
  if ((ours.mean - peer.x).cwiseQuotient(u).cwiseAbs().maxCoeff() > 1e-5 ||
      (ours.covariance - peer.covariance).cwiseQuotient(u * u.transpose()).cwiseAbs().maxCoeff() >
          1e-5)
    return state.SkipWithError("the answers differ");
  Times estimate, kernel, general;
  for (auto _ : state) {
    estimate.add([&] {
      auto found = contents::estimate(evidence, plant, book);
      benchmark::DoNotOptimize(found);
    });
    kernel.add([&] {
      auto found = contents::map_estimate(model.unknowns(), model.observed(), model, 25);
      benchmark::DoNotOptimize(found);
    });
    general.add([&] {
      auto found = by_normal_equations(whole);
      benchmark::DoNotOptimize(found);
    });
  }
  state.counters["estimate_us"] = estimate.median_us();
  state.counters["kernel_us"] = kernel.median_us();
  state.counters["peer_us"] = general.median_us();
  state.counters["peer_over_kernel"] = general.median_us() / kernel.median_us();
  state.counters["steps"] = ours.iterations;
}
BENCHMARK(one_vial_with_a_spectrum)->Iterations(5000);

}  // namespace

BENCHMARK_MAIN();
