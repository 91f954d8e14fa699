#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <memory>

#include "topup/selection.hpp"
#include "topup/set_search.hpp"
#include "topup/words.hpp"

namespace vialwright::topup {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// The points of the search: few, and others than those of the odds that are shown.
conformity::Options search_points(const conformity::Options& shown) {
  conformity::Options points = shown;
  points.points = points.most_points = 64;
  points.decide_at = -1.0;
  points.seed = shown.seed ^ 0x5eed5eedULL;
  return points;
}

/// One set of doses with its search.
struct Trial {
  std::vector<int> members;  ///< indices of candidates
  std::vector<Candidate> chosen;
  std::unique_ptr<OddsModel> model;
  std::unique_ptr<SetSearch> search;
};

const plant::Container* container_of(const recipe::Recipe& recipe, const plant::Plant& plant) {
  const auto index = plant::find_container(plant, recipe.container);
  return index ? &plant.containers[at(*index)] : nullptr;
}

class Best {
 public:
  Best(const contents::Belief& belief, const recipe::Recipe& recipe, const Means& means,
       const plant::Plant& plant, const recipe::Book& book, const Options& options)
      : belief_(belief),
        recipe_(recipe),
        plant_(plant),
        book_(book),
        options_(options),
        points_(search_points(options.conformity)),
        wanted_(options.wanted >= 0.0 ? options.wanted
                                      : 1.0 - recipe.consumer_risk.value_or(plant.risks.consumer)),
        vial_(vial_of(belief, means.fill_now_ml, container_of(recipe, plant))),
        usable_(select(belief, vial_, recipe, means, plant, book).usable) {}

  void search();
  [[nodiscard]] Answer answer() const;
  [[nodiscard]] bool meets_on_paper() const { return paper_; }

 private:
  struct Kept {
    const Trial* trial = nullptr;
    Found found;
  };
  [[nodiscard]] std::vector<std::vector<int>> sets() const;
  [[nodiscard]] Trial trial_of(const std::vector<int>& members) const;
  void try_set(const Trial& trial);
  [[nodiscard]] Topup told(const Kept& kept) const;
  [[nodiscard]] bool better(const Kept& a, const Kept& b) const;

