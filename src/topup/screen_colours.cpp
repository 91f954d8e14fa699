#include <algorithm>
#include <cmath>

#include "topup/colour_reach.hpp"

namespace vialwright::topup {
namespace {

using Eigen::Index;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

void check(const ColourTable& recipes, const ColourVial& vial, const mixing::View& view) {
  const std::size_t count = recipes.target.size();
  require(recipes.high.size() == count && recipes.total_low.size() == count &&
              recipes.total_high.size() == count,
          "one entry a recipe");
  const auto stocks = static_cast<std::size_t>(vial.per_g.cols());
  require(stocks <= at(most_doses) && vial.cap.size() == stocks && vial.ml_per_g.size() == stocks,
          "one entry a stock, twelve at most");
  require(vial.now.size() == view.amounts() && vial.per_g.rows() == view.amounts(),
          "one entry an amount of the view");
  require(vial.volume_ml > 0.0, "there is something in the vial");
}

class Screening {
 public:
  Screening(const ColourTable& recipes, const ColourVial& vial, const mixing::View& view)
      : recipes_(recipes), vial_(vial), reach_(vial, view) {
    const auto n = static_cast<Index>(vial.cap.size());
    const Amounts volume = Eigen::Map<const Eigen::VectorXd>(vial.ml_per_g.data(), n);
    aims_.push_back({Shade(view, vial.now, vial.per_g, vial.volume_ml, volume), {}});
    region_ = {Amounts::Zero(n), Eigen::Map<const Eigen::VectorXd>(vial.cap.data(), n), {}, {}};
    region_.rows.resize(3, n);
    region_.rows << Amounts::Ones(n).transpose(), volume.transpose(), -Amounts::Ones(n).transpose();
    for (int j = 0; j < static_cast<int>(n); ++j) by_volume_.push_back(j);
    std::ranges::stable_sort(by_volume_, [&](int a, int b) { return volume[a] < volume[b]; });
  }

  [[nodiscard]] bool promises(int recipe) const {
    return reach_.may_reach(recipes_.target[at(recipe)], recipes_.high[at(recipe)]);
  }
  [[nodiscard]] QuickColour look(int recipe);

 private:
  [[nodiscard]] bool limit(int recipe);
  [[nodiscard]] Amounts least(int recipe) const;

  const ColourTable& recipes_;
  const ColourVial& vial_;
  ColourReach reach_;
  std::vector<Aim> aims_;  ///< one, whose wanted colour changes
  AimRegion region_;
  std::vector<int> by_volume_;  ///< stocks, the densest first
};

/// Amounts that reach the least net mass in the least volume.
Amounts Screening::least(int recipe) const {
  Amounts grams = region_.low;
  double missing = recipes_.total_low[at(recipe)] - vial_.total;
  for (const int j : by_volume_) {
    if (missing <= 0.0) break;
    grams[j] = std::min(missing, vial_.cap[at(j)]);
    missing -= grams[j];
  }
  return grams;
}

/// @returns whether any amounts have a net mass within the recipe's limits.
bool Screening::limit(int recipe) {
  region_.limits =
      Eigen::Vector3d(std::min(vial_.room_g, recipes_.total_high[at(recipe)] - vial_.total),
                      vial_.room_ml, vial_.total - recipes_.total_low[at(recipe)]);
  const Eigen::VectorXd used = region_.rows * least(recipe);
  return (used.array() <= region_.limits.array() + 1e-12 * vial_.total).all();
}

QuickColour Screening::look(int recipe) {
  const colour::Lab& target = recipes_.target[at(recipe)];
  const double high = recipes_.high[at(recipe)];
  QuickColour found;
  found.recipe = recipe;
  if (!limit(recipe)) return found;
  aims_.front().wanted = wanted(target, high);
  const ColourSearch search(aims_, region_);
  const Amounts base = least(recipe);
  const auto keep = [&](const Nearest& next) {
    if (next.differences.front() >= found.difference) return;
    found.difference = next.differences.front();
    found.grams.assign(next.grams.begin(), next.grams.end());
  };
  for (const Amounts& start : reach_.near(target, high)) {
    keep(search.decided(search.within(base, start)));
    if (found.difference <= high) return found;
  }
  keep(search.from(base));
  return found;
}

}  // namespace

QuickColour quick_colour(const ColourTable& recipes, int recipe, const ColourVial& vial,
                         const mixing::View& view) {
  check(recipes, vial, view);
  return Screening(recipes, vial, view).look(recipe);
}

std::vector<QuickColour> screen_colours(const ColourTable& recipes, const ColourVial& vial,
                                        const mixing::View& view) {
  check(recipes, vial, view);
  Screening screening(recipes, vial, view);
  std::vector<QuickColour> found;
  for (int r = 0; r < static_cast<int>(recipes.target.size()); ++r) {
    if (!screening.promises(r)) continue;
    QuickColour quick = screening.look(r);
    if (quick.difference <= recipes.high[at(r)]) found.push_back(std::move(quick));
  }
  return found;
}

}  // namespace vialwright::topup
