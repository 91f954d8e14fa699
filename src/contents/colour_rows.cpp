#include "contents/colour_rows.hpp"

#include <Eigen/Cholesky>
#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "contents/prepared_gauge.hpp"

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using Gives = plant::ColourGauge::Gives;

std::size_t at(int i) { return static_cast<std::size_t>(i); }
double square(double x) { return x * x; }

std::size_t values_of(const plant::ColourGauge& gauge) {
  if (gauge.gives == Gives::spectrum) return at(gauge.bands.size());
  return gauge.gives == Gives::lab ? 3 : gauge.channels.size();
}

VectorXd as_vector(const std::vector<double>& values) {
  return Eigen::Map<const VectorXd>(values.data(), static_cast<Index>(values.size()));
}

}  // namespace

std::string no_evidence(const Reading& reading, const Evidence& evidence, const plant::Plant& plant,
                        const recipe::Book& book, const VectorXd& stock_g) {
  const plant::Instrument& instrument = plant.instruments[at(reading.instrument)];
  if (!instrument.colour) return "its instrument is no colour gauge";
  const std::size_t wanted = values_of(*instrument.colour);
  if (reading.values.size() != wanted)
    return "it has " + std::to_string(reading.values.size()) + " values where its gauge gives " +
           std::to_string(wanted);
  for (std::size_t i = 0; i < wanted; ++i)
    if (!std::isfinite(reading.values[i]))
      return "value " + std::to_string(i + 1) + " of it is not a number";
  if (reading.after_doses <= 0 || evidence.doses.empty()) return "nothing had been dosed by then";
  if (!reading.mixed) return "the vial had not been mixed since its last dose";
  if (reading.cloudy)
    return "the liquid was seen to be cloudy: the law of absorption does not hold";
  return mixing::doubt_about(book, stock_g);
}

double blunder_of(const plant::Instrument& gauge) {
  if (gauge.blunder > 0.0) return gauge.blunder;
  // Glare, a fingerprint, another vial: common practice. Never mere noise.
  const double usual = gauge.colour->gives == Gives::lab ? 10.0 : 0.3;
  return std::max(usual, 10.0 * gauge.repeatability);
}

ColourRows::ColourRows(const Reading& reading, const plant::Plant& plant, const recipe::Book& book,
                       const plant::Container& container, const ColourNuisance& nuisance,
                       const Dyes& dyes, const MoreDoubt& more, bool whole)
    : gauge_(prepared_gauge(book, *plant.instruments[at(reading.instrument)].colour, container)),
      nuisance_(nuisance),
      moment_{reading.after_doses, reading.open_s, reading.days},
      read_(as_vector(reading.values)),
      stray_(plant.instruments[at(reading.instrument)].colour->stray_light),
      components_(static_cast<int>(book.components.size())) {
  const plant::Instrument& instrument = plant.instruments[at(reading.instrument)];
  if (instrument.colour->gives == Gives::spectrum && (whole || more.remainder > 0.0))
    set_remainder(*instrument.colour, container);
  set_noise(instrument, more);
  seen_ =
      dyes.count() + (nuisance.path < 0 ? 0 : 1) + (nuisance.stray < 0 ? 0 : 1) + nuisance.biases;
  rows_ = whole ? values() : std::min(values(), seen_);
}

/// A band narrower than the foreign shapes leaves a wiggle about as wide as itself; 1 % of it is
/// each band's own.
void ColourRows::set_remainder(const plant::ColourGauge& gauge, const plant::Container& container) {
  constexpr double smooth_nm = 18.0;
  const double path_cm = gauge.path_cm > 0.0 ? gauge.path_cm : 0.1 * container.inner_diameter_mm;
  VectorXd per_cm = VectorXd::Constant(values(), path_cm);
  if (!gauge.absorbance) per_cm = (std::numbers::ln10 * path_cm) * read_;
  MatrixXd alike(values(), values());
  for (int a = 0; a < values(); ++a)
    for (int b = 0; b < values(); ++b)
      alike(a, b) = std::exp(-0.5 * square((gauge.bands.at(a) - gauge.bands.at(b)) / smooth_nm));
  alike.diagonal().array() += 0.01;
  remainder_ = per_cm.asDiagonal() * Eigen::LLT<MatrixXd>(alike).matrixL().toDenseMatrix();
}

void ColourRows::set_noise(const plant::Instrument& instrument, const MoreDoubt& more) {
  const plant::ColourGauge& gauge = *instrument.colour;
  const double own = square(instrument.resolution) / 12.0 + square(more.blunder);
  const VectorXd shared = (square(instrument.repeatability) +
                           square(instrument.repeatability_rel) * read_.array().square())
                              .matrix();
  sd_ = (own + shared.array()).sqrt();
  const bool apart = gauge.axis_correlation == 0.0 || gauge.gives == Gives::spectrum;
  const bool remains = more.remainder > 0.0 && remainder_.size() > 0;
  if (apart && !remains) return;
  const VectorXd root = shared.cwiseSqrt();
  MatrixXd covariance = MatrixXd::Zero(values(), values());
  if (!apart) covariance = gauge.axis_correlation * root * root.transpose();
  covariance.diagonal() = sd_.cwiseAbs2();
  if (remains) covariance += square(more.remainder) * remainder_ * remainder_.transpose();
  whiten_ =
      Eigen::LLT<MatrixXd>(covariance).matrixL().solve(MatrixXd::Identity(values(), values()));
}

MatrixXd ColourRows::whitening() const {
  if (whiten_.size() > 0) return whiten_;
  return sd_.cwiseInverse().asDiagonal();
}

MatrixXd ColourRows::by_remainder() const {
  MatrixXd columns = remainder_;
  if (columns.size() == 0) return MatrixXd(values(), 0);
  whiten(columns);
  return columns;
}

