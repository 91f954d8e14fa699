#include "contents/vial_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "error/error.hpp"

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::VectorXd;

std::size_t at(int i) { return static_cast<std::size_t>(i); }
double square(double x) { return x * x; }

/// What a gram of a body of that density shows on a scale set with weights of 8000 kg/m3.
double apparent(double air_kg_per_m3, double body_g_per_ml) {
  return 1.0 / buoyancy_factor(air_kg_per_m3, 1000.0 * body_g_per_ml);
}

double value_of(int unknown, const VectorXd& x, double known) {
  return unknown < 0 ? known : x[unknown];
}

bool has_reading(const Evidence& evidence, auto&& wanted) {
  return std::ranges::any_of(evidence.readings, wanted);
}

bool on_scale(const Reading& reading) {
  return reading.kind == ReadingKind::tare || reading.kind == ReadingKind::gross;
}

/// The most that the container can hold, as a guess of what an unknown dose may be.
double holds_g(const plant::Container& container, double density) {
  double ml = container.brimful_ml > 0.0 ? container.brimful_ml : container.largest_fill_ml;
  if (!(ml > 0.0)) ml = 1000.0;
  return ml * density;
}

/// The liquid that evaporates is the solvent: its density is that of the stock richest in it.
double density_of_lost(const Evidence& evidence, const recipe::Book& book) {
  double richest = 0.0, density = 1.0;
  for (const Dose& dose : evidence.doses) {
    if (dose.lot < 0) continue;
    const auto& strengths = book.lots[at(dose.lot)].strengths;
    for (std::size_t k = 0; k < strengths.size(); ++k) {
      if (!book.components[k].evaporates || strengths[k].mg_per_g <= richest) continue;
      richest = strengths[k].mg_per_g;
      density = book.stocks[at(dose.stock)].density_g_per_ml;
    }
  }
  return density;
}

}  // namespace

/// The column of the gradient that a reading fills.
struct VialModel::Slope {
  Eigen::Ref<VectorXd> column;
  void add(int unknown, double by) {
    if (unknown >= 0) column[unknown] += by;
  }
};

VialModel::VialModel(const Evidence& evidence, const plant::Plant& plant, const recipe::Book& book)
    : evidence_(evidence),
      plant_(plant),
      book_(book),
      container_(plant.containers[at(evidence.container)]),
      density_(book.stocks.size(), -1),
      systematic_(plant.instruments.size()),
      lost_density_(density_of_lost(evidence, book)) {
  add_doses();
  add_vial();
  add_densities();
  add_instruments();
  observe();
}

// ---- unknowns ------------------------------------------------------------------------------

bool VialModel::testifies(int dose) const {
  const Dose& it = evidence_.doses[at(dose)];
  return plant_.command_is_evidence && it.commanded_g && !it.aborted && it.station >= 0;
}

double VialModel::commanded(int dose) const {
  return evidence_.doses[at(dose)].commanded_g.value_or(0.0);
}

double VialModel::missed_by(int dose) const {
  const plant::Station& station = plant_.stations[at(evidence_.doses[at(dose)].station)];
  const double spread = std::hypot(station.spread_g, station.spread_rel * commanded(dose));
  // From nothing at all to twice as much; for tiny doses at least far outside the usual spread.
  return std::max(commanded(dose), 10.0 * spread);
}

void VialModel::add_doses() {
  for (int d = 0; d < doses(); ++d) {
    const Dose& dose = evidence_.doses[at(d)];
    if (testifies(d)) {
      const plant::Station& station = plant_.stations[at(dose.station)];
      add(unknowns_, *dose.commanded_g,
          square(station.spread_g) + square(station.spread_rel * *dose.commanded_g), true);
      continue;
    }
    // Anything the container holds is as likely: the moments of a uniform distribution.
    const double most = holds_g(container_, book_.stocks[at(dose.stock)].density_g_per_ml);
    add(unknowns_, 0.5 * most, square(most) / 12.0, true, true);
  }
}

void VialModel::add_vial() {
  if (has_reading(evidence_, on_scale))
    tare_ = add(unknowns_, container_.tare_g, square(container_.u_tare_g));
  if (has_reading(evidence_, [](const Reading& it) { return on_scale(it) && it.capped; }))
    cap_ = add(unknowns_, container_.cap_g, square(container_.u_cap_g));
  const bool opened = evidence_.open_s > 0.0 ||
                      has_reading(evidence_, [](const Reading& it) { return it.open_s > 0.0; });
  if (opened && (container_.open_loss_g_per_h > 0.0 || container_.u_open_loss_g_per_h > 0.0))
    loss_rate_ =
        add(unknowns_, container_.open_loss_g_per_h, square(container_.u_open_loss_g_per_h), true);
  if (!has_reading(evidence_, [](const Reading& it) { return it.kind == ReadingKind::level; }))
    return;
  diameter_ = add(unknowns_, container_.inner_diameter_mm, square(container_.u_inner_diameter_mm));
  floor_ = add(unknowns_, container_.floor_volume_ml, square(container_.u_floor_volume_ml));
}

