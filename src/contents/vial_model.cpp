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

Moment moment_of(const Reading& reading) {
  return {reading.after_doses, reading.open_s, reading.days};
}

}  // namespace

VialModel::VialModel(const Evidence& evidence, const plant::Plant& plant, const recipe::Book& book,
                     const Doubted& doubted, bool whole)
    : evidence_(evidence),
      plant_(plant),
      book_(book),
      container_(plant.containers[at(evidence.container)]),
      doubted_(doubted),
      liquid_(evidence, book),
      systematic_(plant.instruments.size()) {
  add_doses();
  add_vial();
  add_densities();
  add_instruments();
  colour_ = colour_part(evidence, plant, book, doubted, whole, unknowns_, liquid_);
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
  for (int d = 0; d < doses(); ++d) liquid_.dose_at.push_back(dose(d));
  if (doubted_.command >= 0)
    unknowns_.variance[dose(doubted_.command)] += square(missed_by(doubted_.command));
}

void VialModel::add_vial() {
  if (has_reading(evidence_, on_scale))
    tare_ = add(unknowns_, container_.tare_g, square(container_.u_tare_g));
  if (has_reading(evidence_, [](const Reading& it) { return on_scale(it) && it.capped; }))
    cap_ = add(unknowns_, container_.cap_g, square(container_.u_cap_g));
  const bool opened = evidence_.open_s > 0.0 ||
                      has_reading(evidence_, [](const Reading& it) { return it.open_s > 0.0; });
  if (opened && (container_.open_loss_g_per_h > 0.0 || container_.u_open_loss_g_per_h > 0.0))
    liquid_.loss_rate_at =
        add(unknowns_, container_.open_loss_g_per_h, square(container_.u_open_loss_g_per_h), true);
  if (!has_reading(evidence_, [](const Reading& it) { return it.kind == ReadingKind::level; }))
    return;
  diameter_ = add(unknowns_, container_.inner_diameter_mm, square(container_.u_inner_diameter_mm));
  floor_ = add(unknowns_, container_.floor_volume_ml, square(container_.u_floor_volume_ml));
}

