#include "contents/belief.hpp"

#include <algorithm>
#include <cmath>
#include <tuple>

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// A strength that came with some mass. Where no reading hangs on it, it keeps its prior and only
/// adds to its component.
struct Brought {
  DoubtedStrength strength;
  double mass_g = 0.0;  ///< what came with it and has not faded
};

/// An unknown behind an effect.
struct Picked {
  int unknown = -1;
  double u = 0.0;      ///< of the prior, where there is no unknown
  double scale = 1.0;  ///< the effect's unit over the unknown's
};

class Builder {
 public:
  Builder(const VectorXd& mean, const MatrixXd& covariance, const VialModel& model,
          const recipe::Book& book)
      : mean_(mean),
        covariance_(covariance),
        model_(model),
        liquid_(model.liquid()),
        book_(book),
        now_{liquid_.planned(), model.evidence().open_s, model.evidence().days} {
    belief_.components = static_cast<int>(book.components.size());
    belief_.stocks = static_cast<int>(book.stocks.size());
    top_ = belief_.components + belief_.stocks + 2;
    rows_ = MatrixXd::Zero(mean.size(), top_);
    values_ = VectorXd::Zero(top_);
  }

  Belief build() {
    for (int d = 0; d < liquid_.doses(); ++d) add_dose(d);
    for (int k = 0; k < belief_.components; ++k) {
      Slope slope{rows_.col(belief_.component(k))};
      values_[belief_.component(k)] = liquid_.component_mg(k, now_, mean_, slope);
    }
    add_loss();
    name_effects();
    fill();
    return std::move(belief_);
  }

 private:
  void add_dose(int d);
  void bring(int d, int component);
  void add_loss();
  void name_effects();
  void fill();
  void fill_effect(Index axis, const Picked& from, const MatrixXd& along);
  void fill_hidden();

  const VectorXd& mean_;
  const MatrixXd& covariance_;
  const VialModel& model_;
  const Liquid& liquid_;
  const recipe::Book& book_;
  Moment now_;
  Belief belief_;
  Index top_ = 0;
  MatrixXd rows_;    ///< (n, top) how contents, net and volume hang on the unknowns
  VectorXd values_;  ///< (top)
  std::vector<Brought> brought_;
  std::vector<Picked> picked_;  ///< beside the effects
};

void Builder::add_dose(int d) {
  const int stock = liquid_.dose(d).stock;
  const Index unknown = liquid_.dose_at[at(d)];
  const double mass = mean_[unknown], density = liquid_.density(stock, mean_);
  for (int k = 0; k < belief_.components; ++k) bring(d, k);
  rows_(unknown, belief_.stock(stock)) += 1.0;
  values_[belief_.stock(stock)] += mass;
  rows_(unknown, belief_.net()) += 1.0;
  values_[belief_.net()] += mass;
  rows_(unknown, belief_.volume()) += 1.0 / density;
  values_[belief_.volume()] += mass / density;
  if (const int rho = liquid_.density_at[at(stock)]; rho >= 0)
    rows_(rho, belief_.volume()) -= mass / (density * density);
}

void Builder::bring(int d, int component) {
  const Dose& dose = liquid_.dose(d);
  const double u = strength_of(dose, component, book_).u_mg_per_g;
  if (!(u > 0.0)) return;
  const double left = std::exp(-liquid_.rate(component, mean_) * liquid_.age(d, now_)) *
                      mean_[liquid_.dose_at[at(d)]];
  const auto known = std::ranges::find_if(
      brought_, [&](const Brought& it) { return it.strength.is_of(dose, component); });
  if (known != brought_.end())
    known->mass_g += left;
  else
    brought_.push_back(
        {{dose.lot, dose.stock, component, u, liquid_.strength_at(d, component)}, left});
}