void VialModel::add_densities() {
  for (const Dose& dose : evidence_.doses) {
    const recipe::Stock& stock = book_.stocks[at(dose.stock)];
    int& unknown = density_[at(dose.stock)];
    if (unknown < 0 && stock.u_density_g_per_ml > 0.0)
      unknown = add(unknowns_, stock.density_g_per_ml, square(stock.u_density_g_per_ml));
  }
}

/// @returns the first instrument of the plant that shares its errors with this one.
int VialModel::source_of(int instrument) const {
  const std::string& source = plant_.instruments[at(instrument)].same_source;
  if (source.empty()) return instrument;
  const auto first = std::ranges::find(plant_.instruments, source, &plant::Instrument::same_source);
  return static_cast<int>(first - plant_.instruments.begin());
}

void VialModel::add_instruments() {
  // In plant order, so that the order of the readings has no say in the order of the effects.
  std::vector<char> used(plant_.instruments.size(), 0);
  for (const Reading& it : evidence_.readings) used[at(source_of(it.instrument))] = 1;
  for (int i = 0; i < static_cast<int>(used.size()); ++i)
    if (used[at(i)] != 0) add_instrument(i);
  for (const Reading& it : evidence_.readings)
    systematic_[at(it.instrument)] = systematic_[at(source_of(it.instrument))];
}

void VialModel::add_instrument(int instrument) {
  const plant::Instrument& it = plant_.instruments[at(instrument)];
  Systematic& mine = systematic_[at(instrument)];
  mine.gain = it.gain;
  mine.offset = it.offset;
  const auto touch = [&](Effect::Kind kind, double u) {
    const int unknown = add(unknowns_, 0.0, square(u));
    effects_.push_back({{kind, instrument, -1}, unknown});
    return unknown;
  };
  const bool counts = has_reading(evidence_, [&](const Reading& reading) {
    return reading.counting_s > 0.0 && source_of(reading.instrument) == instrument;
  });
  if (it.u_gain > 0.0) mine.gain_at = touch(Effect::Kind::gain, it.u_gain);
  // Two readings of a tank are differenced, so a tank scale has no offset left.
  const bool differenced = it.kind == plant::InstrumentKind::tank_scale;
  if (differenced) mine.offset = 0.0;
  if (it.u_offset > 0.0 && !differenced) mine.offset_at = touch(Effect::Kind::offset, it.u_offset);
  if (it.u_zero_rate > 0.0 && counts)
    mine.zero_rate_at = touch(Effect::Kind::zero_rate, it.u_zero_rate);
}

Unknowns VialModel::unknowns(const Doubted& doubted) const {
  Unknowns changed = unknowns_;
  if (doubted.command >= 0)
    changed.variance[dose(doubted.command)] += square(missed_by(doubted.command));
  return changed;
}

Observed VialModel::observed(const Doubted& doubted) const {
  Observed changed = observed_;
  if (doubted.reading >= 0) changed.variance[doubted.reading] += square(blunder(doubted.reading));
  return changed;
}

// ---- readings ------------------------------------------------------------------------------

double VialModel::variance_of(const Reading& reading) const {
  const plant::Instrument& it = plant_.instruments[at(reading.instrument)];
  double absolute = square(it.repeatability) + square(it.resolution) / 12.0;
  if (reading.kind == ReadingKind::tank_loss) absolute *= 2.0;  // a reading before and one after
  return absolute + square(it.repeatability_rel * reading.value);
}

void VialModel::observe() {
  const auto count = static_cast<Index>(evidence_.readings.size());
  observed_.value.resize(count);
  observed_.variance.resize(count);
  for (Index j = 0; j < count; ++j) {
    const Reading& reading = evidence_.readings[static_cast<std::size_t>(j)];
    observed_.value[j] = reading.value;
    observed_.variance[j] = variance_of(reading);
  }
}

double VialModel::blunder(int reading) const {
  const Reading& it = evidence_.readings[at(reading)];
  const double told = plant_.instruments[at(it.instrument)].blunder;
  return told > 0.0 ? told : found_blunder(it);
}

/// Where the line file says nothing of how large a blunder is.
double VialModel::found_blunder(const Reading& reading) const {
  const double usual = 10.0 * std::sqrt(variance_of(reading));  // a blunder is no mere noise
  const double full_ml = holds_g(container_, 1.0);
  switch (reading.kind) {
    case ReadingKind::tare:
    case ReadingKind::gross:  // another vial of the same kind
      return std::max(usual, std::numbers::sqrt2 * container_.u_tare_g);
    case ReadingKind::dose:
    case ReadingKind::tank_loss:  // bubbles and lost pulses, common practice: -5 % to -30 %
      return std::max(usual, 0.2 * std::max(std::abs(reading.value), commanded(reading.dose)));
    case ReadingKind::volume:
      return std::max(usual, 0.1 * full_ml);
    case ReadingKind::level:
      break;
  }
  const double area = 0.25 * std::numbers::pi * square(container_.inner_diameter_mm);
  return std::max(usual, 100.0 * full_ml / area);  // a tenth of the height, mm
}

