#include "making/proving.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <utility>

namespace vialwright::making {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

constexpr int draws = 256;

/// Gaussian draws by Box and Muller from a counter-based mixer (splitmix64), the same everywhere.
class Draws {
 public:
  explicit Draws(std::uint64_t seed) : state_(seed) {}
  double normal() {
    const double radius = std::sqrt(-2.0 * std::log(1.0 - uniform()));
    return radius * std::cos(2.0 * std::numbers::pi * uniform());
  }

 private:
  double uniform() {
    state_ += 0x9e3779b97f4a7c15ULL;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9ULL;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebULL;
    return static_cast<double>((z ^ (z >> 31)) >> 11) * 0x1.0p-53;
  }
  std::uint64_t state_;
};

/// The hidden errors of one instrument in one world; same_source shares them.
struct Hidden {
  double gain = 0.0, offset = 0.0, zero_rate = 0.0;
};

class World {
 public:
  World(const plant::Plant& plant, std::uint64_t seed) : plant_(plant), draws_(seed) {}

  const Hidden& of(int instrument) {
    const plant::Instrument& it = plant_.instruments[at(instrument)];
    const std::string& name = it.same_source.empty() ? it.id : it.same_source;
    const auto known = hidden_.find(name);
    if (known != hidden_.end()) return known->second;
    return hidden_[name] = {it.u_gain * draws_.normal(), it.u_offset * draws_.normal(),
                            it.u_zero_rate * draws_.normal()};
  }
  double read(int instrument, double truth, double counting_s = 0.0) {
    const plant::Instrument& it = plant_.instruments[at(instrument)];
    const Hidden& hidden = of(instrument);
    const double noise = std::hypot(it.repeatability, it.repeatability_rel * truth);
    const double shown = truth * (1.0 + it.gain + hidden.gain) + it.offset + hidden.offset +
                         hidden.zero_rate * counting_s + noise * draws_.normal();
    return it.resolution > 0.0 ? std::round(shown / it.resolution) * it.resolution : shown;
  }
  double normal() { return draws_.normal(); }

 private:
  const plant::Plant& plant_;
  Draws draws_;
  std::map<std::string, Hidden> hidden_;
};

bool is_off(const Today& today, int instrument) {
  return std::ranges::find(today.off, instrument) != today.off.end();
}

/// What left the station when it was told that amount: its first meter, where it is on, stops it.
double true_dose(World& world, const topup::Addition& addition, const plant::Plant& dosing,
                 const recipe::Book& book) {
  if (addition.station < 0) return addition.amount_g;
  const plant::Station& station = dosing.stations[at(addition.station)];
  double mean = addition.amount_g;
  for (const std::string& id : station.meters) {
    const auto meter = plant::find_instrument(dosing, id);
    if (!meter || !plant::is_meter(dosing.instruments[at(*meter)].kind)) continue;
    const plant::Instrument& it = dosing.instruments[at(*meter)];
    const double unit = it.kind == plant::InstrumentKind::volume_meter
                            ? book.stocks[at(addition.stock)].density_g_per_ml
                            : 1.0;
    const Hidden& hidden = world.of(*meter);
    mean = (mean - unit * hidden.offset) / (1.0 + hidden.gain);
    break;
  }
  const double spread = std::hypot(station.spread_g, station.spread_rel * mean);
  return std::max(0.0, mean + spread * world.normal());
}

contents::Reading reading(contents::ReadingKind kind, int instrument, double value, int dose,
                          int after_doses, double air) {
  contents::Reading made;
  made.kind = kind;
  made.instrument = instrument;
  made.value = value;
  made.dose = dose;
  made.after_doses = after_doses;
  made.air_kg_per_m3 = air;
  return made;
}

/// What a colour gauge makes of the mixed vial. Strengths and absorptivities are drawn here: no
/// other reading sees them.
class Look {
 public:
  Look(World& world, const plant::Instrument& gauge, const recipe::Book& book)
      : world_(world), instrument_(gauge), gauge_(*gauge.colour), book_(book) {}

  std::vector<double> at_vial(const plant::Container& vial,
                              const std::vector<contents::Dose>& doses,
                              const std::vector<double>& grams, double volume_ml) {
    mixing::Gauge::Light light;
    light.path += gauge_.u_path_rel * world_.normal();
    light.stray = std::max(0.0, gauge_.stray_light + gauge_.u_stray_light * world_.normal());
    Eigen::VectorXd shown;
    mixing::Gauge(book_, gauge_, vial)
        .show(amounts(doses, grams, volume_ml), light, shown, nullptr);
    return read(shown);
  }

 private:
  Eigen::VectorXd amounts(const std::vector<contents::Dose>& doses,
                          const std::vector<double>& grams, double volume_ml) {
    const std::size_t components = book_.components.size();
    Eigen::VectorXd mg = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(components));
    for (std::size_t d = 0; d < doses.size(); ++d)
      for (std::size_t k = 0; k < components; ++k)
        mg(static_cast<Eigen::Index>(k)) += grams[d] * strength(doses[d].lot, k);
    for (std::size_t k = 0; k < components; ++k)
      mg(static_cast<Eigen::Index>(k)) *=
          1.0 + book_.components[k].u_absorptivity_rel * world_.normal();
    return mg / volume_ml;
  }
  /// One lot is as strong in each of its doses.
  double strength(int lot, std::size_t component) {
    const auto known = strengths_.find({lot, component});
    if (known != strengths_.end()) return known->second;
    const recipe::Strength& it = book_.lots[at(lot)].strengths[component];
    const double drawn = it.u_mg_per_g > 0.0 ? it.u_mg_per_g * world_.normal() : 0.0;
    return strengths_[{lot, component}] = std::max(0.0, it.mg_per_g + drawn);
  }
  std::vector<double> read(const Eigen::VectorXd& shown) {
    const bool bands = gauge_.gives == plant::ColourGauge::Gives::spectrum;
    const Eigen::Index n = shown.size();
    Eigen::MatrixXd correlation = Eigen::MatrixXd::Identity(n, n);
    if (!bands) {
      correlation.setConstant(gauge_.axis_correlation);
      correlation.diagonal().setOnes();
    }
    Eigen::VectorXd noise(n);
    for (double& one : noise) one = world_.normal();
    noise = (correlation.llt().matrixL() * noise).eval();
    const double shared = gauge_.u_session * world_.normal();
    std::vector<double> values;
    for (Eigen::Index i = 0; i < n; ++i) {
      const double bias = bands ? shared : gauge_.u_session * world_.normal();
      const double sd =
          std::hypot(instrument_.repeatability, instrument_.repeatability_rel * shown(i));
      const double value = shown(i) + bias + sd * noise(i);
      const double step = instrument_.resolution;
      values.push_back(step > 0.0 ? std::round(value / step) * step : value);
    }
    return values;
  }

