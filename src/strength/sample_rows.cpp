#include "strength/sample_rows.hpp"

#include <Eigen/Cholesky>
#include <algorithm>

namespace vialwright::strength {
namespace {

using contents::Effect;
using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using Gives = plant::ColourGauge::Gives;

std::size_t at(int i) { return static_cast<std::size_t>(i); }
double square(double x) { return x * x; }

double prior_u(const Effect& effect, const plant::Plant& plant, const recipe::Book& book) {
  switch (effect.kind) {
    case Effect::Kind::strength:
      return book.lots[at(effect.of)].strengths[at(effect.component)].u_mg_per_g;
    case Effect::Kind::absorptivity:
      return book.components[at(effect.of)].u_absorptivity_rel;
    case Effect::Kind::gain:
      return plant.instruments[at(effect.of)].u_gain;
    case Effect::Kind::offset:
      return plant.instruments[at(effect.of)].u_offset;
    case Effect::Kind::zero_rate:
      return plant.instruments[at(effect.of)].u_zero_rate;
    case Effect::Kind::foreign:
      break;
  }
  return 0.0;
}

int index_of(const Unknown& unknown, std::vector<Unknown>& unknowns) {
  const auto known =
      std::ranges::find_if(unknowns, [&](const Unknown& each) { return each.same(unknown); });
  const auto index = static_cast<int>(known - unknowns.begin());
  if (known == unknowns.end()) unknowns.push_back(unknown);
  return index;
}

Unknown of_gauge(Unknown::Kind kind, int instrument, double u, int session = 0, int axis = 0) {
  Unknown unknown;
  unknown.kind = kind;
  unknown.instrument = instrument;
  unknown.session = session;
  unknown.axis = axis;
  unknown.u = u;
  return unknown;
}

}  // namespace

bool Unknown::same(const Unknown& other) const {
  if (kind != other.kind) return false;
  if (kind == Kind::effect) return effect == other.effect;
  return instrument == other.instrument && session == other.session && axis == other.axis;
}

const mixing::Gauge& Line::gauge(int instrument, int container) {
  const auto known = gauges_.find({instrument, container});
  if (known != gauges_.end()) return known->second;
  const auto& colour = plant.instruments[at(instrument)].colour;
  require(colour.has_value(), "a colour is read by a colour gauge");
  const mixing::Gauge gauge(book, *colour, plant.containers[at(container)]);
  return gauges_.emplace(std::pair(instrument, container), gauge).first->second;
}

SampleRows::SampleRows(const Sample& sample, Line& line, std::vector<Unknown>& unknowns)
    : sample_(sample) {
  split_effects(line, unknowns);
  for (const Seen& seen : sample.seen) add_look(seen, line, unknowns);
}

/// Effects become unknowns that samples share; what is left of the doubt by weight is the sample's
/// own. The belief is Gaussian, so contents follow its effects by a regression.
void SampleRows::split_effects(const Line& line, std::vector<Unknown>& unknowns) {
  const contents::Belief& belief = sample_.by_weight;
  for (int e = 0; e < static_cast<int>(belief.effects.size()); ++e) {
    const Effect& effect = belief.effects[at(e)];
    const double u = prior_u(effect, line.plant, line.book);
    if (!(u > 0.0) || !(belief.u(belief.effect(e)) > 0.0)) continue;
    Unknown unknown;
    unknown.effect = effect;
    unknown.u = u;
    effects_.push_back(index_of(unknown, unknowns));
    axes_.push_back(belief.effect(e));
  }
  if (axes_.empty()) {
    follow_ = MatrixXd::Zero(belief.mean.size(), 0);
    by_weight_ = belief.covariance;
    return;
  }
  const MatrixXd with = belief.covariance(Eigen::all, axes_);
  const MatrixXd own = belief.covariance(axes_, axes_);
  const VectorXd scale = own.diagonal().cwiseSqrt().cwiseInverse();
  const Eigen::LDLT<MatrixXd> factor(scale.asDiagonal() * own * scale.asDiagonal());
  follow_ = scale.asDiagonal() * factor.solve(scale.asDiagonal() * with.transpose());
  follow_.transposeInPlace();
  by_weight_ = belief.covariance - follow_ * with.transpose();
}

void SampleRows::add_look(const Seen& seen, Line& line, std::vector<Unknown>& unknowns) {
  Look look{line.gauge(seen.instrument, sample_.container),
            &line.plant.instruments[at(seen.instrument)], read_.size()};
  const plant::ColourGauge& gauge = *look.instrument->colour;
  const auto values = static_cast<Index>(seen.values.size());
  require(values == look.gauge.values(), "as many values as the gauge gives");
  read_.conservativeResize(look.first + values);
  read_.tail(values) = Eigen::Map<const VectorXd>(seen.values.data(), values);
  using Kind = Unknown::Kind;
  if (gauge.path_cm > 0.0 && gauge.u_path_rel > 0.0)
    look.path = index_of(of_gauge(Kind::path, seen.instrument, gauge.u_path_rel), unknowns);
  if (gauge.u_stray_light > 0.0)
    look.stray = index_of(of_gauge(Kind::stray, seen.instrument, gauge.u_stray_light), unknowns);
  if (gauge.u_session > 0.0) {
    look.biases = gauge.gives == Gives::spectrum ? 1 : static_cast<int>(values);
    for (int axis = 0; axis < look.biases; ++axis) {
      const int bias = index_of(
          of_gauge(Kind::session, seen.instrument, gauge.u_session, seen.session, axis), unknowns);
      if (axis == 0) look.bias = bias;
    }
  }
  looks_.push_back(std::move(look));
}

void SampleRows::show(const Look& look, const VectorXd& amounts, const MatrixXd& by_effects,
                      const VectorXd& unknowns, Linear& linear, MatrixXd& by_amounts,
                      VectorXd& by_path) const {
  mixing::Gauge::Light light;
  if (look.path >= 0) light.path += unknowns[look.path];
  light.stray = look.instrument->colour->stray_light;
  if (look.stray >= 0) light.stray += unknowns[look.stray];
  VectorXd shown;
  mixing::Gauge::Slopes slopes;
  look.gauge.show(amounts, light, shown, &slopes);
  const Index count = shown.size();
  auto design = linear.design.middleRows(look.first, count);
  for (std::size_t e = 0; e < effects_.size(); ++e)
    design.col(effects_[e]) = slopes.amounts * by_effects.col(static_cast<Index>(e));
  if (look.path >= 0) design.col(look.path) = slopes.path;
  if (look.stray >= 0) design.col(look.stray) = slopes.stray;
  for (int axis = 0; axis < look.biases; ++axis) {
    if (look.biases == 1)
      design.col(look.bias).setOnes(), shown.array() += unknowns[look.bias];
    else
      design(axis, look.bias + axis) = 1.0, shown[axis] += unknowns[look.bias + axis];
  }
  linear.shown.segment(look.first, count) = shown;
  by_amounts.middleRows(look.first, count) = slopes.amounts;
  const bool through_the_vial = look.instrument->colour->path_cm <= 0.0;
  if (through_the_vial)
    by_path.segment(look.first, count) = look.instrument->colour->u_path_rel * slopes.path;
}

void SampleRows::add_own_noise(const Look& look, Linear& linear) const {
  const plant::Instrument& it = *look.instrument;
  const Index count = look.gauge.values();
  const VectorXd random =
      (square(it.repeatability) +
       square(it.repeatability_rel) * read_.segment(look.first, count).array().square())
          .sqrt();
  const double together = it.colour->gives == Gives::spectrum ? 0.0 : it.colour->axis_correlation;
  auto noise = linear.noise.block(look.first, look.first, count, count);
  noise += together * random * random.transpose();
  noise.diagonal() += (1.0 - together) * random.cwiseAbs2();
  noise.diagonal().array() += square(it.resolution) / 12.0;
}

Linear SampleRows::linearise(const VectorXd& unknowns) const {
  const contents::Belief& belief = sample_.by_weight;
  VectorXd x = belief.mean;
  for (std::size_t e = 0; e < effects_.size(); ++e)
    x += follow_.col(static_cast<Index>(e)) * (unknowns[effects_[e]] - belief.mean[axes_[e]]);
  MatrixXd by_axes;
  const VectorXd amounts = contents::colouring(belief, x, &by_axes).head(belief.components);
  by_axes.conservativeResize(belief.components, Eigen::NoChange);
  Linear linear;
  linear.shown.resize(read_.size());
  linear.design.setZero(read_.size(), unknowns.size());
  MatrixXd by_amounts(read_.size(), belief.components);
  VectorXd by_path = VectorXd::Zero(read_.size());
  const MatrixXd by_effects = by_axes * follow_;
  for (const Look& look : looks_)
    show(look, amounts, by_effects, unknowns, linear, by_amounts, by_path);
  const MatrixXd slopes = by_amounts * by_axes;
  linear.noise = slopes * by_weight_ * slopes.transpose() + by_path * by_path.transpose();
  for (const Look& look : looks_) add_own_noise(look, linear);
  linear.noise = (0.5 * (linear.noise + linear.noise.transpose())).eval();
  return linear;
}

bool SampleRows::holds(const Effect& effect) const {
  const contents::Belief& belief = sample_.by_weight;
  return std::ranges::any_of(
      axes_, [&](int axis) { return belief.effects[at(axis - belief.effect(0))] == effect; });
}

}  // namespace vialwright::strength