void ColourRows::whiten(Eigen::Ref<MatrixXd> columns) const {
  if (whiten_.size() > 0)
    columns = (whiten_ * columns).eval();
  else
    columns.array().colwise() /= sd_.array();
}

mixing::Gauge::Light ColourRows::light(const VectorXd& x) const {
  mixing::Gauge::Light light;
  if (nuisance_.path >= 0) light.path += nuisance_.u_path * x[nuisance_.path];
  light.stray = nuisance_.stray < 0 ? stray_ : x[nuisance_.stray];
  return light;
}

void ColourRows::subtract_bias(const VectorXd& x, VectorXd& misfit) const {
  if (nuisance_.biases == 1)
    misfit.array() -= x[nuisance_.bias];
  else if (nuisance_.biases > 1)
    misfit -= x.segment(nuisance_.bias, nuisance_.biases);
}

/// In mixing's order, no longer than need be.
VectorXd ColourRows::amounts(const Dyes& dyes, const VectorXd& values, bool foreign) const {
  const bool all = foreign || dyes.foreign_at >= 0;
  VectorXd amounts = VectorXd::Zero(components_ + (all ? mixing::foreign_shapes : 0));
  for (int i = 0; i < dyes.count(); ++i) amounts[dyes.amount(i, components_)] = values[i];
  return amounts;
}

/// What is shown and how it hangs, whitened, on dyes, path, stray light and biases; and how those
/// hang on the unknowns.
struct ColourRows::Seen {
  VectorXd shown, misfit;
  MatrixXd slopes, by_unknowns;  ///< (values, seen), (unknowns, seen)
};

void ColourRows::slopes_of_nuisance(const mixing::Gauge::Slopes& slopes, Seen& seen,
                                    int column) const {
  const auto next = [&](int unknown) {
    seen.by_unknowns(unknown, column) = 1.0;
    return column++;
  };
  if (nuisance_.path >= 0) seen.slopes.col(next(nuisance_.path)) = nuisance_.u_path * slopes.path;
  if (nuisance_.stray >= 0) seen.slopes.col(next(nuisance_.stray)) = slopes.stray;
  if (nuisance_.biases == 0) return;
  if (nuisance_.biases == 1)
    seen.slopes.rightCols(1).setOnes();
  else
    seen.slopes.rightCols(nuisance_.biases).setIdentity();
  for (int i = 0; i < nuisance_.biases; ++i) next(nuisance_.bias + i);
}

/// @param foreign (values, shapes) slopes by an unknown colourant, or nullptr.
void ColourRows::see(const Liquid& liquid, const Dyes& dyes, const VectorXd& x, Seen& seen,
                     MatrixXd* foreign) const {
  VectorXd amounts;
  MatrixXd by_dyes;
  dyes.linearise(liquid, moment_, x, amounts, by_dyes);
  mixing::Gauge::Slopes slopes;
  gauge_.show(this->amounts(dyes, amounts, foreign != nullptr), light(x), seen.shown, &slopes);
  subtract_bias(x, seen.misfit = read_ - seen.shown);
  seen.slopes.resize(values(), seen_);
  seen.by_unknowns.setZero(x.size(), seen_);
  seen.by_unknowns.leftCols(dyes.count()) = by_dyes;
  for (int i = 0; i < dyes.count(); ++i)
    seen.slopes.col(i) = slopes.amounts.col(dyes.amount(i, components_));
  slopes_of_nuisance(slopes, seen, dyes.count());
  whiten(seen.misfit);
  whiten(seen.slopes);
  if (foreign == nullptr) return;
  *foreign = slopes.amounts.rightCols(mixing::foreign_shapes);
  whiten(*foreign);
}

double ColourRows::linearise(const Liquid& liquid, const Dyes& dyes, const VectorXd& x,
                             Eigen::Ref<VectorXd> predicted, Eigen::Ref<MatrixXd> gradient) const {
  Seen seen;
  see(liquid, dyes, x, seen, nullptr);
  if (rows_ == 0) return seen.misfit.squaredNorm();
  if (rows_ == values()) {
    predicted = -seen.misfit;
    gradient.noalias() = seen.by_unknowns * seen.slopes.transpose();
    return 0.0;
  }
  const Eigen::HouseholderQR<MatrixXd> turned(seen.slopes);
  const VectorXd misfit = turned.householderQ().adjoint() * seen.misfit;
  predicted = -misfit.head(rows_);
  const MatrixXd upper = turned.matrixQR().topRows(rows_).triangularView<Eigen::Upper>();
  gradient.noalias() = seen.by_unknowns * upper.transpose();
  return misfit.tail(values() - rows_).squaredNorm();
}

ColourRows::Beyond ColourRows::beyond(const Liquid& liquid, const Dyes& dyes,
                                      const VectorXd& x) const {
  Seen seen;
  Beyond beyond;
  see(liquid, dyes, x, seen, &beyond.foreign);
  beyond.shown = seen.shown;
  if (rows_ == values()) {
    beyond.turn = MatrixXd::Identity(values(), values());
    beyond.left = VectorXd::Zero(values());
    return beyond;
  }
  if (rows_ == 0) {  // clear solvent, and nothing else in doubt
    beyond.turn.resize(values(), 0);
    beyond.left = seen.misfit;
    return beyond;
  }
  const Eigen::HouseholderQR<MatrixXd> turned(seen.slopes);
  beyond.turn = turned.householderQ() * MatrixXd::Identity(values(), rows_);
  beyond.left = seen.misfit - beyond.turn * (beyond.turn.transpose() * seen.misfit);
  return beyond;
}

}  // namespace vialwright::contents
