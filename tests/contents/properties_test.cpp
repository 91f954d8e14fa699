// What must hold of any answer about any vial.
#include <gtest/gtest.h>

#include <rapidcheck/gtest.h>
#include <algorithm>

#include <Eigen/Dense>

#include "contents/drawn_vial.hpp"
#include "contents/map_estimate.hpp"

namespace vialwright {
namespace {

using support::DrawnVial;
using support::z;

DrawnVial any_vial() {
  support::Random random(*rc::gen::arbitrary<std::uint64_t>());
  return support::drawn_vial(random);
}

/// A belief without any explanation of a contradiction: that is a decision, with a threshold.
contents::Estimate plain(const DrawnVial& vial) {
  contents::Options options;
  options.false_flag = 0.0;
  return contents::estimate(vial.evidence, vial.plant, vial.book, options);
}

template <class T>
void shuffle(std::vector<T>& all, support::Random& random) {
  for (int i = static_cast<int>(all.size()) - 1; i > 0; --i)
    std::swap(all[z(i)], all[z(random.below(i + 1))]);
}

RC_GTEST_PROP(ContentsProperties, OrderOfReadingsDoesNotMatter, ()) {
  DrawnVial vial = any_vial();
  const auto before = plain(vial);
  support::Random random(*rc::gen::arbitrary<std::uint64_t>());
  shuffle(vial.evidence.readings, random);
  const auto after = plain(vial);
  RC_ASSERT(before.belief.effects == after.belief.effects);
  // Masses up to 2e4 mg, so 1e-6 is some ten digits: rounding and the last step of the iteration.
  RC_ASSERT((before.belief.mean - after.belief.mean).cwiseAbs().maxCoeff() < 1e-6);
  RC_ASSERT(std::abs(before.chi_squared - after.chi_squared) < 1e-6 * (1.0 + before.chi_squared));
}

RC_GTEST_PROP(ContentsProperties, OrderOfDosesDoesNotMatter, ()) {
  DrawnVial vial = any_vial();
  const auto before = plain(vial);
  std::vector<int> to(vial.evidence.doses.size());
  for (int d = 0; d < static_cast<int>(to.size()); ++d) to[z(d)] = d;
  support::Random random(*rc::gen::arbitrary<std::uint64_t>());
  shuffle(to, random);
  const auto doses = vial.evidence.doses;
  for (std::size_t d = 0; d < to.size(); ++d) vial.evidence.doses[z(to[d])] = doses[d];
  for (auto& reading : vial.evidence.readings)
    if (reading.dose >= 0) reading.dose = to[z(reading.dose)];
  const auto after = plain(vial);
  RC_ASSERT((before.belief.mean - after.belief.mean).cwiseAbs().maxCoeff() < 1e-6);
  for (std::size_t d = 0; d < to.size(); ++d)
    RC_ASSERT(std::abs(before.commands[d].standardised - after.commands[z(to[d])].standardised) <
              1e-6);
}

RC_GTEST_PROP(ContentsProperties, CovarianceIsSymmetricAndNotNegative, ()) {
  const auto belief = plain(any_vial()).belief;
  RC_ASSERT(belief.covariance == belief.covariance.transpose());
  const Eigen::VectorXd scale = belief.covariance.diagonal().cwiseSqrt().cwiseMax(1e-300);
  const Eigen::MatrixXd scaled =
      scale.cwiseInverse().asDiagonal() * belief.covariance * scale.cwiseInverse().asDiagonal();
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(scaled);
  RC_ASSERT(solver.eigenvalues().minCoeff() > -1e-9);  // rounding against a unit diagonal
}

RC_GTEST_PROP(ContentsProperties, NoMassIsNegative, ()) {
  const auto belief = plain(any_vial()).belief;
  for (int s = 0; s < belief.stocks; ++s) RC_ASSERT(belief.mean[belief.stock(s)] >= 0.0);
}

/// Another unit of mass and volume, `times` smaller, everywhere.
void rescale(DrawnVial& vial, double times) {
  for (auto& it : vial.plant.instruments) {
    const double by = it.kind == plant::InstrumentKind::level_gauge ? 1.0 : times;
    it.repeatability *= by;
    it.resolution *= by;
    it.offset *= by;
    it.u_offset *= by;
    it.u_zero_rate *= by;
  }
  vial.plant.stations[0].spread_g *= times;
  auto& glass = vial.plant.containers[0];
  for (double* it : {&glass.tare_g, &glass.u_tare_g, &glass.cap_g, &glass.u_cap_g,
                     &glass.brimful_ml, &glass.floor_volume_ml, &glass.u_floor_volume_ml,
                     &glass.open_loss_g_per_h, &glass.u_open_loss_g_per_h})
    *it *= times;
  glass.inner_diameter_mm *= std::sqrt(times);
  glass.u_inner_diameter_mm *= std::sqrt(times);
  for (auto& dose : vial.evidence.doses) *dose.commanded_g *= times;
  for (auto& reading : vial.evidence.readings)
    if (reading.kind != contents::ReadingKind::level) reading.value *= times;
}

RC_GTEST_PROP(ContentsProperties, AnotherUnitOfMassGivesTheSameVial, ()) {
  DrawnVial vial = any_vial();
  const auto before = plain(vial);
  const double times = 1000.0;
  rescale(vial, times);
  const auto after = plain(vial);
  const int masses = before.belief.effect(0);
  for (int axis = 0; axis < masses; ++axis) {
    const double u = before.belief.u(axis);
    // A millionth of a standard deviation: rounding.
    RC_ASSERT(std::abs(after.belief.mean[axis] - times * before.belief.mean[axis]) <=
              1e-6 * times * u);
    RC_ASSERT(std::abs(after.belief.u(axis) - times * u) <= 1e-6 * times * u);
  }
  RC_ASSERT(std::abs(after.p_value - before.p_value) < 1e-6);
}

// The noise of a reading is taken from its own value, so another reading changes nobody's weight.
// What is left is the gain: it multiplies a dose that moves, by a few parts in a thousand. Doses
// and rates near zero are left out: a new reading may rightly widen what the bound had cut.
RC_GTEST_PROP(ContentsProperties, OneMoreReadingNeverWidensAMass, ()) {
  DrawnVial vial = any_vial();
  RC_PRE(vial.evidence.readings.size() > 1);
  for (const auto& dose : vial.evidence.doses) RC_PRE(*dose.commanded_g > 0.1);
  vial.plant.containers[0].u_open_loss_g_per_h = 0.001;
  const auto after = plain(vial).belief;
  vial.evidence.readings.erase(vial.evidence.readings.begin() +
                               support::Random(*rc::gen::arbitrary<std::uint64_t>())
                                   .below(static_cast<int>(vial.evidence.readings.size())));
  const auto before = plain(vial).belief;
  for (int s = 0; s < before.stocks; ++s)
    RC_ASSERT(after.u(after.stock(s)) <= before.u(before.stock(s)) * 1.005 + 1e-12);
}

// ---- the kernel on any linear problem, where it is exact -------------------------------------

class Rows final : public contents::Response {
 public:
  explicit Rows(Eigen::MatrixXd rows) : rows_(std::move(rows)) {}
  void linearise(const Eigen::VectorXd& x, Eigen::VectorXd& predicted,
                 Eigen::MatrixXd& gradient) const override {
    predicted = rows_ * x;
    gradient = rows_.transpose();
  }