double VialModel::stock_density(int stock, const VectorXd& x) const {
  return value_of(density(stock), x, book_.stocks[at(stock)].density_g_per_ml);
}

double VialModel::liquid_weight(const Reading& reading, const VectorXd& x, Slope& slope) const {
  double sum = 0.0;
  const int made = std::min(reading.after_doses, doses());
  for (int d = 0; d < made; ++d) {
    const int stock = evidence_.doses[at(d)].stock;
    const double rho = stock_density(stock, x);
    const double shows = apparent(reading.air_kg_per_m3, rho);
    sum += shows * x[dose(d)];
    slope.add(dose(d), shows);
    slope.add(density(stock), x[dose(d)] * reading.air_kg_per_m3 / (1000.0 * rho * rho));
  }
  if (loss_rate_ < 0) return sum;
  const double hours = apparent(reading.air_kg_per_m3, lost_density_) * reading.open_s / 3600.0;
  slope.add(loss_rate_, -hours);
  return sum - hours * x[loss_rate_];
}

double VialModel::weighed(const Reading& reading, const VectorXd& x, Slope& slope) const {
  const double glass = apparent(reading.air_kg_per_m3, container_.density_g_per_ml);
  double sum = glass * x[tare_];
  slope.add(tare_, glass);
  if (reading.capped) {
    sum += glass * x[cap_];
    slope.add(cap_, glass);
  }
  return sum + liquid_weight(reading, x, slope);
}

double VialModel::filled(const Reading& reading, const VectorXd& x, Slope& slope) const {
  double sum = 0.0;
  const int made = std::min(reading.after_doses, doses());
  for (int d = 0; d < made; ++d) {
    const int stock = evidence_.doses[at(d)].stock;
    const double rho = stock_density(stock, x);
    sum += x[dose(d)] / rho;
    slope.add(dose(d), 1.0 / rho);
    slope.add(density(stock), -x[dose(d)] / (rho * rho));
  }
  if (loss_rate_ < 0) return sum;
  const double hours = reading.open_s / 3600.0 / lost_density_;
  slope.add(loss_rate_, -hours);
  return sum - hours * x[loss_rate_];
}

/// Height of the liquid above the inner floor, mm: 1000 mm3 a mL over the cross-section.
double VialModel::height(const Reading& reading, const VectorXd& x, Slope& slope) const {
  const double diameter = x[diameter_];
  const double per_ml = 4000.0 / (std::numbers::pi * square(diameter));
  const double above = filled(reading, x, slope) - x[floor_];
  slope.column *= per_ml;
  slope.add(floor_, -per_ml);
  slope.add(diameter_, -2.0 * per_ml * above / diameter);
  return per_ml * above;
}

double VialModel::dosed(const Reading& reading, const VectorXd& x, Slope& slope) const {
  const int unknown = dose(reading.dose), stock = evidence_.doses[at(reading.dose)].stock;
  const double rho = stock_density(stock, x);
  double shows = 1.0;
  if (reading.kind == ReadingKind::tank_loss) shows = apparent(reading.air_kg_per_m3, rho);
  if (plant_.instruments[at(reading.instrument)].kind == plant::InstrumentKind::volume_meter) {
    shows = 1.0 / rho;
    slope.add(density(stock), -x[unknown] / (rho * rho));
  }
  slope.add(unknown, shows);
  return shows * x[unknown];
}

double VialModel::measurand(const Reading& reading, const VectorXd& x, Slope& slope) const {
  switch (reading.kind) {
    case ReadingKind::dose:
    case ReadingKind::tank_loss:
      return dosed(reading, x, slope);
    case ReadingKind::volume:
      return filled(reading, x, slope);
    case ReadingKind::level:
      return height(reading, x, slope);
    case ReadingKind::tare:
    case ReadingKind::gross:
      break;
  }
  return weighed(reading, x, slope);
}

void VialModel::linearise(const VectorXd& x, VectorXd& predicted, Eigen::MatrixXd& gradient) const {
  gradient.setZero();
  for (Index j = 0; j < predicted.size(); ++j) {
    const Reading& reading = evidence_.readings[static_cast<std::size_t>(j)];
    const Systematic& error = systematic_[at(reading.instrument)];
    Slope slope{gradient.col(j)};
    const double truth = measurand(reading, x, slope);
    const double factor = 1.0 + error.gain + value_of(error.gain_at, x, 0.0);
    slope.column *= factor;
    slope.add(error.gain_at, truth);
    slope.add(error.offset_at, 1.0);
    slope.add(error.zero_rate_at, reading.counting_s);
    predicted[j] = factor * truth + error.offset + value_of(error.offset_at, x, 0.0) +
                   value_of(error.zero_rate_at, x, 0.0) * reading.counting_s;
  }
}

}  // namespace vialwright::contents
