#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "topup/topup.hpp"

namespace vialwright::topup {
namespace {

/// How much of each tolerance band an aim may use, about its middle. The whole band is the cheapest
/// edge; narrower ones buy odds with stock. Dilution needs most of the room that the limits of
/// amount leave, so the last two keep nearly all of that.
struct Aim {
  double composition = 1.0;  ///< contents and concentrations
  double amount = 1.0;       ///< masses and volumes
};
constexpr std::array<Aim, 5> aims = {{{0.2, 0.2}, {0.5, 0.5}, {0.8, 0.8}, {0.3, 0.9}, {0.5, 0.9}}};

bool is_composition(const recipe::Tolerance& line) {
  return line.on == recipe::ToleranceOn::content || line.on == recipe::ToleranceOn::concentration;
}

recipe::Tolerance narrowed(recipe::Tolerance line, double share) {
  if (!std::isfinite(line.low) || !std::isfinite(line.high)) return line;
  const double middle = 0.5 * (line.low + line.high);
  const double half = 0.5 * (line.high - line.low) * share;
  line.low = middle - half;
  line.high = middle + half;
  return line;
}

recipe::Recipe narrowed(recipe::Recipe recipe, const Aim& aim) {
  for (recipe::Tolerance& line : recipe.tolerances) {
    line = narrowed(line, is_composition(line) ? aim.composition : aim.amount);
  }
  return recipe;
}

/// The first addition that its station cannot make, or nullptr.
const Addition* undosable(const Topup& topup, const plant::Plant& plant) {
  const auto found =
      std::find_if(topup.additions.begin(), topup.additions.end(), [&](const Addition& each) {
        return each.station >= 0 &&
               each.amount_g < plant.stations[static_cast<std::size_t>(each.station)].least_dose_g;
      });
  return found == topup.additions.end() ? nullptr : &*found;
}

std::string too_small(const Addition& addition, const plant::Plant& plant,
                      const recipe::Book& book) {
  const auto& station = plant.stations[static_cast<std::size_t>(addition.station)];
  return fmt::format("{:.4f} g of {} is less than {} can dose ({:.4f} g)", addition.amount_g,
                     book.stocks[static_cast<std::size_t>(addition.stock)].id, station.id,
                     station.least_dose_g);
}

/// Dosable before undosable; then those that meet the risk, by cost; then by odds.
bool better(const Topup& a, const Topup& b, double wanted) {
  if (a.dosable != b.dosable) return a.dosable;
  const bool a_meets = a.odds.value >= wanted, b_meets = b.odds.value >= wanted;
  if (a_meets != b_meets) return a_meets;
  if (a_meets) return a.cost < b.cost;
  return a.odds.value > b.odds.value;
}

}  // namespace

Topup aimed(const contents::Belief& belief, const recipe::Recipe& recipe, const Means& means,
            const plant::Plant& plant, const recipe::Book& book, const Options& options) {
  Topup best = cheapest(belief, recipe, means, plant, book, options);
  const double wanted = 1.0 - recipe.consumer_risk.value_or(plant.risks.consumer);
  const bool can_move = best.outcome == Outcome::found || best.outcome == Outcome::nothing_needed;
  if (!can_move) return best;
  const auto mark = [&](Topup& topup) {
    const Addition* small = undosable(topup, plant);
    topup.dosable = small == nullptr;
    if (small != nullptr) topup.because = too_small(*small, plant, book);
  };
  mark(best);
  if (best.dosable && best.odds.value >= wanted) return best;
  for (const Aim& aim : aims) {
    Topup other = cheapest(belief, narrowed(recipe, aim), means, plant, book, options);
    if (other.outcome != Outcome::found) continue;
    // The odds are those of the recipe itself, not of the narrower aim.
    other.odds = odds_of(belief, recipe, other.additions, plant, book, options);
    mark(other);
    if (better(other, best, wanted)) best = std::move(other);
  }
  return best;
}

}  // namespace vialwright::topup