  World& world_;
  const plant::Instrument& instrument_;
  const plant::ColourGauge& gauge_;
  const recipe::Book& book_;
  std::map<std::pair<int, std::size_t>, double> strengths_;
};

contents::Evidence evidence_of(World& world, int container,
                               const std::vector<topup::Addition>& additions, const Today& today,
                               const plant::Plant& dosing, const plant::Plant& plant,
                               const recipe::Book& book) {
  contents::Evidence evidence;
  evidence.container = container;
  const plant::Container& vial = plant.containers[at(container)];
  const double air = today.air_kg_per_m3;
  const double tare = vial.tare_g + vial.u_tare_g * world.normal();
  const double glass = contents::buoyancy_factor(air, 1000.0 * vial.density_g_per_ml);
  double net = 0.0, volume = 0.0;
  std::vector<double> poured;
  for (const topup::Addition& each : additions) {
    const int dose = static_cast<int>(evidence.doses.size());
    const double grams = true_dose(world, each, dosing, book);
    const double density = book.stocks[at(each.stock)].density_g_per_ml;
    poured.push_back(grams);
    net += grams;
    volume += grams / density;
    evidence.doses.push_back({each.stock, each.lot, each.station, each.amount_g, false});
    if (each.station < 0) continue;
    for (const std::string& id : plant.stations[at(each.station)].meters) {
      const auto meter = plant::find_instrument(plant, id);
      if (!meter || is_off(today, *meter)) continue;
      const bool by_volume =
          plant.instruments[at(*meter)].kind == plant::InstrumentKind::volume_meter;
      const double shown = world.read(*meter, by_volume ? grams / density : grams);
      evidence.readings.push_back(
          reading(contents::ReadingKind::dose, *meter, shown, dose, dose + 1, air));
    }
  }
  if (today.tare_scale >= 0 && !is_off(today, today.tare_scale)) {
    evidence.readings.push_back(reading(contents::ReadingKind::tare, today.tare_scale,
                                        world.read(today.tare_scale, tare / glass), -1, 0, air));
  }
  if (today.gross_scale >= 0 && !is_off(today, today.gross_scale)) {
    const double liquid = contents::buoyancy_factor(air, 1000.0 * net / volume);
    evidence.readings.push_back(reading(contents::ReadingKind::gross, today.gross_scale,
                                        world.read(today.gross_scale, tare / glass + net / liquid),
                                        -1, static_cast<int>(additions.size()), air));
  }
  if (today.colour_gauge >= 0 && !is_off(today, today.colour_gauge)) {
    contents::Reading look = reading(contents::ReadingKind::colour, today.colour_gauge, 0.0, -1,
                                     static_cast<int>(additions.size()), air);
    look.values = Look(world, plant.instruments[at(today.colour_gauge)], book)
                      .at_vial(vial, evidence.doses, poured, volume);
    evidence.readings.push_back(std::move(look));
  }
  return evidence;
}

bool is_released(const contents::Belief& belief, const recipe::Recipe& recipe,
                 const recipe::Book& book, double wanted, const conformity::Options& options) {
  const auto lines = conformity::lines_of(recipe, belief);
  const auto colours = conformity::colour_lines_of(recipe, belief, book);
  if (!colours.empty() &&
      !mixing::doubt_about(book, belief.mean.segment(belief.components, belief.stocks)).empty())
    return false;
  return conformity::probability(belief.mean, belief.covariance, lines, colours, options).value >=
         wanted;
}

}  // namespace

Proven proven(const recipe::Recipe& recipe, int container,
              const std::vector<topup::Addition>& additions, const Today& today,
              const plant::Plant& dosing, const plant::Plant& plant, const recipe::Book& book,
              const conformity::Options& options) {
  const double wanted = 1.0 - recipe.consumer_risk.value_or(plant.risks.consumer);
  conformity::Options quick = options;
  quick.points = 128;
  quick.most_points = 1024;
  quick.decide_at = wanted;
  int released = 0;
  for (int draw = 0; draw < draws; ++draw) {
    World world(plant, options.seed + static_cast<std::uint64_t>(draw) * 0x632be59bd9b4e019ULL);
    const contents::Evidence evidence =
        evidence_of(world, container, additions, today, dosing, plant, book);
    const contents::Belief belief = contents::estimate(evidence, plant, book).belief;
    if (is_released(belief, recipe, book, wanted, quick)) ++released;
  }
  // Laplace's rule keeps the doubt above nothing where all or none were released.
  const double share = static_cast<double>(released) / draws;
  const double smoothed = (released + 1.0) / (draws + 2.0);
  return {share, std::sqrt(smoothed * (1.0 - smoothed) / draws)};
}

}  // namespace vialwright::making