void Builder::add_loss() {
  if (model_.loss_rate() < 0) return;
  const Index rate = model_.loss_rate();
  const double hours = now_.open_s / 3600.0, lost = hours * mean_[rate];
  const auto take = [&](int axis, double per_g) {
    rows_(rate, axis) -= per_g * hours;
    values_[axis] -= per_g * lost;
  };
  take(belief_.net(), 1.0);
  take(belief_.volume(), 1.0 / liquid_.lost_density());
}

/// What the amplitudes of an unknown colourant are meant in may have shrunk since.
double foreign_scale(const VialModel& model, const VectorXd& mean, const Moment& now) {
  VectorXd unused = VectorXd::Zero(mean.size());
  Slope slope{unused};
  return model.colour().dyes.foreign_ml / model.liquid().volume_ml(now, mean, slope);
}

void Builder::name_effects() {
  std::ranges::sort(brought_, [](const Brought& a, const Brought& b) {
    const DoubtedStrength &one = a.strength, &other = b.strength;
    return std::tie(one.lot, one.stock, one.component) <
           std::tie(other.lot, other.stock, other.component);
  });
  const auto name = [&](const Effect& effect, const Picked& from) {
    belief_.effects.push_back(effect);
    picked_.push_back(from);
  };
  for (const Brought& it : brought_)
    if (it.strength.lot >= 0)
      name({Effect::Kind::strength, it.strength.lot, it.strength.component},
           {it.strength.unknown, it.strength.u});
  for (const Touching& it : model_.effects()) name(it.effect, {it.unknown, it.u});
  for (const Touching& it : model_.colour().effects) {
    const bool foreign = it.effect.kind == Effect::Kind::foreign;
    name(it.effect, {it.unknown, it.u, foreign ? foreign_scale(model_, mean_, now_) : 1.0});
  }
}

void Builder::fill() {
  const auto effects = static_cast<Index>(belief_.effects.size());
  const Index size = top_ + effects;
  belief_.mean = VectorXd::Zero(size);
  belief_.covariance = MatrixXd::Zero(size, size);
  const MatrixXd along = rows_.transpose() * covariance_;  // (top, n)
  belief_.mean.head(top_) = values_;
  belief_.covariance.topLeftCorner(top_, top_).noalias() = along * rows_;
  for (Index e = 0; e < effects; ++e)
    fill_effect(top_ + e, picked_[at(static_cast<int>(e))], along);
  fill_hidden();
  // Products round differently above and below the diagonal.
  belief_.covariance = 0.5 * (belief_.covariance + belief_.covariance.transpose()).eval();
}

void Builder::fill_effect(Index axis, const Picked& from, const MatrixXd& along) {
  if (from.unknown < 0) {
    belief_.covariance(axis, axis) = from.u * from.u;
    return;
  }
  belief_.mean[axis] = from.scale * mean_[from.unknown];
  belief_.covariance.col(axis).head(top_) = from.scale * along.col(from.unknown);
  belief_.covariance.row(axis).head(top_) = from.scale * along.col(from.unknown).transpose();
  for (Index f = 0; top_ + f < belief_.mean.size(); ++f) {
    const Picked& other = picked_[at(static_cast<int>(f))];
    if (other.unknown >= 0)
      belief_.covariance(axis, top_ + f) =
          from.scale * other.scale * covariance_(from.unknown, other.unknown);
  }
}

/// Strengths that no reading hangs on.
void Builder::fill_hidden() {
  Index axis = top_;
  for (const Brought& it : brought_) {
    const double variance = it.strength.u * it.strength.u;
    const Index k = belief_.component(it.strength.component);
    const bool named = it.strength.lot >= 0;
    if (it.strength.unknown < 0) {
      belief_.covariance(k, k) += it.mass_g * it.mass_g * variance;
      if (named) belief_.covariance(axis, k) = belief_.covariance(k, axis) = it.mass_g * variance;
    }
    if (named) ++axis;
  }
}

}  // namespace

Belief belief_of(const VectorXd& mean, const MatrixXd& covariance, const VialModel& model,
                 const recipe::Book& book) {
  return Builder(mean, covariance, model, book).build();
}

}  // namespace vialwright::contents
