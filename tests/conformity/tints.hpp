/// Coloured vials drawn at random, and a second way from contents to a colour difference: one
/// liquid at a time, band by band, by the formulas as printed. Dyes are invented; their strength is
/// that of common food colours.
#pragma once

#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "conformity/random_beliefs.hpp"

namespace vialwright::conformity_test {

enum Dye { yellow, rose, blue, dyes };

/// Decadic absorptivity, mL/(mg cm): bells.
inline double absorptivity(int dye, double nm) {
  constexpr std::array<double, dyes> centre = {426.0, 504.0, 630.0}, height = {53.0, 54.0, 163.0},
                                     width = {45.0, 48.0, 24.0};
  const auto k = static_cast<std::size_t>(dye);
  const double off = (nm - centre[k]) / width[k];
  return height[k] * std::exp(-0.5 * off * off);
}

/// Three dyes and a clear salt; one clear stock, whose doubt stands for none of them.
inline recipe::Book tint_book() {
  recipe::Book book;
  for (const char* id : {"yellow", "rose", "blue", "salt"}) {
    recipe::Component component;
    component.id = id;
    book.components.push_back(component);
  }
  for (int k = 0; k < dyes; ++k) {
    colour::Spectrum& spectrum = book.components[static_cast<std::size_t>(k)].absorptivity;
    for (double nm = 380.0; nm <= 780.0; nm += 5.0) {
      spectrum.nm.push_back(nm);
      spectrum.value.push_back(absorptivity(k, nm));
    }
  }
  recipe::Stock base;
  base.id = "base";
  book.stocks.push_back(base);
  return book;
}

// ---- by hand -------------------------------------------------------------------------------

/// What colours a liquid: mg/mL of each dye, then amplitudes of an unknown colourant.
struct Liquid {
  std::array<double, dyes> mg_per_ml{};
  std::array<double, mixing::foreign_shapes> foreign{};
};

inline double steep_root(double t) {
  constexpr double bend = 6.0 / 29.0;
  return t > bend * bend * bend ? std::cbrt(t) : t / (3.0 * bend * bend) + 4.0 / 29.0;
}

/// Tables of observers and illuminants are data that both ways share; the sums are not.
class ByHand {
 public:
  explicit ByHand(const recipe::ColourTarget& seen)
      : path_(seen.path_cm), weights_(colour::weights(seen.observer, seen.illuminant)) {
    for (int band = 0; band < weights_.grid.size(); ++band) {
      std::vector<double> row;
      for (int k = 0; k < dyes; ++k) row.push_back(absorptivity(k, weights_.grid.at(band)));
      for (int f = 0; f < mixing::foreign_shapes; ++f)
        row.push_back(mixing::foreign_shape(f, weights_.grid.at(band)));
      rows_.push_back(row);
    }
  }
  [[nodiscard]] colour::Lab lab(const Liquid& liquid, bool foreign) const {
    double x = 0.0, y = 0.0, z = 0.0;
    for (std::size_t band = 0; band < rows_.size(); ++band) {
      double absorbance = 0.0;
      for (std::size_t k = 0; k < dyes; ++k) absorbance += rows_[band][k] * liquid.mg_per_ml[k];
      for (std::size_t f = 0; foreign && f < liquid.foreign.size(); ++f)
        absorbance += rows_[band][dyes + f] * liquid.foreign[f];
      const double through = std::exp(-std::numbers::ln10 * path_ * absorbance);
      x += weights_.x[band] * through;
      y += weights_.y[band] * through;
      z += weights_.z[band] * through;
    }
    const double fx = steep_root(x / weights_.white.x), fy = steep_root(y / weights_.white.y);
    return {116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - steep_root(z / weights_.white.z))};
  }

 private:
  double path_;
  const colour::Weights& weights_;
  std::vector<std::vector<double>> rows_;
};

