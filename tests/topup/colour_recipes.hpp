/// Vials and colour recipes for screening. Invented.
#pragma once

#include "topup/colour_pairs.hpp"

namespace vialwright::topup::testing {

struct Palette {
  recipe::Book book;
  recipe::ColourTarget seen_as;
  ColourVial vial;

  [[nodiscard]] mixing::View view() const { return {book, seen_as}; }
  /// The colour after these grams of each stock, by a plain loop.
  [[nodiscard]] colour::Lab after(const std::vector<double>& grams) const {
    double volume = vial.volume_ml;
    std::vector<double> mg;
    for (std::size_t k = 0; k < book.components.size(); ++k)
      mg.push_back(vial.now[static_cast<Eigen::Index>(k)] * vial.volume_ml);
    for (std::size_t j = 0; j < grams.size(); ++j) {
      volume += vial.ml_per_g[j] * grams[j];
      for (std::size_t k = 0; k < mg.size(); ++k)
        mg[k] += vial.per_g(static_cast<Eigen::Index>(k), static_cast<Eigen::Index>(j)) * grams[j];
    }
    for (double& each : mg) each /= volume;
    return seen(book, seen_as, mg, std::vector<double>(mg.size(), 0.0));
  }
};

/// A tint of some dyes in a vial of 20 g, and stocks of dyes beside a clear base.
inline Palette any_palette(support::Random& random, int dyes) {
  Palette made;
  const auto amounts = static_cast<Eigen::Index>(dyes + mixing::foreign_shapes);
  made.vial.now.setZero(amounts);
  made.vial.per_g.setZero(amounts, dyes + 1);
  made.seen_as.path_cm = random.uniform(1.0, 2.0);
  for (int k = 0; k < dyes; ++k) {
    const double peak = 420.0 + 220.0 * (k + random.uniform()) / dyes;
    recipe::Component dye;
    dye.id = "dye " + std::to_string(k);
    dye.absorptivity = bell(random.uniform(40.0, 160.0), peak, random.uniform(25.0, 50.0));
    made.book.components.push_back(dye);
    if (random.below(2) == 0) made.vial.now[k] = std::pow(10.0, random.uniform(-3.5, -1.8));
    made.vial.per_g(k, k + 1) = random.uniform(0.2, 0.6);
  }
  for (int j = 0; j <= dyes; ++j) {
    made.vial.cap.push_back(j == 0 ? 8.0 : random.uniform(0.3, 3.0));
    made.vial.ml_per_g.push_back(1.0 / random.uniform(0.97, 1.04));
  }
  made.vial.total = 20.0;
  made.vial.volume_ml = 20.0 / random.uniform(0.98, 1.03);
  made.vial.room_g = random.uniform(0.5, 5.0);
  made.vial.room_ml = random.uniform(0.5, 5.0);
  return made;
}

/// Some amounts within the limits of the vial, often at them.
inline std::vector<double> any_grams(const ColourVial& vial, support::Random& random) {
  std::vector<double> grams;
  double g = 0.0, ml = 0.0;
  for (std::size_t j = 0; j < vial.cap.size(); ++j) {
    const double share = random.below(3) == 0 ? 0.0 : std::pow(random.uniform(), 3.0);
    grams.push_back(vial.cap[j] * share);
    g += grams.back();
    ml += grams.back() * vial.ml_per_g[j];
  }
  const double fits =
      std::min({1.0, vial.room_g / std::max(g, 1e-12), vial.room_ml / std::max(ml, 1e-12)});
  for (double& each : grams) each *= fits;
  return grams;
}

/// Colours that can be reached (moved by less than their limit), and colours of tints at large.
inline ColourTable any_recipes(const Palette& palette, int count, double reachable,
                               support::Random& random) {
  ColourTable made;
  for (int r = 0; r < count; ++r) {
    const double high = random.uniform(0.5, 2.5);
    colour::Lab target;
    if (random.uniform() < reachable) {
      target = palette.after(any_grams(palette.vial, random));
      target.l += 0.3 * random.normal();
      target.a += 0.5 * random.normal();
      target.b += 0.5 * random.normal();
    } else {
      std::vector<double> tint;
      for (std::size_t k = 0; k < palette.book.components.size(); ++k)
        tint.push_back(random.below(2) == 0 ? 0.0 : std::pow(10.0, random.uniform(-3.5, -1.5)));
      target = seen(palette.book, palette.seen_as, tint, std::vector<double>(tint.size(), 0.0));
    }
    made.target.push_back(target);
    made.high.push_back(high);
    const bool by_mass = random.below(3) == 0;
    made.total_low.push_back(by_mass ? random.uniform(19.0, 21.0) : 0.0);
    made.total_high.push_back(by_mass ? made.total_low.back() + random.uniform(0.5, 3.0)
                                      : recipe::no_limit);
  }
  return made;
}

}  // namespace vialwright::topup::testing
