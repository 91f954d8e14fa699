#include <Eigen/Core>

#include "strength/strength.hpp"

namespace vialwright::strength {
namespace {

using contents::Effect;
using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// Contents as sums over sources of doubt, one column each: doses, strengths, absorptivities.
class Weighed {
 public:
  Weighed(const recipe::Book& book, double u_dose_g) : book_(book), u_dose_g_(u_dose_g) {
    belief_.components = static_cast<int>(book.components.size());
    belief_.stocks = static_cast<int>(book.stocks.size());
    belief_.mean = VectorXd::Zero(belief_.components + belief_.stocks + 2);
  }

  void dose(int stock, double g, int lot);
  contents::Belief belief();

 private:
  void effect(const Effect& effect, double u, const VectorXd& by) {
    belief_.effects.push_back(effect);
    u_of_effect_.push_back(u);
    by_effect_.push_back(by);
  }

  const recipe::Book& book_;
  double u_dose_g_;
  contents::Belief belief_;
  std::vector<VectorXd> by_;         ///< (doses) how contents move with a gram of it
  std::vector<VectorXd> by_effect_;  ///< and with a unit of each effect
  std::vector<double> u_of_effect_;
};

void Weighed::dose(int stock, double g, int lot) {
  VectorXd& by = by_.emplace_back(VectorXd::Zero(belief_.mean.size()));
  by[belief_.stock(stock)] = by[belief_.net()] = 1.0;
  by[belief_.volume()] = 1.0 / book_.stocks[at(stock)].density_g_per_ml;
  for (int k = 0; k < belief_.components; ++k) {
    const recipe::Strength& strength = book_.lots[at(lot)].strengths[at(k)];
    by[k] = strength.mg_per_g;
    if (strength.u_mg_per_g > 0.0)
      effect({Effect::Kind::strength, lot, k}, strength.u_mg_per_g,
             g * VectorXd::Unit(by.size(), k));
  }
  belief_.mean += g * by;
}

contents::Belief Weighed::belief() {
  const Index axes = belief_.mean.size();
  for (int k = 0; k < belief_.components; ++k) {
    const recipe::Component& it = book_.components[at(k)];
    if (belief_.mean[k] > 0.0 && it.u_absorptivity_rel > 0.0 && !it.absorptivity.nm.empty())
      effect({Effect::Kind::absorptivity, k, -1}, it.u_absorptivity_rel, VectorXd::Zero(axes));
  }
  const auto doses = static_cast<Index>(by_.size()),
             effects = static_cast<Index>(by_effect_.size());
  MatrixXd spread = MatrixXd::Zero(axes + effects, doses + effects);
  for (Index i = 0; i < doses; ++i)
    spread.col(i).head(axes) = u_dose_g_ * by_[static_cast<std::size_t>(i)];
  for (Index i = 0; i < effects; ++i) {
    const auto e = static_cast<std::size_t>(i);
    spread.col(doses + i).head(axes) = u_of_effect_[e] * by_effect_[e];
    spread(axes + i, doses + i) = u_of_effect_[e];
  }
  belief_.mean.conservativeResizeLike(VectorXd::Zero(axes + effects));
  belief_.covariance = spread * spread.transpose();
  return std::move(belief_);
}

}  // namespace

contents::Belief by_weight(const recipe::Book& book, const std::vector<double>& stock_g,
                           const std::vector<int>& lots, double u_dose_g) {
  require(stock_g.size() == book.stocks.size() && lots.size() == book.stocks.size(),
          "one mass and lot a stock");
  Weighed weighed(book, u_dose_g);
  for (int s = 0; s < static_cast<int>(stock_g.size()); ++s) {
    if (!(stock_g[at(s)] > 0.0)) continue;
    require(lots[at(s)] >= 0, "a stock that is dosed has a lot");
    weighed.dose(s, stock_g[at(s)], lots[at(s)]);
  }
  return weighed.belief();
}

}  // namespace vialwright::strength