/// CIEDE2000 in angles, step by step. Source: Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21,
/// eqs 2 to 22.
inline double difference_by_hand(const colour::Lab& one, const colour::Lab& other) {
  constexpr double degree = std::numbers::pi / 180.0;
  const auto seventh = [](double c) {
    return std::sqrt(std::pow(c, 7) / (std::pow(c, 7) + 6103515625.0));
  };
  const double g =
      0.5 * (1.0 - seventh(0.5 * (std::hypot(one.a, one.b) + std::hypot(other.a, other.b))));
  const double a1 = (1.0 + g) * one.a, a2 = (1.0 + g) * other.a;
  const double c1 = std::hypot(a1, one.b), c2 = std::hypot(a2, other.b);
  const auto hue = [&](double a, double b) {
    const double h = a == 0.0 && b == 0.0 ? 0.0 : std::atan2(b, a) / degree;
    return h < 0.0 ? h + 360.0 : h;
  };
  const double h1 = hue(a1, one.b), h2 = hue(a2, other.b);
  double turn = c1 * c2 == 0.0 ? 0.0 : h2 - h1;
  if (turn > 180.0) turn -= 360.0;
  if (turn < -180.0) turn += 360.0;
  double mean = h1 + h2;
  if (c1 * c2 != 0.0) {
    mean *= 0.5;
    if (std::abs(h1 - h2) > 180.0) mean += h1 + h2 < 360.0 ? 180.0 : -180.0;
  }
  const double l = other.l - one.l, c = c2 - c1;
  const double h = 2.0 * std::sqrt(c1 * c2) * std::sin(0.5 * turn * degree);
  const double mean_l = 0.5 * (one.l + other.l) - 50.0, mean_c = 0.5 * (c1 + c2);
  const double t =
      1.0 - 0.17 * std::cos((mean - 30.0) * degree) + 0.24 * std::cos(2.0 * mean * degree) +
      0.32 * std::cos((3.0 * mean + 6.0) * degree) - 0.20 * std::cos((4.0 * mean - 63.0) * degree);
  const double off = (mean - 275.0) / 25.0;
  const double rotation = -std::sin(60.0 * std::exp(-off * off) * degree) * 2.0 * seventh(mean_c);
  const double sl = 1.0 + 0.015 * mean_l * mean_l / std::sqrt(20.0 + mean_l * mean_l);
  const double sc = 1.0 + 0.045 * mean_c, sh = 1.0 + 0.015 * mean_c * t;
  const double dl = l / sl, dc = c / sc, dh = h / sh;
  return std::sqrt(std::max(0.0, dl * dl + dc * dc + dh * dh + rotation * dc * dh));
}

// ---- vials ---------------------------------------------------------------------------------

/// What a drawn vial is like.
struct Kind {
  bool contents = true;                      ///< lines on the dyes' contents
  bool net = true;                           ///< a line on the net mass
  bool second = false;                       ///< a second illuminant
  bool deviations = true;                    ///< the absorptivities are in doubt
  bool foreign = false;                      ///< an unknown colourant is believed
  double least_high = 0.4, most_high = 3.0;  ///< tolerance on colour
  double least_u = 0.003, most_u = 0.05;     ///< about that of each dye, relative
};

/// The contents as the estimate would know them, a recipe with colours about the contents wanted.
struct Tint {
  recipe::Book book = tint_book();
  contents::Belief belief;
  recipe::Recipe recipe;
  bool foreign = false;
};

/// The liquid of a point on the belief's axes; a mass or volume may be anything.
inline Liquid liquid_at(const Tint& tint, const Eigen::VectorXd& x) {
  Liquid liquid;
  for (int k = 0; k < dyes; ++k)
    liquid.mg_per_ml[static_cast<std::size_t>(k)] = x(k) / x(tint.belief.volume());
  for (std::size_t e = 0; e < tint.belief.effects.size(); ++e) {
    const contents::Effect& effect = tint.belief.effects[e];
    const double value = x(tint.belief.effect(static_cast<int>(e)));
    const auto of = static_cast<std::size_t>(effect.of);
    if (effect.kind == contents::Effect::Kind::absorptivity) liquid.mg_per_ml[of] *= 1.0 + value;
    if (effect.kind == contents::Effect::Kind::foreign) liquid.foreign[of] = value;
  }
  return liquid;
}

