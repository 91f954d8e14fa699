/// One vial and many recipes, shaped as a tint maker's might be. Invented.
#pragma once

#include <algorithm>
#include <numeric>
#include <vector>

#include "support/random.hpp"
#include "topup/instances.hpp"

namespace vialwright::topup::testing {

enum class Family { palette, wide, tight, crowded };

/// The shares of a recipe. Palette: 2 to 5 dyes of all; wide: any shares; tight and crowded: small
/// differences about one tint. The last stock is the solvent.
inline std::vector<double> shares_of(support::Random& random, int stocks, Family family) {
  const auto n = static_cast<std::size_t>(stocks);
  std::vector<double> share(n, 0.0);
  if (family == Family::palette) {
    const int dyes = 2 + random.below(4);
    for (int i = 0; i < dyes; ++i)
      share[static_cast<std::size_t>(random.below(stocks - 1))] = random.uniform(0.02, 0.3);
  } else {
    for (std::size_t i = 0; i + 1 < n; ++i)
      share[i] = family == Family::wide ? random.uniform(0.02, 0.4) : 0.2 + 0.012 * random.normal();
  }
  share[n - 1] = family == Family::palette ? 2.0 : 3.0;
  const double sum = std::accumulate(share.begin(), share.end(), 0.0);
  for (double& each : share) each /= sum;
  return share;
}

struct Population {
  RecipeTable recipes;
  ManyVial vial;
};

/// A vial that is a recipe of the family at half to full, 8 % off; contents known to 0.85 %, the
/// total to 10 mg; stations that dose 25 mg at least (solvent 50 mg), spread 3 mg (15 mg) and 0.3
/// %.
inline ManyVial any_vial(support::Random& random, int stocks, Family family) {
  const std::vector<double> share = shares_of(random, stocks, family);
  ManyVial vial;
  vial.total = 20.0 * random.uniform(0.5, 1.0);
  vial.u_total = 0.01;
  for (int i = 0; i < stocks; ++i) {
    const bool solvent = i + 1 == stocks;
    const double made = vial.total * share[static_cast<std::size_t>(i)];
    vial.have.push_back(solvent ? 0.0 : made * (1.0 + 0.08 * random.normal()));
    vial.u_have.push_back(0.0085 * vial.have.back());
    vial.with_total.push_back(0.1 * vial.u_have.back() * vial.u_total);
    vial.least.push_back(solvent ? 0.05 : 0.025);
    vial.cap.push_back(15.0);
    vial.price.push_back(random.uniform(0.001, 0.2));
    vial.volume.push_back(random.uniform(0.8, 1.0));
    vial.spread_g.push_back(solvent ? 0.015 : 0.003);
    vial.spread_rel.push_back(0.003);
    vial.u_strength_rel.push_back(solvent ? 0.0 : 0.003);
  }
  // Crowded: the headspace binds for most of the recipes that are possible.
  vial.volume_room = family == Family::crowded ? 0.9 * (19.6 - vial.total) : 16.0;
  vial.visit_cost = 0.01;
  return vial;
}

inline Population population(support::Random& random, int stocks, int count, Family family) {
  const auto n = static_cast<std::size_t>(stocks), many = static_cast<std::size_t>(count);
  Population made;
  made.recipes.stocks = stocks;
  made.recipes.count = count;
  made.recipes.low.assign(n * many, 0.0);
  made.recipes.high.assign(n * many, infinity);
  made.recipes.total_low.assign(many, 19.5);
  made.recipes.total_high.assign(many, 20.5);
  for (std::size_t r = 0; r < many; ++r) {
    const std::vector<double> share = shares_of(random, stocks, family);
    for (std::size_t i = 0; i + 1 < n; ++i) {
      made.recipes.low[i * many + r] = share[i] * 0.95;
      made.recipes.high[i * many + r] = share[i] * 1.05;
    }
  }
  made.vial = any_vial(random, stocks, family);
  return made;
}

/// One recipe of it as a composition problem.
inline Instance instance_of(const Population& all, int recipe) {
  const auto many = static_cast<std::size_t>(all.recipes.count);
  const auto r = static_cast<std::size_t>(recipe);
  Instance one;
  one.have = all.vial.have;
  one.cap = all.vial.cap;
  one.cost = all.vial.price;
  one.volume = all.vial.volume;
  one.total = all.vial.total;
  one.volume_room = all.vial.volume_room;
  one.total_low = all.recipes.total_low[r];
  one.total_high = all.recipes.total_high[r];
  for (std::size_t i = 0; i < one.have.size(); ++i) {
    one.low.push_back(all.recipes.low[i * many + r]);
    one.high.push_back(all.recipes.high[i * many + r]);
  }
  return one;
}

}  // namespace vialwright::topup::testing
