#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "topup/dosing.hpp"
#include "topup/nearest.hpp"
#include "topup/selection.hpp"
#include "topup/words.hpp"

namespace vialwright::topup {
namespace {

// An addition below a nanogram is rounding of the solver, not advice.
constexpr double dust_g = 1e-9;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// The candidates that were chosen together, and their amounts.
struct Plan {
  std::vector<Candidate> candidates;
  std::vector<double> grams;
  double cost = 0.0;  ///< stocks and visits
};

/// The first addition that its station cannot make, or nullptr.
const Addition* undosable(const Topup& topup, const plant::Plant& plant) {
  const auto found = std::ranges::find_if(topup.additions, [&](const Addition& each) {
    return each.station >= 0 && each.amount_g < plant.stations[at(each.station)].least_dose_g;
  });
  return found == topup.additions.end() ? nullptr : &*found;
}

std::string too_small(const Addition& addition, const plant::Plant& plant,
                      const recipe::Book& book) {
  const plant::Station& station = plant.stations[at(addition.station)];
  return fmt::format("{:.4f} g of {} is less than {} can dose ({:.4f} g)", addition.amount_g,
                     stock_name(addition.stock, book), station.id, station.least_dose_g);
}

/// Visits are counted once the stocks are cheapest: they do not steer the amounts.
double with_visits(const PaperAnswer& answer, double visit) {
  const auto made =
      std::ranges::count_if(answer.grams, [](double grams) { return grams > dust_g; });
  return answer.cost + visit * static_cast<double>(made);
}

std::optional<Plan> best_plan(const Vial& vial, const recipe::Recipe& recipe,
                              const std::vector<Candidate>& candidates, const plant::Plant& plant,
                              const recipe::Book& book) {
  std::optional<Plan> best;
  for (const std::vector<int>& set : sets_that_may_meet(candidates, book)) {
    std::vector<Candidate> chosen;
    chosen.reserve(set.size());
    for (const int j : set) chosen.push_back(candidates[at(j)]);
    PaperAnswer answer = solve_on_paper(vial, recipe, chosen);
    if (!answer.possible) continue;
    const double cost = with_visits(answer, plant.prices.visit);
    if (best && best->cost <= cost) continue;
    best = Plan{std::move(chosen), std::move(answer.grams), cost};
  }
  return best;
}

bool holds_now(const Vial& vial, const recipe::Recipe& recipe) {
  return std::ranges::all_of(recipe.tolerances, [&](const recipe::Tolerance& line) {
    return holds(line, value_of(line, vial));
  });
}

/// One vial, one recipe: the parts of an answer share what they were computed from.
class Answering {
 public:
  Answering(const contents::Belief& belief, const recipe::Recipe& recipe, const Means& means,
            const plant::Plant& plant, const recipe::Book& book, const Options& options)
      : belief_(belief),
        whole_(recipe),
        recipe_(without_colours(recipe)),
        means_(means),
        plant_(plant),
        book_(book),
        options_(options),
        vial_(vial_of(belief, means.fill_now_ml, container_of(recipe, plant))) {}

  [[nodiscard]] Topup answer() const;

 private:
  [[nodiscard]] Topup forbidden(std::string because) const;
  [[nodiscard]] Topup as_it_is() const;
  [[nodiscard]] Topup found(const Plan& plan) const;
  [[nodiscard]] Topup none(const Selection& selection) const;
  [[nodiscard]] Topup with_colours(const Selection& selection) const;
  [[nodiscard]] std::string wrong_container() const;
  [[nodiscard]] std::vector<std::string> needed(const Selection& selection,
                                                const std::vector<Candidate>& all) const;
  [[nodiscard]] bool possible(const std::vector<Candidate>& candidates) const {
    return solve_on_paper(vial_, recipe_, candidates).possible;
  }

