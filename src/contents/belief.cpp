#include "contents/belief.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// A dose of an unknown lot may be of any lot of its stock: their mean, their spread and their own
/// doubt. With no lot on the books it may be anything.
recipe::Strength strength_of(const Dose& dose, int component, const recipe::Book& book) {
  if (dose.lot >= 0) return book.lots[at(dose.lot)].strengths[at(component)];
  double count = 0.0, sum = 0.0, squares = 0.0;
  for (const recipe::Lot& lot : book.lots) {
    if (lot.stock != dose.stock) continue;
    const recipe::Strength& it = lot.strengths[at(component)];
    count += 1.0;
    sum += it.mg_per_g;
    squares += it.mg_per_g * it.mg_per_g + it.u_mg_per_g * it.u_mg_per_g;
  }
  if (count == 0.0) return {500.0, 1000.0 / std::sqrt(12.0)};  // uniform from 0 to 1000 mg/g
  const double mean = sum / count;
  return {mean, std::sqrt(std::max(0.0, squares / count - mean * mean))};
}

/// A strength with doubt, shared by doses of one lot (or of one stock where the lot is unknown).
struct HiddenStrength {
  int lot = -1, stock = 0, component = 0;
  double u = 0.0;
  double mass_g = 0.0;  ///< what came with it
};

class Builder {
 public:
  Builder(const VectorXd& mean, const MatrixXd& covariance, const VialModel& model,
          const Evidence& evidence, const recipe::Book& book)
      : mean_(mean), covariance_(covariance), model_(model), evidence_(evidence), book_(book) {
    belief_.components = static_cast<int>(book.components.size());
    belief_.stocks = static_cast<int>(book.stocks.size());
    top_ = belief_.components + belief_.stocks + 2;
    rows_ = MatrixXd::Zero(top_, mean.size());
    values_ = VectorXd::Zero(top_);
  }

  Belief build() {
    for (int d = 0; d < model_.doses(); ++d) add_dose(d);
    add_loss();
    name_effects();
    fill();
    return std::move(belief_);
  }

 private:
  void add_dose(int d);
  void hide(const Dose& dose, int component, double u, double mass_g);
  void add_loss();
  void name_effects();
  void fill();
  void fill_strengths();

  const VectorXd& mean_;
  const MatrixXd& covariance_;
  const VialModel& model_;
  const Evidence& evidence_;
  const recipe::Book& book_;
  Belief belief_;
  Index top_ = 0;
  MatrixXd rows_;    ///< (top, n) how contents, net and volume hang on the unknowns
  VectorXd values_;  ///< (top)
  std::vector<HiddenStrength> hidden_;
  std::vector<Index> picked_;  ///< unknown behind each instrument effect
};

void Builder::add_dose(int d) {
  const Dose& dose = evidence_.doses[at(d)];
  const Index unknown = model_.dose(d);
  const double mass = mean_[unknown], density = model_.stock_density(dose.stock, mean_);
  for (int k = 0; k < belief_.components; ++k) {
    const recipe::Strength strength = strength_of(dose, k, book_);
    rows_(belief_.component(k), unknown) += strength.mg_per_g;
    values_[belief_.component(k)] += strength.mg_per_g * mass;
    if (strength.u_mg_per_g > 0.0) hide(dose, k, strength.u_mg_per_g, mass);
  }
  rows_(belief_.stock(dose.stock), unknown) += 1.0;
  values_[belief_.stock(dose.stock)] += mass;
  rows_(belief_.net(), unknown) += 1.0;
  values_[belief_.net()] += mass;
  rows_(belief_.volume(), unknown) += 1.0 / density;
  values_[belief_.volume()] += mass / density;
  if (const int rho = model_.density(dose.stock); rho >= 0)
    rows_(belief_.volume(), rho) -= mass / (density * density);
}

void Builder::hide(const Dose& dose, int component, double u, double mass_g) {
  const auto known = std::ranges::find_if(hidden_, [&](const HiddenStrength& it) {
    return it.lot == dose.lot && it.stock == dose.stock && it.component == component;
  });
  if (known == hidden_.end())
    hidden_.push_back({dose.lot, dose.stock, component, u, mass_g});
  else
    known->mass_g += mass_g;
}

void Builder::add_loss() {
  if (model_.loss_rate() < 0) return;
  const Index rate = model_.loss_rate();
  const double hours = evidence_.open_s / 3600.0, lost = hours * mean_[rate];
  const auto take = [&](int axis, double per_g) {
    rows_(axis, rate) -= per_g * hours;
    values_[axis] -= per_g * lost;
  };
  for (int k = 0; k < belief_.components; ++k)
    if (book_.components[at(k)].evaporates) take(belief_.component(k), 1000.0);
  take(belief_.net(), 1.0);
  take(belief_.volume(), 1.0 / model_.lost_density());
}

void Builder::name_effects() {
  std::ranges::sort(hidden_, [](const HiddenStrength& a, const HiddenStrength& b) {
    return std::tie(a.lot, a.stock, a.component) < std::tie(b.lot, b.stock, b.component);
  });
  for (const HiddenStrength& it : hidden_)
    if (it.lot >= 0) belief_.effects.push_back({Effect::Kind::strength, it.lot, it.component});
  for (const VialModel::Touching& it : model_.effects()) {
    belief_.effects.push_back(it.effect);
    picked_.push_back(it.unknown);
  }
}

void Builder::fill() {
  const auto effects = static_cast<Index>(belief_.effects.size());
  const auto instruments = static_cast<Index>(picked_.size());
  const Index strengths = effects - instruments, size = top_ + effects;
  belief_.mean = VectorXd::Zero(size);
  belief_.covariance = MatrixXd::Zero(size, size);
  const MatrixXd along = rows_ * covariance_;  // (top, n)
  belief_.mean.head(top_) = values_;
  belief_.covariance.topLeftCorner(top_, top_).noalias() = along * rows_.transpose();
  for (Index e = 0; e < instruments; ++e) {
    const Index axis = top_ + strengths + e, from = picked_[static_cast<std::size_t>(e)];
    belief_.mean[axis] = mean_[from];
    belief_.covariance.col(axis).head(top_) = along.col(from);
    belief_.covariance.row(axis).head(top_) = along.col(from).transpose();
    for (Index f = 0; f < instruments; ++f)
      belief_.covariance(axis, top_ + strengths + f) =
          covariance_(from, picked_[static_cast<std::size_t>(f)]);
  }
  fill_strengths();
  // Products round differently above and below the diagonal.
  belief_.covariance = 0.5 * (belief_.covariance + belief_.covariance.transpose()).eval();
}

/// No reading hangs on a strength, so each keeps its prior and only adds to its component.
void Builder::fill_strengths() {
  Index axis = top_;
  for (const HiddenStrength& it : hidden_) {
    const double variance = it.u * it.u;
    const Index k = belief_.component(it.component);
    belief_.covariance(k, k) += it.mass_g * it.mass_g * variance;
    if (it.lot < 0) continue;
    belief_.covariance(axis, axis) = variance;
    belief_.covariance(axis, k) = belief_.covariance(k, axis) = it.mass_g * variance;
    ++axis;
  }
}

}  // namespace

Belief belief_of(const VectorXd& mean, const MatrixXd& covariance, const VialModel& model,
                 const Evidence& evidence, const recipe::Book& book) {
  return Builder(mean, covariance, model, evidence, book).build();
}

}  // namespace vialwright::contents
