#include "topup/selection.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "topup/dosing.hpp"
#include "topup/words.hpp"

namespace vialwright::topup {
namespace {

// Where neither the container, the recipe nor the station sets an end, a tonne does: the solvers
// want finite limits, and the cheapest additions stay far below.
constexpr double no_more_than_g = 1e6;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

template <class Range>
bool has(const Range& range, int value) {
  return std::ranges::find(range, value) != std::ranges::end(range);
}

/// Stocks that are, or may be, in the vial.
std::vector<int> present(const contents::Belief& belief) {
  std::vector<int> found;
  for (int s = 0; s < belief.stocks; ++s) {
    const Eigen::Index axis = belief.stock(s);
    if (belief.mean[axis] > 0.0 || belief.covariance(axis, axis) > 0.0) found.push_back(s);
  }
  return found;
}

int any_lot_of(int stock, const recipe::Book& book) {
  const auto found = std::ranges::find(book.lots, stock, &recipe::Lot::stock);
  return found == book.lots.end() ? -1 : static_cast<int>(found - book.lots.begin());
}

class Selecting {
 public:
  Selecting(const contents::Belief& belief, const Vial& vial, const recipe::Recipe& recipe,
            const plant::Plant& plant, const recipe::Book& book)
      : belief_(belief),
        vial_(vial),
        recipe_(recipe),
        plant_(plant),
        book_(book),
        present_(present(belief)) {}

  void consider(const Addition& loaded) {
    std::string why = refusal(loaded);
    if (why.empty()) {
      made_.usable.push_back(candidate(loaded));
    } else {
      refuse(loaded, std::move(why));
    }
  }
  void not_loaded(int stock) {
    refuse({stock, -1, -1, 0.0}, fmt::format("no lot of {} is loaded", stock_name(stock, book_)));
  }
  [[nodiscard]] Selection made() && { return std::move(made_); }

 private:
  [[nodiscard]] std::string refusal(const Addition& loaded) const;
  void refuse(Addition addition, std::string why) {
    if (addition.lot < 0) addition.lot = any_lot_of(addition.stock, book_);
    if (addition.lot < 0) {
      made_.unknown.push_back(std::move(why));
    } else {
      made_.refused.push_back({candidate(addition), std::move(why)});
    }
  }
  [[nodiscard]] Candidate candidate(const Addition& addition) const;

  const contents::Belief& belief_;
  const Vial& vial_;
  const recipe::Recipe& recipe_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  std::vector<int> present_;
  Selection made_;
};

std::string Selecting::refusal(const Addition& loaded) const {
  const std::string name = stock_name(loaded.stock, book_);
  if (!has(recipe_.stocks, loaded.stock)) return fmt::format("the recipe does not permit {}", name);
  if (loaded.lot < 0) return fmt::format("no lot of {} is loaded", name);
  if (!recipe_.colours.empty() && book_.stocks[at(loaded.stock)].scatters)
    return fmt::format("{} scatters light, and nobody can foretell the colour with it", name);
  for (const int there : present_) {
    if (!recipe::may_meet(book_, loaded.stock, there)) {
      return fmt::format("{} may not meet {}, which is in the vial", name,
                         stock_name(there, book_));
    }
  }
  return {};
}

Candidate Selecting::candidate(const Addition& addition) const {
  Candidate made;
  made.addition = addition;
  made.addition.amount_g = 0.0;
  for (int k = 0; k < belief_.components; ++k)
    made.mg_per_g.push_back(strength(belief_, addition.lot, k, book_));
  const recipe::Stock& stock = book_.stocks[at(addition.stock)];
  made.ml_per_g = 1.0 / stock.density_g_per_ml;
  made.price_per_g = stock.price_per_g;
  made.cap_g = std::clamp(vial_.room_g, 0.0, no_more_than_g);
  if (addition.station >= 0) {
    const double largest = plant_.stations[at(addition.station)].largest_dose_g;
    const Dosing dosing = dosing_of(belief_, addition.station, addition.stock, plant_, book_);
    made.cap_g = std::min(made.cap_g, dosing.true_amount(largest));
  }
  return made;
}

/// Bron & Kerbosch without pivoting: a line has few stocks.
class Cliques {
 public:
  Cliques(const std::vector<Candidate>& candidates, const recipe::Book& book)
      : candidates_(candidates), book_(book) {}