  const contents::Belief& belief_;
  const recipe::Recipe& whole_;
  recipe::Recipe recipe_;  ///< its colours aside
  const Means& means_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  const Options& options_;
  Vial vial_;
};

Topup Answering::answer() const {
  if (std::string wrong = wrong_container(); !wrong.empty()) return forbidden(std::move(wrong));
  if (const int foreign = stranger(vial_, recipe_, book_); foreign >= 0) {
    return forbidden(
        fmt::format("{:.4g} mg of {} is in the vial, which the recipe neither limits nor makes "
                    "from its stocks",
                    vial_.components_mg[at(foreign)], component_name(foreign, book_)));
  }
  const bool coloured = recipe_.tolerances.size() < whole_.tolerances.size();
  if (std::string doubt = doubt_of_law(vial_, recipe_, book_); !doubt.empty())
    return forbidden(std::move(doubt));
  if (holds_now(vial_, recipe_) && !coloured) return as_it_is();
  const Selection selection = select(belief_, vial_, recipe_, means_, plant_, book_);
  if (coloured) return with_colours(selection);
  if (const auto plan = best_plan(vial_, recipe_, selection.usable, plant_, book_))
    return found(*plan);
  return none(selection);
}

std::string Answering::wrong_container() const {
  if (means_.container < 0 || recipe_.container.empty()) return {};
  const std::string& is = plant_.containers[at(means_.container)].id;
  if (is == recipe_.container) return {};
  return fmt::format("the recipe wants container {}, the vial is a {}", recipe_.container, is);
}

Topup Answering::forbidden(std::string because) const {
  Topup topup;
  topup.outcome = Outcome::not_permitted;
  topup.total_g = vial_.net_g;
  topup.because = std::move(because);
  return topup;
}

Topup Answering::as_it_is() const {
  Topup topup;
  topup.outcome = Outcome::nothing_needed;
  topup.total_g = vial_.net_g;
  topup.binding = binding_in_words(vial_, recipe_, {}, {}, book_);
  topup.odds = odds_of(belief_, whole_, {}, plant_, book_, options_);
  return topup;
}

Topup Answering::found(const Plan& plan) const {
  Topup topup;
  topup.outcome = Outcome::found;
  topup.cost = plan.cost;
  const Vial then = vial_after(vial_, plan.candidates, plan.grams);
  topup.total_g = then.net_g;
  topup.binding = binding_in_words(then, recipe_, plan.candidates, plan.grams, book_);
  for (std::size_t j = 0; j < plan.grams.size(); ++j) {
    if (plan.grams[j] <= dust_g) continue;
    Addition addition = plan.candidates[j].addition;
    const Dosing dosing = dosing_of(belief_, addition.station, addition.stock, plant_, book_);
    addition.amount_g = std::max(0.0, dosing.told_amount(plan.grams[j]));
    topup.additions.push_back(addition);
  }
  if (const Addition* small = undosable(topup, plant_)) {
    topup.dosable = false;
    topup.because = too_small(*small, plant_, book_);
  }
  topup.odds = odds_of(belief_, whole_, topup.additions, plant_, book_, options_);
  return topup;
}

/// The lines first. Where they leave the colour out of its limit, the amounts that bring it
/// nearest: they meet the recipe if any do, and are not the cheapest.
Topup Answering::with_colours(const Selection& selection) const {
  const OddsModel model(belief_, whole_, selection.usable, plant_, book_);
  const auto mix = nearest_mix(belief_, whole_, vial_, selection.usable, model, plant_, book_);
  if (holds_now(vial_, recipe_) && mix->worst_now <= 1.0) return as_it_is();
  const auto lines = best_plan(vial_, recipe_, selection.usable, plant_, book_);
  if (!lines && !holds_now(vial_, recipe_)) return none(selection);
  if (mix->told.nearest > mix->told.limit || !mix->lines_kept) {
    Topup topup;
    topup.total_g = vial_.net_g;
    topup.because = mix->told.in_words;
    return topup;
  }
  PaperAnswer answer{true, mix->grams, 0.0};
  for (std::size_t j = 0; j < mix->grams.size(); ++j)
    answer.cost += selection.usable[j].price_per_g * mix->grams[j];
  const double cost = with_visits(answer, plant_.prices.visit);
  return found({selection.usable, mix->grams, cost});
}

/// Forbidden where the refused stocks would have helped; impossible where even they would not.
Topup Answering::none(const Selection& selection) const {
  if (possible(selection.usable))
    return forbidden("the stocks that it takes may not meet each other");
  std::vector<Candidate> all = selection.usable;
  for (const Refused& each : selection.refused) all.push_back(each.candidate);
  if (possible(all)) return forbidden(listed(needed(selection, all), "; "));
  if (!selection.unknown.empty()) return forbidden(listed(selection.unknown, "; "));
  Topup topup;
  topup.outcome = Outcome::impossible;
  topup.total_g = vial_.net_g;
  topup.because = impossible_in_words(vial_, recipe_, all, book_);
  return topup;
}

/// Why the stocks were refused without which there is no way; all of them where several would do.
std::vector<std::string> Answering::needed(const Selection& selection,
                                           const std::vector<Candidate>& all) const {
  std::vector<std::string> needed, every;
  const auto note = [](std::vector<std::string>& into, const std::string& why) {
    if (std::ranges::find(into, why) == into.end()) into.push_back(why);
  };
  for (std::size_t r = 0; r < selection.refused.size(); ++r) {
    std::vector<Candidate> others = all;
    others.erase(others.begin() + static_cast<std::ptrdiff_t>(selection.usable.size() + r));
    note(every, selection.refused[r].why);
    if (!possible(others)) note(needed, selection.refused[r].why);
  }
  return needed.empty() ? every : needed;
}

}  // namespace

Topup cheapest(const contents::Belief& belief, const recipe::Recipe& recipe, const Means& means,
               const plant::Plant& plant, const recipe::Book& book, const Options& options) {
  return Answering(belief, recipe, means, plant, book, options).answer();
}

}  // namespace vialwright::topup