  const contents::Belief& belief_;
  const recipe::Recipe& recipe_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  const Options& options_;
  conformity::Options points_;
  double wanted_;
  Vial vial_;
  std::vector<Candidate> usable_;
  std::vector<Trial> trials_;
  std::vector<Kept> kept_;  ///< the best of each set that was not ruled out
  Kept surest_;
  bool paper_ = false;
};

/// Every set of candidates that may meet each other, no stock twice; the empty one first, then by
/// size. With more candidates than one search can hold, sets of at most four doses.
std::vector<std::vector<int>> Best::sets() const {
  const auto n = static_cast<int>(usable_.size());
  const std::size_t most = n <= most_doses ? at(n) : 4;
  std::vector<std::vector<int>> all = {{}};
  for (std::size_t from = 0; from < all.size(); ++from) {
    if (all[from].size() == most) continue;
    const int next = all[from].empty() ? 0 : all[from].back() + 1;
    for (int j = next; j < n; ++j) {
      const bool fits = std::ranges::all_of(all[from], [&](int other) {
        const int a = usable_[at(j)].addition.stock, b = usable_[at(other)].addition.stock;
        return a != b && recipe::may_meet(book_, a, b);
      });
      if (!fits) continue;
      std::vector<int> set = all[from];
      set.push_back(j);
      all.push_back(std::move(set));
    }
  }
  return all;
}

Trial Best::trial_of(const std::vector<int>& members) const {
  Trial trial;
  trial.members = members;
  for (const int j : members) trial.chosen.push_back(usable_[at(j)]);
  trial.model = std::make_unique<OddsModel>(belief_, recipe_, trial.chosen, plant_, book_);
  const auto n = static_cast<Eigen::Index>(members.size());
  DoseSet set;
  set.low.resize(n);
  set.high.resize(n);
  set.price.resize(n);
  set.ml_per_g.resize(n);
  set.room_g = vial_.room_g;
  set.room_ml = vial_.room_ml;
  set.visits_cost = plant_.prices.visit * static_cast<double>(n);
  for (Eigen::Index j = 0; j < n; ++j) {
    const Candidate& each = trial.chosen[static_cast<std::size_t>(j)];
    const int station = each.addition.station;
    const double least = station >= 0 ? plant_.stations[at(station)].least_dose_g : 0.0;
    const Dosing dosing = dosing_of(belief_, station, each.addition.stock, plant_, book_);
    set.low[j] = std::max(1e-9, dosing.true_amount(least));
    set.high[j] = each.cap_g;
    set.price[j] = each.price_per_g;
    set.ml_per_g[j] = each.ml_per_g;
  }
  trial.search = std::make_unique<SetSearch>(*trial.model, std::move(set), points_);
  return trial;
}

/// Enough odds before too few; enough ones by money, too few by odds.
bool Best::better(const Kept& a, const Kept& b) const {
  const bool a_meets = a.found.odds >= wanted_, b_meets = b.found.odds >= wanted_;
  if (a_meets != b_meets) return a_meets;
  if (!a_meets) return a.found.odds > b.found.odds;
  const double gain = options_.success * (a.found.odds - b.found.odds);
  return a.found.cost - gain < b.found.cost;
}

void Best::try_set(const Trial& trial) {
  const SetSearch& search = *trial.search;
  // A little more than wanted, so that the points of the odds shown agree.
  const double reserve = 0.1 * std::min(0.02, 1.0 - wanted_);
  Kept kept{&trial, search.surest()};
  if (surest_.trial == nullptr || kept.found.odds > surest_.found.odds) surest_ = kept;
  if (kept.found.odds >= wanted_ + reserve) {
    kept.found = search.cheapest(kept.found, wanted_ + reserve);
    if (options_.success > 0.0) {
      const Found valued = search.surest(options_.success);
      if (valued.odds >= wanted_ + reserve) kept.found = valued;
    }
  }
  kept_.push_back(kept);
}

void Best::search() {
  for (const std::vector<int>& members : sets()) {
    Trial trial = trial_of(members);
    if (!trial.search->fits()) continue;
    paper_ = paper_ || trial.search->meets_on_paper();
    trials_.push_back(std::move(trial));
  }
  // Those that promise most come first, so that the others can be ruled out.
  std::vector<const Trial*> order;
  for (const Trial& each : trials_) order.push_back(&each);
  std::ranges::stable_sort(order, [](const Trial* a, const Trial* b) {
    return a->search->odds_at_most() > b->search->odds_at_most() + 1e-3;
  });
  for (const Trial* trial : order) {
    // Hopeless sets: cannot have better odds than what stands, nor be enough and cheaper.
    const double most = trial->search->odds_at_most();
    const bool may_be_surest = surest_.trial == nullptr || most > surest_.found.odds + 1e-4;
    const bool may_be_best = most >= wanted_;
    if (may_be_surest || may_be_best) try_set(*trial);
  }
  std::ranges::stable_sort(kept_, [&](const Kept& a, const Kept& b) { return better(a, b); });
}

Topup Best::told(const Kept& kept) const {
  Topup topup;
  const Trial& trial = *kept.trial;
  topup.outcome = trial.members.empty() ? Outcome::nothing_needed : Outcome::found;
  topup.cost = kept.found.cost;
  std::vector<double> grams(kept.found.grams.begin(), kept.found.grams.end());
  const Vial then = vial_after(vial_, trial.chosen, grams);
  topup.total_g = then.net_g;
  topup.binding = binding_in_words(then, recipe_, trial.chosen, grams, book_);
  for (std::size_t j = 0; j < grams.size(); ++j) {
    Addition addition = trial.chosen[j].addition;
    const Dosing dosing = dosing_of(belief_, addition.station, addition.stock, plant_, book_);
    addition.amount_g = std::max(0.0, dosing.told_amount(grams[j]));
    topup.additions.push_back(addition);
  }
  // The dose with the largest spread goes first: what comes after can still answer for it.
  std::ranges::stable_sort(topup.additions, [&](const Addition& a, const Addition& b) {
    const auto spread = [&](const Addition& each) {
      const Dosing dosing = dosing_of(belief_, each.station, each.stock, plant_, book_);
      return dosing.spread(dosing.true_amount(each.amount_g));
    };
    return spread(a) > spread(b);
  });
  topup.odds = odds_of(belief_, recipe_, topup.additions, plant_, book_, options_);
  return topup;
}

Answer Best::answer() const {
  Answer answer;
  if (kept_.empty()) return answer;
  answer.best = told(kept_.front());
  answer.meets_risk = answer.best.odds.value >= wanted_;
  answer.surest =
      surest_.trial == kept_.front().trial && surest_.found.odds <= kept_.front().found.odds
          ? answer.best
          : told(surest_);
  for (std::size_t i = 1; i < kept_.size() && !answer.second; ++i) {
    if (kept_[i].trial->members != kept_.front().trial->members) answer.second = told(kept_[i]);
  }
  return answer;
}

}  // namespace

Answer best(const contents::Belief& belief, const recipe::Recipe& recipe, const Means& means,
            const plant::Plant& plant, const recipe::Book& book, const Options& options) {
  Options rough = options;
  rough.conformity = search_points(options.conformity);
  Topup paper = cheapest(belief, recipe, means, plant, book, rough);
  Answer answer;
  if (paper.outcome == Outcome::not_permitted) {
    answer.best = answer.surest = std::move(paper);
    return answer;
  }
  Best search(belief, recipe, means, plant, book, options);
  search.search();
  answer = search.answer();
  if (paper.outcome == Outcome::impossible) {
    answer.impossible = Impossible::by_any_amounts;
    answer.proved = prove_impossible(belief, recipe, means, plant, book, false);
  } else if (!search.meets_on_paper()) {
    answer.impossible = Impossible::by_least_doses;
    answer.proved = prove_impossible(belief, recipe, means, plant, book, true);
  } else if (!answer.meets_risk) {
    answer.impossible = Impossible::by_risk;
  }
  if (answer.proved) {
    // What is left of the odds comes from the doubt about the contents alone.
    answer.best = paper.outcome == Outcome::impossible ? std::move(paper) : answer.best;
    answer.best.outcome = Outcome::impossible;
    answer.best.additions.clear();
    answer.best.because = answer.proved->in_words;
  }
  return answer;
}

}  // namespace vialwright::topup
