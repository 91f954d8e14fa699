/// Top-ups judged by drawing: every hidden error and every dose anew, and the lines looked at. The
/// stated model in plain numbers, without the algebra of beliefs.
#pragma once

#include <Eigen/Cholesky>

#include "topup/colour_pairs.hpp"

namespace vialwright::topup::testing {

class Drawn {
 public:
  /// The same draws judge every top-up of this pair.
  Drawn(const Pair& pair, int draws, std::uint64_t seed)
      : pair_(pair), draws_(draws), seed_(seed), root_(root_of(pair.belief.covariance)) {}

  /// 1 where the vial meets the recipe after these additions, else 0; one entry a draw.
  [[nodiscard]] std::vector<char> met(const std::vector<Addition>& additions) const {
    support::Random random(seed_);
    std::vector<char> met;
    for (int i = 0; i < draws_; ++i) met.push_back(draw(additions, random) ? 1 : 0);
    return met;
  }

 private:
  static Eigen::MatrixXd root_of(const Eigen::MatrixXd& covariance) {
    const Eigen::LDLT<Eigen::MatrixXd> ldlt(covariance);
    const Eigen::VectorXd d = ldlt.vectorD().cwiseMax(0.0).cwiseSqrt();
    return ldlt.transpositionsP().transpose() *
           (Eigen::MatrixXd(ldlt.matrixL()) * d.asDiagonal()).eval();
  }
  /// An error of the belief if it has that effect, else drawn from what the book or plant says.
  /// Two numbers are always drawn, so that all top-ups see the same errors.
  struct Errors {
    std::vector<double> strength, gain, offset, density, spread;
    std::vector<double> absorptivity;  ///< drawn only where the recipe has colours
  };
  [[nodiscard]] bool draw(const std::vector<Addition>& additions, support::Random& random) const;
  [[nodiscard]] Errors errors(const Eigen::VectorXd& axes, support::Random& random) const;

  const Pair& pair_;
  int draws_;
  std::uint64_t seed_;
  Eigen::MatrixXd root_;
};

inline Drawn::Errors Drawn::errors(const Eigen::VectorXd& axes, support::Random& random) const {
  const contents::Belief& belief = pair_.belief;
  const auto of = [&](contents::Effect effect, double u) {
    const double fresh = u * random.normal();
    for (std::size_t e = 0; e < belief.effects.size(); ++e)
      if (belief.effects[e] == effect) return axes[belief.effect(static_cast<int>(e))];
    return fresh;
  };
  Errors made;
  using Kind = contents::Effect::Kind;
  for (std::size_t l = 0; l < pair_.book.lots.size(); ++l)
    for (int k = 0; k < belief.components; ++k)
      made.strength.push_back(of({Kind::strength, static_cast<int>(l), k},
                                 pair_.book.lots[l].strengths[pairs::at(k)].u_mg_per_g));
  for (std::size_t i = 0; i < pair_.plant.instruments.size(); ++i) {
    const plant::Instrument& meter = pair_.plant.instruments[i];
    made.gain.push_back(of({Kind::gain, static_cast<int>(i), -1}, meter.u_gain));
    made.offset.push_back(of({Kind::offset, static_cast<int>(i), -1}, meter.u_offset));
  }
  for (const recipe::Stock& stock : pair_.book.stocks)
    made.density.push_back(stock.u_density_g_per_ml * random.normal());
  for (std::size_t s = 0; s < pair_.plant.stations.size(); ++s)
    made.spread.push_back(random.normal());
  for (int k = 0; k < belief.components && !pair_.recipe.colours.empty(); ++k)
    made.absorptivity.push_back(
        of({Kind::absorptivity, k, -1}, pair_.book.components[pairs::at(k)].u_absorptivity_rel));
  return made;
}

inline bool Drawn::draw(const std::vector<Addition>& additions, support::Random& random) const {
  const contents::Belief& belief = pair_.belief;
  Eigen::VectorXd z(belief.mean.size());
  for (double& each : z) each = random.normal();
  Eigen::VectorXd axes = belief.mean + root_ * z;
  const Errors errors = this->errors(axes, random);
  for (const Addition& each : additions) {
    const plant::Station& station = pair_.plant.stations[pairs::at(each.station)];
    const recipe::Stock& stock = pair_.book.stocks[pairs::at(each.stock)];
    double asked = each.amount_g;
    if (!station.meters.empty()) {
      const auto meter = pairs::at(*plant::find_instrument(pair_.plant, station.meters.front()));
      const bool by_volume =
          pair_.plant.instruments[meter].kind == plant::InstrumentKind::volume_meter;
      const double unit = by_volume ? stock.density_g_per_ml : 1.0;
      const double actual = by_volume ? unit + errors.density[pairs::at(each.stock)] : 1.0;
      asked = (each.amount_g / unit - errors.offset[meter]) / (1.0 + errors.gain[meter]) * actual;
    }
    const double sd = std::hypot(station.spread_g, station.spread_rel * asked);
    const double grams = asked + sd * errors.spread[pairs::at(each.station)];
    for (int k = 0; k < belief.components; ++k)
      axes[k] += grams * (pair_.book.lots[pairs::at(each.lot)].strengths[pairs::at(k)].mg_per_g +
                          errors.strength[pairs::at(each.lot * belief.components + k)]);
    axes[belief.net()] += grams;
    axes[belief.volume()] +=
        grams / (stock.density_g_per_ml + errors.density[pairs::at(each.stock)]);
  }
  const double net = axes[belief.net()];
  for (const recipe::Tolerance& line : pair_.recipe.tolerances) {
    if (line.on == recipe::ToleranceOn::colour) {
      const recipe::ColourTarget& target = pair_.recipe.colours[pairs::at(line.of)];
      const colour::Lab is =
          seen(pair_.book, target, concentrations(belief, axes), errors.absorptivity);
      if (colour::difference_00(is, target.lab) > line.high) return false;
      continue;
    }
    const double value = line.on == recipe::ToleranceOn::content ? axes[line.of] / net : net;
    if (value < line.low || value > line.high) return false;
  }
  return true;
}

}  // namespace vialwright::topup::testing