 private:
  Eigen::MatrixXd rows_;
};

RC_GTEST_PROP(MapEstimate, OneMoreReadingNeverWidensAnUnknown, ()) {
  support::Random random(*rc::gen::arbitrary<std::uint64_t>());
  const int n = 1 + random.below(8), m = 1 + random.below(8);
  contents::Unknowns unknowns;
  for (int i = 0; i < n; ++i)
    contents::add(unknowns, random.normal(), std::exp(2.0 * random.normal()));
  Eigen::MatrixXd rows(m, n);
  contents::Observed observed{Eigen::VectorXd(m), Eigen::VectorXd(m)};
  for (int j = 0; j < m; ++j) {
    for (int i = 0; i < n; ++i) rows(j, i) = random.normal();
    observed.value[j] = random.normal();
    observed.variance[j] = std::exp(2.0 * random.normal());
  }
  const auto after = contents::map_estimate(unknowns, observed, Rows(rows), 5);
  observed.value.conservativeResize(m - 1);
  observed.variance.conservativeResize(m - 1);
  const auto before = contents::map_estimate(unknowns, observed, Rows(rows.topRows(m - 1)), 5);
  for (int i = 0; i < n; ++i)
    RC_ASSERT(after.covariance(i, i) <= before.covariance(i, i) * (1.0 + 1e-9));
}

// The information form (P^-1 + H' R^-1 H) x = P^-1 mu + H' R^-1 y is another road to the same.
RC_GTEST_PROP(MapEstimate, AgreesWithTheNormalEquations, ()) {
  support::Random random(*rc::gen::arbitrary<std::uint64_t>());
  const int n = 1 + random.below(8), m = 1 + random.below(10);
  contents::Unknowns unknowns;
  Eigen::VectorXd precision(n), weights(m);
  for (int i = 0; i < n; ++i) {
    const double variance = std::exp(random.normal());
    contents::add(unknowns, random.normal(), variance);
    precision[i] = 1.0 / variance;
  }
  Eigen::MatrixXd rows(m, n);
  contents::Observed observed{Eigen::VectorXd(m), Eigen::VectorXd(m)};
  for (int j = 0; j < m; ++j) {
    for (int i = 0; i < n; ++i) rows(j, i) = random.normal();
    observed.value[j] = random.normal();
    observed.variance[j] = std::exp(random.normal());
    weights[j] = 1.0 / observed.variance[j];
  }
  const auto fit = contents::map_estimate(unknowns, observed, Rows(rows), 5);
  Eigen::MatrixXd normal = rows.transpose() * weights.asDiagonal() * rows;
  normal.diagonal() += precision;
  const Eigen::VectorXd x =
      normal.ldlt().solve(precision.cwiseProduct(unknowns.mean) +
                          rows.transpose() * weights.cwiseProduct(observed.value));
  RC_ASSERT((fit.mean - x).cwiseAbs().maxCoeff() < 1e-9);
  RC_ASSERT((fit.covariance - normal.inverse()).cwiseAbs().maxCoeff() < 1e-9);
  const double cost = (observed.value - rows * x).cwiseAbs2().dot(weights) +
                      (x - unknowns.mean).cwiseAbs2().dot(precision);
  RC_ASSERT(std::abs(fit.chi_squared - cost) < 1e-8 * (1.0 + cost));
  RC_ASSERT(fit.degrees == m);
}

}  // namespace
}  // namespace vialwright