inline Tint any_tint(support::Random& random, const Kind& kind) {
  Tint made;
  made.foreign = kind.foreign;
  contents::Belief& belief = made.belief;
  belief.components = dyes + 1;
  belief.stocks = 1;
  using Effect = contents::Effect;
  if (kind.deviations)
    for (int k = 0; k < dyes; ++k) belief.effects.push_back({Effect::Kind::absorptivity, k, -1});
  if (kind.foreign)
    for (int f = 0; f < mixing::foreign_shapes; ++f)
      belief.effects.push_back({Effect::Kind::foreign, f, -1});
  const int axes = belief.effect(static_cast<int>(belief.effects.size()));
  belief.mean = Eigen::VectorXd::Zero(axes);
  Eigen::VectorXd u = Eigen::VectorXd::Zero(axes), wanted = belief.mean;
  const double net = 20.0 + 0.1 * random.normal();
  belief.mean(belief.net()) = belief.mean(belief.volume()) = belief.mean(belief.stock(0)) = net;
  wanted = belief.mean;
  u(belief.net()) = u(belief.volume()) = u(belief.stock(0)) =
      std::exp(random.uniform(std::log(0.003), std::log(0.1)));
  const double size = std::exp(random.uniform(std::log(kind.least_u), std::log(kind.most_u)));
  constexpr std::array<double, dyes> most = {0.012, 0.008, 0.004};
  for (int k = 0; k < dyes; ++k) {
    const double content = most[static_cast<std::size_t>(k)] * random.uniform(0.1, 1.0);
    wanted(k) = content * 20.0;
    belief.mean(k) = wanted(k) * (1.0 + size * random.normal());
    u(k) = wanted(k) * size * random.uniform(0.3, 1.5);
    const double half = size * random.uniform(1.0, 4.0);
    if (kind.contents)
      made.recipe.tolerances.push_back({recipe::ToleranceOn::content, k, content * (1.0 - half),
                                        content, content * (1.0 + half)});
  }
  for (int e = 0; e < static_cast<int>(belief.effects.size()); ++e) {
    const bool shape = belief.effects[static_cast<std::size_t>(e)].kind == Effect::Kind::foreign;
    u(belief.effect(e)) = shape ? 0.02 * size * random.uniform(0.2, 2.0) : 0.01;
  }
  const Eigen::MatrixXd correlation = any_correlation(random, axes);
  belief.covariance = u.asDiagonal() * correlation * u.asDiagonal();
  for (const int same : {belief.volume(), belief.stock(0)}) {  // density 1, one stock
    belief.covariance.col(same) = belief.covariance.col(belief.net());
    belief.covariance.row(same) = belief.covariance.row(belief.net());
    belief.covariance(same, same) = belief.covariance(belief.net(), belief.net());
  }
  if (kind.net)
    made.recipe.tolerances.push_back(
        {recipe::ToleranceOn::net_mass, -1, 20.0 - 0.15, 20.0, 20.0 + 0.15});
  for (int c = 0; c < (kind.second ? 2 : 1); ++c) {
    recipe::ColourTarget target;
    target.path_cm = 2.0;
    target.illuminant = c == 0 ? colour::Illuminant::d65 : colour::Illuminant::a;
    target.lab = ByHand(target).lab(liquid_at(made, wanted), kind.foreign);
    made.recipe.colours.push_back(target);
    made.recipe.tolerances.push_back({recipe::ToleranceOn::colour, c, -recipe::no_limit, 0.0,
                                      random.uniform(kind.least_high, kind.most_high)});
  }
  return made;
}

/// Does a point meet the recipe, line by line as written?
inline bool meets(const Tint& tint, const std::vector<ByHand>& views, const Eigen::VectorXd& x) {
  const double net = x(tint.belief.net());
  for (const recipe::Tolerance& line : tint.recipe.tolerances) {
    double value = net;
    if (line.on == recipe::ToleranceOn::content) value = x(line.of) / net;
    if (line.on == recipe::ToleranceOn::colour) continue;
    if (!(value >= line.low && value <= line.high)) return false;
  }
  for (const recipe::Tolerance& line : tint.recipe.tolerances) {
    if (line.on != recipe::ToleranceOn::colour) continue;
    const auto c = static_cast<std::size_t>(line.of);
    const colour::Lab lab = views[c].lab(liquid_at(tint, x), tint.foreign);
    if (!(difference_by_hand(lab, tint.recipe.colours[c].lab) <= line.high)) return false;
  }
  return true;
}

}  // namespace vialwright::conformity_test
