#include "topup/nearest.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "topup/search_bounds.hpp"
#include "topup/selection.hpp"
#include "topup/words.hpp"

namespace vialwright::topup {
namespace {

using Eigen::Index;

// An addition below a nanogram is rounding of the solver, not advice.
constexpr double dust_g = 1e-9;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// One station a stock, the one that doses most; as many stocks as a search can take.
std::vector<int> one_a_stock(const std::vector<int>& set, const std::vector<Candidate>& usable) {
  std::vector<int> chosen;
  for (const int j : set) {
    const auto same = std::ranges::find_if(chosen, [&](int other) {
      return usable[at(other)].addition.stock == usable[at(j)].addition.stock;
    });
    if (same == chosen.end()) {
      if (chosen.size() < static_cast<std::size_t>(most_doses)) chosen.push_back(j);
    } else if (usable[at(j)].cap_g > usable[at(*same)].cap_g) {
      *same = j;
    }
  }
  return chosen;
}

class Nearing {
 public:
  Nearing(const contents::Belief& belief, const recipe::Recipe& recipe, const Vial& vial,
          const std::vector<Candidate>& usable, const OddsModel& model, const plant::Plant& plant,
          const recipe::Book& book)
      : belief_(belief),
        recipe_(recipe),
        vial_(vial),
        usable_(usable),
        model_(model),
        plant_(plant),
        book_(book) {}

  [[nodiscard]] NearestMix mix() const;

 private:
  struct Reached {
    std::vector<int> members;
    Nearest nearest;
    bool lines_kept = true;
  };
  [[nodiscard]] Reached reach(std::vector<int> members) const;
  [[nodiscard]] AimRegion region_of(const std::vector<int>& members) const;
  [[nodiscard]] std::optional<Amounts> keeping_lines(const std::vector<int>& members,
                                                     AimRegion& region) const;
  [[nodiscard]] Nearest as_it_is() const;
  [[nodiscard]] NearestColour told(const Reached& reached) const;
  [[nodiscard]] std::string in_the_way(const Reached& reached, std::size_t worst) const;
  [[nodiscard]] std::optional<int> foreign_to(const std::vector<double>& slopes,
                                              const Reached& reached) const;
  [[nodiscard]] std::string of_room(const Reached& reached) const;
  [[nodiscard]] std::vector<double> slopes(const Reached& reached, std::size_t worst) const;