void VialModel::add_densities() {
  for (const Dose& dose : evidence_.doses) {
    const recipe::Stock& stock = book_.stocks[at(dose.stock)];
    int& unknown = liquid_.density_at[at(dose.stock)];
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
  for (const Reading& it : evidence_.readings)
    if (it.kind != ReadingKind::colour) used[at(source_of(it.instrument))] = 1;
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
    effects_.push_back({{kind, instrument, -1}, unknown, u});
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

// ---- readings ------------------------------------------------------------------------------

double VialModel::variance_of(const Reading& reading) const {
  const plant::Instrument& it = plant_.instruments[at(reading.instrument)];
  double absolute = square(it.repeatability) + square(it.resolution) / 12.0;
  if (reading.kind == ReadingKind::tank_loss) absolute *= 2.0;  // a reading before and one after
  return absolute + square(it.repeatability_rel * reading.value);
}

/// A colour reading has as many rows as it has something to say, each to be compared with zero.
void VialModel::observe() {
  rows_.resize(evidence_.readings.size());
  Index count = 0;
  std::size_t next = 0;
  for (int j = 0; j < readings(); ++j) {
    const bool colour = evidence_.readings[at(j)].kind == ReadingKind::colour;
    const bool counts = colour && colour_.reasons[at(j)].empty();
    rows_[at(j)] = {count, colour ? (counts ? colour_.rows[next++].rows() : 0) : 1};
    count += rows_[at(j)].count;
  }
  observed_.value = VectorXd::Zero(count);
  observed_.variance = VectorXd::Ones(count);
  for (int j = 0; j < readings(); ++j) {
    const Reading& reading = evidence_.readings[at(j)];
    if (reading.kind == ReadingKind::colour) continue;
    const Index row = rows(j).first;
    observed_.value[row] = reading.value;
    observed_.variance[row] = variance_of(reading);
    if (doubted_.reading == j) observed_.variance[row] += square(blunder(j));
  }
}

double VialModel::blunder(int reading) const {
  const Reading& it = evidence_.readings[at(reading)];
  if (it.kind == ReadingKind::colour) return blunder_of(plant_.instruments[at(it.instrument)]);
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
    case ReadingKind::colour:
      break;
  }
  const double area = 0.25 * std::numbers::pi * square(container_.inner_diameter_mm);
  return std::max(usual, 100.0 * full_ml / area);  // a tenth of the height, mm
}

double VialModel::liquid_weight(const Reading& reading, const VectorXd& x, Slope& slope) const {
  double sum = 0.0;
  for (int d = 0; d < liquid_.doses(); ++d) {
    if (!liquid_.holds(d, moment_of(reading))) continue;
    const int stock = liquid_.dose(d).stock, unknown = liquid_.dose_at[at(d)];
    const double rho = liquid_.density(stock, x);
    const double shows = apparent(reading.air_kg_per_m3, rho);
    sum += shows * x[unknown];
    slope.add(unknown, shows);
    slope.add(liquid_.density_at[at(stock)],
              x[unknown] * reading.air_kg_per_m3 / (1000.0 * rho * rho));
  }
  const int rate = liquid_.loss_rate_at;
  if (rate < 0) return sum;
  const double hours =
      apparent(reading.air_kg_per_m3, liquid_.lost_density()) * reading.open_s / 3600.0;
  slope.add(rate, -hours);
  return sum - hours * x[rate];
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

/// Height of the liquid above the inner floor, mm: 1000 mm3 a mL over the cross-section.
double VialModel::height(const Reading& reading, const VectorXd& x, Slope& slope) const {
  const double diameter = x[diameter_];
  const double per_ml = 4000.0 / (std::numbers::pi * square(diameter));
  const double above = liquid_.volume_ml(moment_of(reading), x, slope) - x[floor_];
  slope.column *= per_ml;
  slope.add(floor_, -per_ml);
  slope.add(diameter_, -2.0 * per_ml * above / diameter);
  return per_ml * above;
}

double VialModel::dosed(const Reading& reading, const VectorXd& x, Slope& slope) const {
  const int unknown = dose(reading.dose), stock = evidence_.doses[at(reading.dose)].stock;
  const double rho = liquid_.density(stock, x);
  double shows = 1.0;
  if (reading.kind == ReadingKind::tank_loss) shows = apparent(reading.air_kg_per_m3, rho);
  if (plant_.instruments[at(reading.instrument)].kind == plant::InstrumentKind::volume_meter) {
    shows = 1.0 / rho;
    slope.add(liquid_.density_at[at(stock)], -x[unknown] / (rho * rho));
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
      return liquid_.volume_ml(moment_of(reading), x, slope);
    case ReadingKind::level:
      return height(reading, x, slope);
    case ReadingKind::tare:
    case ReadingKind::gross:
    case ReadingKind::colour:
      break;
  }
  return weighed(reading, x, slope);
}

/// What the instrument shows of it, noise apart.
double VialModel::shown(const Reading& reading, const VectorXd& x, Slope& slope) const {
  const Systematic& error = systematic_[at(reading.instrument)];
  const double truth = measurand(reading, x, slope);
  const double factor = 1.0 + error.gain + value_of(error.gain_at, x, 0.0);
  slope.column *= factor;
  slope.add(error.gain_at, truth);
  slope.add(error.offset_at, 1.0);
  slope.add(error.zero_rate_at, reading.counting_s);
  return factor * truth + error.offset + value_of(error.offset_at, x, 0.0) +
         value_of(error.zero_rate_at, x, 0.0) * reading.counting_s;
}

double VialModel::linearise_all(const VectorXd& x, VectorXd& predicted,
                                Eigen::MatrixXd& gradient) const {
  gradient.setZero();
  for (int j = 0; j < readings(); ++j) {
    const Reading& reading = evidence_.readings[at(j)];
    if (reading.kind == ReadingKind::colour) continue;
    Slope slope{gradient.col(rows(j).first)};
    predicted[rows(j).first] = shown(reading, x, slope);
  }
  double left = 0.0;
  for (std::size_t i = 0; i < colour_.rows.size(); ++i) {
    const Rows& at_rows = rows(colour_.reading[i]);
    left += colour_.rows[i].linearise(liquid_, colour_.dyes, x,
                                      predicted.segment(at_rows.first, at_rows.count),
                                      gradient.middleCols(at_rows.first, at_rows.count));
  }
  return left;
}

Eigen::MatrixXd VialModel::by_value(int colour_reading) const {
  const auto which = std::ranges::find(colour_.reading, colour_reading) - colour_.reading.begin();
  const ColourRows& it = colour_.rows[static_cast<std::size_t>(which)];
  Eigen::MatrixXd all = Eigen::MatrixXd::Zero(observed_.value.size(), it.values());
  all.middleRows(rows(colour_reading).first, it.values()) = it.whitening();
  return all;
}

Eigen::MatrixXd VialModel::by_remainder() const {
  Index bands = 0;
  for (const ColourRows& it : colour_.rows) bands += it.by_remainder().cols();
  Eigen::MatrixXd all = Eigen::MatrixXd::Zero(observed_.value.size(), bands);
  bands = 0;
  for (std::size_t i = 0; i < colour_.rows.size(); ++i) {
    const Eigen::MatrixXd own = colour_.rows[i].by_remainder();
    all.block(rows(colour_.reading[i]).first, bands, own.rows(), own.cols()) = own;
    bands += own.cols();
  }
  return all;
}

}  // namespace vialwright::contents
