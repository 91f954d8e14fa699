#include <algorithm>
#include <cmath>

#include "topup/nearest.hpp"
#include "topup/search.hpp"
#include "topup/selection.hpp"
#include "topup/words.hpp"

namespace vialwright::topup {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

SearchOptions search_options(const recipe::Recipe& recipe, const plant::Plant& plant,
                             const Options& options) {
  SearchOptions how;
  how.wanted = options.wanted >= 0.0 ? options.wanted
                                     : 1.0 - recipe.consumer_risk.value_or(plant.risks.consumer);
  how.success = options.success;
  how.points = options.conformity;
  return how;
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
        how_(search_options(recipe, plant, options)),
        vial_(vial_of(belief, means.fill_now_ml, container_of(recipe, plant))),
        usable_(select(belief, vial_, recipe, means, plant, book).usable),
        model_(belief, recipe, usable_, plant, book),
        search_(usable_, model_, doses_of(belief, vial_, usable_, plant, book), book, how_) {
    search_.run();
  }

  [[nodiscard]] Answer answer() const;
  [[nodiscard]] bool meets_on_paper() const { return search_.on_paper(); }
  [[nodiscard]] Topup as_it_is() const { return told({}, {Amounts(0), 0.0, 0.0}); }
  [[nodiscard]] std::optional<NearestMix> nearest() const {
    return nearest_mix(belief_, recipe_, vial_, usable_, model_, plant_, book_);
  }

 private:
  [[nodiscard]] Topup told(const std::vector<int>& members, const Found& found) const;
  [[nodiscard]] Addition told(const Candidate& candidate, double grams) const;
  [[nodiscard]] std::vector<std::size_t> order(const std::vector<int>& members,
                                               const Amounts& grams) const;

  const contents::Belief& belief_;
  const recipe::Recipe& recipe_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  const Options& options_;
  SearchOptions how_;
  Vial vial_;
  std::vector<Candidate> usable_;
  OddsModel model_;
  Search search_;
};

/// What the station is told, within its range to the last bit.
Addition Best::told(const Candidate& candidate, double grams) const {
  Addition addition = candidate.addition;
  const Dosing dosing = dosing_of(belief_, addition.station, addition.stock, plant_, book_);
  addition.amount_g = std::max(0.0, dosing.told_amount(grams));
  if (addition.station < 0) return addition;
  const plant::Station& station = plant_.stations[at(addition.station)];
  addition.amount_g = std::clamp(addition.amount_g, station.least_dose_g, station.largest_dose_g);
  return addition;
}

/// The dose whose spread takes the largest share of the room that some line leaves goes first: a
/// look between the doses then shows the largest error while all the others can still answer for
/// it, where the last dose's error is answered by none.
std::vector<std::size_t> Best::order(const std::vector<int>& members, const Amounts& grams) const {
  const SetOdds odds(model_, members);
  std::vector<double> moved(members.size(), 0.0);
  std::vector<std::size_t> order;
  for (std::size_t j = 0; j < members.size(); ++j) {
    const auto dose = static_cast<Eigen::Index>(j);
    const Addition& addition = usable_[at(members[j])].addition;
    const double spread =
        dosing_of(belief_, addition.station, addition.stock, plant_, book_).spread(grams[dose]);
    for (std::size_t side = 0; side < odds.sides(); ++side) {
      const SetOdds::Margin margin = odds.margin(side, grams);
      const double room = std::max(std::hypot(margin.mean, margin.sd), 1e-300);
      moved[j] = std::max(moved[j], std::abs(odds.slopes(side)[dose]) * spread / room);
    }
    order.push_back(j);
  }
  std::ranges::stable_sort(order,
                           [&](std::size_t a, std::size_t b) { return moved[a] > moved[b]; });
  return order;
}

Topup Best::told(const std::vector<int>& members, const Found& found) const {
  Topup topup;
  topup.outcome = members.empty() ? Outcome::nothing_needed : Outcome::found;
  topup.cost = found.cost;
  std::vector<Candidate> chosen;
  chosen.reserve(members.size());
  for (const int j : members) chosen.push_back(usable_[at(j)]);
  const std::vector<double> grams(found.grams.begin(), found.grams.end());
  const Vial then = vial_after(vial_, chosen, grams);
  topup.total_g = then.net_g;
  topup.binding = binding_in_words(then, without_colours(recipe_), chosen, grams, book_);
  for (const std::size_t j : order(members, found.grams))
    topup.additions.push_back(told(chosen[j], grams[j]));
  topup.odds = odds_of(belief_, recipe_, topup.additions, plant_, book_, options_);
  return topup;
}

Answer Best::answer() const {
  const SetBest& first = search_.best().front();
  const SetBest& surest = search_.surest();
  Answer answer;
  answer.best = told(first.members, first.best);
  answer.meets_risk = answer.best.odds.value >= how_.wanted;
  const bool is_surest = first.members == surest.members && first.best.grams == surest.surest.grams;
  answer.surest = is_surest ? answer.best : told(surest.members, surest.surest);
  if (search_.best().size() > 1) {
    const SetBest& second = search_.best().back();
    answer.second = told(second.members, second.best);
  }
  return answer;
}

/// What odds there are come from the doubt about the contents; `surest` has the best of them.
void forbid(Answer& answer, const Best& search, const std::string& because) {
  answer.best = search.as_it_is();
  answer.best.outcome = Outcome::impossible;
  answer.best.because = because;
}

}  // namespace

Answer best(const contents::Belief& belief, const recipe::Recipe& recipe, const Means& means,
            const plant::Plant& plant, const recipe::Book& book, const Options& options) {
  Options rough = options;
  rough.conformity.points = rough.conformity.most_points = 16;  // its odds are not looked at
  Topup paper = cheapest(belief, without_colours(recipe), means, plant, book, rough);
  if (paper.outcome == Outcome::not_permitted) {
    Answer answer;
    answer.best = answer.surest = std::move(paper);
    return answer;
  }
  const Best search(belief, recipe, means, plant, book, options);
  Answer answer = search.answer();
  if (answer.meets_risk) return answer;
  answer.impossible = Impossible::by_risk;
  const bool by_any = paper.outcome == Outcome::impossible;
  if (!by_any && search.meets_on_paper()) return answer;
  answer.proved = prove_impossible(belief, recipe, means, plant, book, !by_any);
  if (answer.proved) {
    answer.impossible = by_any ? Impossible::by_any_amounts : Impossible::by_least_doses;
    forbid(answer, search, answer.proved->in_words);
    return answer;
  }
  const auto mix = search.nearest();
  if (!mix || !mix->lines_kept || mix->told.nearest <= mix->told.limit) return answer;
  answer.impossible = Impossible::by_colour;
  answer.nearest = mix->told;
  forbid(answer, search, mix->told.in_words);
  return answer;
}

}  // namespace vialwright::topup