  const contents::Belief& belief_;
  const recipe::Recipe& recipe_;
  const Vial& vial_;
  const std::vector<Candidate>& usable_;
  const OddsModel& model_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
};

AimRegion Nearing::region_of(const std::vector<int>& members) const {
  const auto n = static_cast<Index>(members.size());
  AimRegion region{Amounts::Zero(n), Amounts(n), {}, Eigen::VectorXd(2)};
  region.rows.resize(2, n);
  region.limits << std::max(0.0, vial_.room_g), std::max(0.0, vial_.room_ml);
  for (Index j = 0; j < n; ++j) {
    const Candidate& each = usable_[at(members[static_cast<std::size_t>(j)])];
    region.high[j] = each.cap_g;
    region.rows(0, j) = 1.0;
    region.rows(1, j) = each.ml_per_g;
  }
  return region;
}

/// Adds the lines as rows, where some amounts hold them all; such amounts, well inside.
std::optional<Amounts> Nearing::keeping_lines(const std::vector<int>& members,
                                              AimRegion& region) const {
  const auto n = static_cast<Index>(members.size());
  const auto count = static_cast<Index>(model_.sides().size());
  if (count == 0) return region.low;
  Sides sides{Eigen::MatrixXd(count, n), Eigen::VectorXd(count), Eigen::VectorXd::Zero(count)};
  for (Index i = 0; i < count; ++i) {
    const auto side = static_cast<std::size_t>(i);
    for (Index j = 0; j < n; ++j)
      sides.slopes(i, j) = model_.slope(side, members[static_cast<std::size_t>(j)]);
    sides.at_nothing[i] = model_.at_nothing(side);
    // How far a line is from its limit counts in what all the room moves it by.
    sides.sd[i] = std::max(1e-3 * sides.slopes.row(i).cwiseAbs().dot(region.high), 1e-12);
  }
  const auto middle = centre_of({region.rows, region.limits, region.low, region.high}, sides);
  if (!middle || middle->margin < 0.0) return std::nullopt;
  region.rows.conservativeResize(2 + count, n);
  region.limits.conservativeResize(2 + count);
  for (Index i = 0; i < count; ++i) {
    const double size = std::max(sides.slopes.row(i).norm(), 1e-300);
    region.rows.row(2 + i) = -sides.slopes.row(i) / size;
    region.limits[2 + i] = sides.at_nothing[i] / size;
  }
  return middle->grams;
}

Nearing::Reached Nearing::reach(std::vector<int> members) const {
  AimRegion region = region_of(members);
  const std::vector<Aim> aims = model_.aims(members);
  const auto inside = keeping_lines(members, region);
  const Amounts start = inside ? *inside : Amounts(region.low);
  Nearest nearest = ColourSearch(aims, std::move(region)).best(start);
  return {std::move(members), std::move(nearest), inside.has_value()};
}

/// How the worst difference grows with each component's share of itself.
std::vector<double> Nearing::slopes(const Reached& reached, std::size_t worst) const {
  std::vector<Candidate> chosen;
  for (const int j : reached.members) chosen.push_back(usable_[at(j)]);
  const std::vector<double> grams(reached.nearest.grams.begin(), reached.nearest.grams.end());
  const Vial then = vial_after(vial_, chosen, grams);
  const SetOdds odds(model_, reached.members);
  const Eigen::VectorXd x = odds.state(reached.nearest.grams).mean;
  const ColourSide& side = model_.colours()[worst];
  std::vector<double> slopes(then.components_mg.size(), 0.0);
  for (std::size_t k = 0; k < slopes.size(); ++k) {
    const int axis = side.line().mass[k];
    if (axis < 0 || then.components_mg[k] <= 0.0) continue;
    ColourSide::Slopes unused;
    Eigen::VectorXd more = x;
    more[axis] *= 1.0 + 1e-3;
    slopes[k] = (colour::difference_00(side.lab(more, unused), side.wanted().lab) -
                 colour::difference_00(side.lab(x, unused), side.wanted().lab)) /
                1e-3;
  }
  return slopes;
}

/// A component that is too much and that no stock on offer has: what came in by mistake, rather
/// than what was dosed a little too well.
std::optional<int> Nearing::foreign_to(const std::vector<double>& slopes,
                                       const Reached& reached) const {
  std::optional<int> found;
  for (int k = 0; k < static_cast<int>(slopes.size()); ++k) {
    const bool offered = std::ranges::any_of(
        reached.members, [&](int j) { return usable_[at(j)].mg_per_g[at(k)] > 0.0; });
    if (offered || slopes[at(k)] <= 0.05) continue;
    if (!found || slopes[at(k)] > slopes[at(*found)]) found = k;
  }
  return found;
}

std::string Nearing::of_room(const Reached& reached) const {
  double grams = 0.0, ml = 0.0;
  for (std::size_t j = 0; j < reached.members.size(); ++j) {
    const double dose = reached.nearest.grams[static_cast<Index>(j)];
    grams += dose;
    ml += dose * usable_[at(reached.members[j])].ml_per_g;
  }
  if (vial_.room_g <= 0.0 || vial_.room_ml <= 0.0) return "the container is full";
  if (grams >= vial_.room_g * (1.0 - 1e-6))
    return fmt::format("all of the {:.2f} g of room is used for thinning", vial_.room_g);
  if (ml >= vial_.room_ml * (1.0 - 1e-6))
    return fmt::format("all of the {:.2f} mL of room is used for thinning", vial_.room_ml);
  return {};
}

std::string Nearing::in_the_way(const Reached& reached, std::size_t worst) const {
  const std::vector<double> slopes = this->slopes(reached, worst);
  const auto most = std::ranges::max_element(slopes), least = std::ranges::min_element(slopes);
  const auto foreign = foreign_to(slopes, reached);
  std::vector<std::string> reasons;
  const bool unknown = std::ranges::any_of(belief_.effects, [](const contents::Effect& effect) {
    return effect.kind == contents::Effect::Kind::foreign;
  });
  if (unknown) reasons.emplace_back("an unknown colourant is in it, which cannot be taken out");
  if (most != slopes.end() && *most > 0.05 && *most >= -*least) {
    const int k = foreign.value_or(static_cast<int>(most - slopes.begin()));
    reasons.push_back(fmt::format("{:.4g} mg of {} is too much and cannot be taken out",
                                  vial_.components_mg[at(k)], component_name(k, book_)));
  } else if (least != slopes.end() && *least < -0.05) {
    const auto k = static_cast<int>(least - slopes.begin());
    reasons.push_back(fmt::format("no more {} can be added", component_name(k, book_)));
  }
  if (std::string room = of_room(reached); !room.empty()) reasons.push_back(std::move(room));
  if (!reached.lines_kept)
    reasons.emplace_back("the recipe's other lines cannot be held by any amounts");
  if (reasons.empty()) reasons.emplace_back("the stocks that can be added do not mix to it");
  return listed(reasons, "; ");
}

/// With as many decimals as it takes to see that they differ, two at least.
std::string beyond(double value, double limit) {
  for (int decimals = 2; decimals < 10; ++decimals) {
    const std::string one = fmt::format("{:.{}f}", value, decimals);
    const std::string other = fmt::format("{:.{}f}", limit, decimals);
    if (one != other) return fmt::format("{} from its target, the recipe allows {}", one, other);
  }
  return fmt::format("{:.2f} from its target, which is the limit", value);
}

Nearest Nearing::as_it_is() const {
  const std::vector<Aim> aims = model_.aims({});
  return ColourSearch(aims, {Amounts(0), Amounts(0), {}, Eigen::VectorXd(0)}).from(Amounts(0));
}

NearestColour Nearing::told(const Reached& reached) const {
  NearestColour told;
  std::size_t worst = 0;
  const auto over = [&](std::size_t i) {
    return reached.nearest.differences[i] / model_.colours()[i].wanted().high;
  };
  for (std::size_t i = 1; i < reached.nearest.differences.size(); ++i)
    if (over(i) > over(worst)) worst = i;
  std::size_t next = 0;
  for (const recipe::Tolerance& line : recipe_.tolerances) {
    if (line.on != recipe::ToleranceOn::colour) continue;
    if (next++ == worst) told.colour = line.of;
  }
  const ColourSide& side = model_.colours()[worst];
  told.now = as_it_is().differences[worst];
  told.nearest = reached.nearest.differences[worst];
  told.limit = side.wanted().high;
  for (std::size_t j = 0; j < reached.members.size(); ++j) {
    const double grams = reached.nearest.grams[static_cast<Index>(j)];
    if (grams <= dust_g) continue;
    Addition addition = usable_[at(reached.members[j])].addition;
    const Dosing dosing = dosing_of(belief_, addition.station, addition.stock, plant_, book_);
    addition.amount_g = std::max(0.0, dosing.told_amount(grams));
    told.additions.push_back(addition);
  }
  told.in_words =
      fmt::format("the nearest colour that additions reach is {} (it is {:.2f} now): {}",
                  beyond(told.nearest, told.limit), told.now, in_the_way(reached, worst));
  return told;
}

NearestMix Nearing::mix() const {
  std::optional<Reached> best;
  for (const std::vector<int>& set : sets_that_may_meet(usable_, book_)) {
    Reached next = reach(one_a_stock(set, usable_));
    const bool better =
        !best || (next.lines_kept && !best->lines_kept) ||
        (next.lines_kept == best->lines_kept && next.nearest.worst < best->nearest.worst);
    if (better) best = std::move(next);
  }
  NearestMix mix{std::vector<double>(usable_.size(), 0.0), told(*best), as_it_is().worst,
                 best->lines_kept};
  for (std::size_t j = 0; j < best->members.size(); ++j)
    mix.grams[at(best->members[j])] = best->nearest.grams[static_cast<Index>(j)];
  return mix;
}

}  // namespace

std::optional<NearestMix> nearest_mix(const contents::Belief& belief, const recipe::Recipe& recipe,
                                      const Vial& vial, const std::vector<Candidate>& usable,
                                      const OddsModel& model, const plant::Plant& plant,
                                      const recipe::Book& book) {
  if (model.colours().empty()) return std::nullopt;
  return Nearing(belief, recipe, vial, usable, model, plant, book).mix();
}

}  // namespace vialwright::topup
