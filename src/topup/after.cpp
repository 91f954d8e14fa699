#include <algorithm>
#include <cmath>

#include "topup/after.hpp"
#include "topup/dosing.hpp"

namespace vialwright::topup {
namespace {

using contents::Belief;
using contents::Effect;
using Kind = contents::Effect::Kind;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// An effect that the additions bring in, at its calibrated value.
struct NewEffect {
  Effect effect;
  double u = 0.0;
};

/// The belief with room for the errors of lots and meters that have not touched the vial so far.
class Widening {
 public:
  Widening(const Belief& belief, const plant::Plant& plant, const recipe::Book& book)
      : belief_(belief), plant_(plant), book_(book) {}

  void lot(int lot) {
    const auto& strengths = book_.lots[at(lot)].strengths;
    for (int k = 0; k < belief_.components; ++k) {
      const double u = strengths[at(k)].u_mg_per_g;
      if (u > 0.0 && !find_strength(belief_, lot, k)) add({Kind::strength, lot, k}, u);
      if (u > 0.0 || strengths[at(k)].mg_per_g > 0.0) dye(k);
    }
  }
  void meter(int instrument) {
    const plant::Instrument& meter = plant_.instruments[at(instrument)];
    add_meter(Kind::gain, instrument, meter.u_gain);
    add_meter(Kind::offset, instrument, meter.u_offset);
  }

  [[nodiscard]] Belief belief() const {
    Belief wide = belief_;
    const Eigen::Index before = belief_.mean.size();
    const auto more = static_cast<Eigen::Index>(new_.size());
    wide.mean.conservativeResize(before + more);
    wide.mean.tail(more).setZero();
    wide.covariance.setZero(before + more, before + more);
    wide.covariance.topLeftCorner(before, before) = belief_.covariance;
    for (Eigen::Index e = 0; e < more; ++e) {
      const NewEffect& each = new_[static_cast<std::size_t>(e)];
      wide.effects.push_back(each.effect);
      wide.covariance(before + e, before + e) = each.u * each.u;
    }
    return wide;
  }

 private:
  /// A component's absorptivity is off by as much in what is dosed as in what is there.
  void dye(int component) {
    const recipe::Component& dye = book_.components[at(component)];
    const Effect effect{Kind::absorptivity, component, -1};
    const bool known = std::ranges::find(belief_.effects, effect) != belief_.effects.end();
    if (dye.u_absorptivity_rel > 0.0 && !dye.absorptivity.nm.empty() && !known)
      add(effect, dye.u_absorptivity_rel);
  }
  void add_meter(Kind kind, int instrument, double u) {
    if (u <= 0.0 || find_meter(belief_, kind, instrument, plant_)) return;
    const bool known = std::ranges::any_of(new_, [&](const NewEffect& each) {
      return speaks_of(each.effect, kind, instrument, plant_);
    });
    if (!known) new_.push_back({{kind, instrument, -1}, u});
  }
  void add(const Effect& effect, double u) {
    const bool known =
        std::ranges::any_of(new_, [&](const NewEffect& each) { return each.effect == effect; });
    if (!known) new_.push_back({effect, u});
  }

  const Belief& belief_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  std::vector<NewEffect> new_;
};

/// What additions do to a belief, to first order: the mean moves by `shift`; the new contents hang
/// on hidden errors (columns) and on errors of their own (`noise`).
class Change {
 public:
  Change(const Belief& belief, const plant::Plant& plant, const recipe::Book& book)
      : belief_(belief),
        plant_(plant),
        book_(book),
        shift_(Eigen::VectorXd::Zero(belief.mean.size())),
        noise_(Eigen::MatrixXd::Zero(belief.mean.size(), belief.mean.size())),
        density_(Eigen::MatrixXd::Zero(belief.mean.size(), belief.stocks)) {}

  void add(const Addition& addition);
  [[nodiscard]] Belief applied() const;

 private:
  void hangs_on(int effect, const Eigen::VectorXd& by);
  void hang_on_meter(const Dosing& dosing, double amount, const Eigen::VectorXd& gram);
  void thin(Belief& next) const;