  std::vector<std::vector<int>> all() {
    std::vector<int> everyone;
    for (std::size_t j = 0; j < candidates_.size(); ++j) everyone.push_back(static_cast<int>(j));
    grow({}, everyone, {});
    return std::move(found_);
  }

 private:
  [[nodiscard]] bool meet(int a, int b) const {
    return recipe::may_meet(book_, candidates_[at(a)].addition.stock,
                            candidates_[at(b)].addition.stock);
  }
  [[nodiscard]] std::vector<int> friends(const std::vector<int>& of, int one) const {
    std::vector<int> kept;
    for (const int other : of)
      if (other != one && meet(one, other)) kept.push_back(other);
    return kept;
  }
  void grow(const std::vector<int>& chosen, std::vector<int> open, std::vector<int> closed) {
    if (open.empty() && closed.empty()) found_.push_back(chosen);
    while (!open.empty()) {
      const int next = open.front();
      std::vector<int> with = chosen;
      with.push_back(next);
      grow(with, friends(open, next), friends(closed, next));
      open.erase(open.begin());
      closed.push_back(next);
    }
  }

  const std::vector<Candidate>& candidates_;
  const recipe::Book& book_;
  std::vector<std::vector<int>> found_;
};

}  // namespace

const plant::Container* container_of(const recipe::Recipe& recipe, const plant::Plant& plant) {
  const auto index = plant::find_container(plant, recipe.container);
  return index ? &plant.containers[at(*index)] : nullptr;
}

Selection select(const contents::Belief& belief, const Vial& vial, const recipe::Recipe& recipe,
                 const Means& means, const plant::Plant& plant, const recipe::Book& book) {
  Selecting selecting(belief, vial, recipe, plant, book);
  for (const Addition& loaded : means.loaded) selecting.consider(loaded);
  for (const int stock : recipe.stocks) {
    const auto loaded = std::ranges::find(means.loaded, stock, &Addition::stock);
    if (loaded == means.loaded.end()) selecting.not_loaded(stock);
  }
  return std::move(selecting).made();
}

std::vector<std::vector<int>> sets_that_may_meet(const std::vector<Candidate>& candidates,
                                                 const recipe::Book& book) {
  bool all_meet = true;
  std::vector<int> everyone;
  for (std::size_t j = 0; j < candidates.size(); ++j) {
    for (const int i : everyone)
      all_meet = all_meet && recipe::may_meet(book, candidates[at(i)].addition.stock,
                                              candidates[j].addition.stock);
    everyone.push_back(static_cast<int>(j));
  }
  if (all_meet) return {everyone};
  return Cliques(candidates, book).all();
}

std::string doubt_of_law(const Vial& vial, const recipe::Recipe& recipe, const recipe::Book& book) {
  if (recipe.colours.empty()) return {};
  return mixing::doubt_about(
      book, Eigen::Map<const Eigen::VectorXd>(vial.stocks_g.data(),
                                              static_cast<Eigen::Index>(vial.stocks_g.size())));
}

int stranger(const Vial& vial, const recipe::Recipe& recipe, const recipe::Book& book) {
  for (std::size_t k = 0; k < vial.components_mg.size(); ++k) {
    if (vial.components_mg[k] <= 0.0) continue;
    const bool limited = std::ranges::any_of(recipe.tolerances, [&](const recipe::Tolerance& line) {
      return recipe::subject_of(line.on) == recipe::Subject::component &&
             line.of == static_cast<int>(k);
    });
    // An absorbing component is limited by what it does to the colour.
    const bool seen = !recipe.colours.empty() && !book.components[k].absorptivity.nm.empty();
    const bool made_from = std::ranges::any_of(book.lots, [&](const recipe::Lot& lot) {
      return lot.strengths[k].mg_per_g > 0.0 && has(recipe.stocks, lot.stock);
    });
    if (!limited && !seen && !made_from) return static_cast<int>(k);
  }
  return -1;
}

}  // namespace vialwright::topup