  const Belief& belief_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  Eigen::VectorXd shift_;
  Eigen::MatrixXd noise_;
  Eigen::MatrixXd density_;  ///< (axes, stocks): what one g/mL more of a stock does
  std::vector<Eigen::Index> axes_;
  std::vector<Eigen::VectorXd> columns_;
};

void Change::hangs_on(int effect, const Eigen::VectorXd& by) {
  const Eigen::Index axis = belief_.effect(effect);
  const auto known = std::ranges::find(axes_, axis);
  if (known == axes_.end()) {
    axes_.push_back(axis);
    columns_.push_back(by);
  } else {
    columns_[static_cast<std::size_t>(known - axes_.begin())] += by;
  }
}

/// A meter that reads high stops the dose early.
void Change::hang_on_meter(const Dosing& dosing, double amount, const Eigen::VectorXd& gram) {
  const double scale = -1.0 / (1.0 + dosing.gain);
  if (const auto gain = find_meter(belief_, Kind::gain, *dosing.meter, plant_))
    hangs_on(*gain, scale * amount * gram);
  if (const auto offset = find_meter(belief_, Kind::offset, *dosing.meter, plant_))
    hangs_on(*offset, scale * dosing.g_per_unit * gram);
}

void Change::add(const Addition& addition) {
  const Dosing dosing = dosing_of(belief_, addition.station, addition.stock, plant_, book_);
  const double amount = dosing.true_amount(addition.amount_g);
  if (addition.amount_g <= 0.0 || amount <= 0.0) return;
  const recipe::Stock& stock = book_.stocks[at(addition.stock)];
  const double density = stock.density_g_per_ml;

  Eigen::VectorXd gram = Eigen::VectorXd::Zero(shift_.size());  // what one gram more does
  for (int k = 0; k < belief_.components; ++k)
    gram[belief_.component(k)] = strength(belief_, addition.lot, k, book_);
  gram[belief_.stock(addition.stock)] = 1.0;
  gram[belief_.net()] = 1.0;
  gram[belief_.volume()] = 1.0 / density;

  shift_ += amount * gram;
  noise_ += std::pow(dosing.spread(amount), 2) * gram * gram.transpose();
  if (dosing.meter) hang_on_meter(dosing, amount, gram);
  for (int k = 0; k < belief_.components; ++k) {
    const auto effect = find_strength(belief_, addition.lot, k);
    if (!effect) continue;
    hangs_on(*effect, amount * Eigen::VectorXd::Unit(shift_.size(), belief_.component(k)));
  }
  if (dosing.by_volume) density_.col(addition.stock) += amount / density * gram;
  density_(belief_.volume(), addition.stock) -= amount / (density * density);
}

/// An unknown colourant is known by its absorbance, which falls as the liquid grows. The doubt
/// about the volumes, parts in a thousand of that, is left out.
void Change::thin(Belief& next) const {
  const double volume = next.mean[next.volume()];
  if (volume <= 0.0) return;
  const double share = belief_.mean[belief_.volume()] / volume;
  for (std::size_t e = 0; e < next.effects.size(); ++e) {
    if (next.effects[e].kind != Kind::foreign) continue;
    const int axis = next.effect(static_cast<int>(e));
    next.mean[axis] *= share;
    next.covariance.row(axis) *= share;
    next.covariance.col(axis) *= share;
  }
}

/// x' = (I + U) x + shift + noise, where U has the columns of the hidden errors.
Belief Change::applied() const {
  Belief next = belief_;
  next.mean += shift_;
  const auto count = static_cast<Eigen::Index>(axes_.size());
  Eigen::MatrixXd columns(shift_.size(), count), seen(count, shift_.size());
  for (Eigen::Index c = 0; c < count; ++c) {
    columns.col(c) = columns_[static_cast<std::size_t>(c)];
    seen.row(c) = belief_.covariance.row(axes_[static_cast<std::size_t>(c)]);
  }
  Eigen::MatrixXd among(count, count);
  for (Eigen::Index c = 0; c < count; ++c)
    among.col(c) = seen.col(axes_[static_cast<std::size_t>(c)]);
  const Eigen::MatrixXd crossed = columns * seen;
  next.covariance += crossed + crossed.transpose() + columns * among * columns.transpose() + noise_;
  for (int s = 0; s < belief_.stocks; ++s) {
    const double u = book_.stocks[at(s)].u_density_g_per_ml;
    if (u > 0.0) next.covariance += u * u * density_.col(s) * density_.col(s).transpose();
  }
  thin(next);
  return next;
}

}  // namespace

contents::Belief with_effects_of(const contents::Belief& belief,
                                 const std::vector<Addition>& additions, const plant::Plant& plant,
                                 const recipe::Book& book) {
  Widening widening(belief, plant, book);
  for (const Addition& each : additions) {
    require(each.lot >= 0, "an addition names its lot");
    widening.lot(each.lot);
    const Dosing dosing = dosing_of(belief, each.station, each.stock, plant, book);
    if (dosing.meter) widening.meter(*dosing.meter);
  }
  return widening.belief();
}

Belief after(const Belief& belief, const std::vector<Addition>& additions,
             const plant::Plant& plant, const recipe::Book& book) {
  const Belief wide = with_effects_of(belief, additions, plant, book);
  Change change(wide, plant, book);
  for (const Addition& each : additions) change.add(each);
  return change.applied();
}

conformity::Probability odds_of(const Belief& belief, const recipe::Recipe& recipe,
                                const std::vector<Addition>& additions, const plant::Plant& plant,
                                const recipe::Book& book, const Options& options) {
  const Belief then = after(belief, additions, plant, book);
  const std::vector<conformity::Line> lines = conformity::lines_of(recipe, then);
  const auto colours = conformity::colour_lines_of(recipe, then, book);
  if (colours.empty())
    return conformity::probability(then.mean, then.covariance, lines, options.conformity);
  return conformity::probability(then.mean, then.covariance, lines, colours, options.conformity);
}

}  // namespace vialwright::topup
