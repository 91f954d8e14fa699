#include "decide/rescues.hpp"

#include <algorithm>
#include <cmath>

#include "decide/judged.hpp"

namespace vialwright::decide {
namespace {

/// Other recipes that are searched in full, by the most that they may bring. Those behind are worth
/// less even if they were sure to succeed.
constexpr std::size_t searched_in_full = 8;
constexpr std::size_t unasked_searched = 2;  ///< to say which order would change the answer

/// Worth more than scrapping by less than this is not told; money is shown to two decimals.
constexpr double a_trifle = 0.005;

/// How far the mean is inside one limit of a line, over the standard deviation of that.
double inside_sd(const contents::Belief& belief, const conformity::Line& line, double limit,
                 double sign) {
  Eigen::VectorXd row = line.weights;
  double constant = limit;
  if (line.divisor.size() > 0) {
    row -= limit * line.divisor;
    constant = 0.0;
  }
  const double sd = std::sqrt(std::max(0.0, row.dot(belief.covariance * row)));
  return sign * (row.dot(belief.mean) - constant) / std::max(sd, 1e-12);
}

/// The same of a limit on colour, with the doubt of L*, a*, b* along the way to the colour wanted.
double inside_sd(const contents::Belief& belief, const conformity::ColourLine& line) {
  const contents::Colour seen = contents::colour_of(belief, *line.view);
  const double off = colour::difference_00(seen.mean, line.target);
  Eigen::Vector3d way(seen.mean.l - line.target.l, seen.mean.a - line.target.a,
                      seen.mean.b - line.target.b);
  const double apart = way.norm();
  way = apart > 0.0 ? Eigen::Vector3d(way / apart) : Eigen::Vector3d(1.0, 0.0, 0.0);
  // CIEDE2000 is about `off / apart` of the distance in CIELAB there.
  const double scale = apart > 0.0 ? off / apart : 1.0;
  const double sd = scale * std::sqrt(std::max(0.0, way.dot(seen.covariance * way)));
  return (line.high - off) / std::max(sd, 1e-12);
}

double nearest_limit_sd(const contents::Belief& belief, const recipe::Recipe& recipe,
                        const recipe::Book& book) {
  constexpr double far = 1e3;  // a recipe without limits has none near
  double nearest = far;
  for (const conformity::Line& line : conformity::lines_of(recipe, belief)) {
    if (std::isfinite(line.low)) {
      nearest = std::min(nearest, inside_sd(belief, line, line.low, 1.0));
    }
    if (std::isfinite(line.high)) {
      nearest = std::min(nearest, inside_sd(belief, line, line.high, -1.0));
    }
  }
  for (const conformity::ColourLine& line : conformity::colour_lines_of(recipe, belief, book)) {
    nearest = std::min(nearest, inside_sd(belief, line));
  }
  return std::max(nearest, -far);
}

double age_of(const line::VialRecord& vial, const line::State& state) {
  if (vial.doses.empty()) return 0.0;
  const double seconds = quantity::seconds_between(vial.doses.front().origin.time, state.as_of);
  return std::max(0.0, seconds / 86'400.0);
}

const topup::Addition* smallest_dose(const topup::Topup& topup, const plant::Plant& plant,
                                     double* ratio) {
  const topup::Addition* smallest = nullptr;
  for (const topup::Addition& each : topup.additions) {
    if (each.station < 0) continue;
    const double least = plant.stations[static_cast<std::size_t>(each.station)].least_dose_g;
    if (!(least > 0.0)) continue;
    if (smallest != nullptr && each.amount_g / least >= *ratio) continue;
    smallest = &each;
    *ratio = each.amount_g / least;
  }
  return smallest;
}

bool answers(const topup::Topup& topup) {
  return topup.outcome == topup::Outcome::found || topup.outcome == topup::Outcome::nothing_needed;
}

}  // namespace

bool usable(const TopupAnswer& answer) {
  if (answer.topup.outcome == topup::Outcome::found) return answer.topup.dosable;
  return answer.topup.outcome == topup::Outcome::nothing_needed && answer.meets_risk;
}

double odds_of(const TopupAnswer& answer) {
  // What needs no addition was never a top-up: its odds are those of the evidence.
  if (answer.topup.outcome == topup::Outcome::nothing_needed) return answer.topup.odds.value;
  return answer.corrected ? answer.corrected->odds : answer.topup.odds.value;
}

topup::Options Rescues::how(const recipe::Recipe& recipe) const {
  topup::Options options;
  options.conformity = options_.conformity;
  options.success =
      market_.fresh(recipe) + market_.most_late(recipe.id).value_or(0.0) + market_.disposal();
  return options;
}

void Rescues::ask_history(TopupAnswer& answer, const recipe::Recipe& recipe,
                          const line::VialRecord& vial, const Decision& decision) const {
  answer.now.odds = answer.topup.odds.value;
  answer.now.age_days = age_of(vial, state_);
  double ratio = 0.0;
  if (const topup::Addition* dose = smallest_dose(answer.topup, state_.plant, &ratio)) {
    answer.now.least_dose_ratio = ratio;
    answer.now.stock = dose->stock;
    answer.smallest = state_.book.stocks[static_cast<std::size_t>(dose->stock)].id;
  }
  const auto after =
      topup::after(decision.estimate->belief, answer.topup.additions, state_.plant, state_.book);
  answer.now.margin_sd = nearest_limit_sd(after, recipe, state_.book);
  answer.corrected = outcomes::correct(answer.now, recalibration_);
}

TopupAnswer Rescues::solve(const recipe::Recipe& recipe, const line::VialRecord& vial,
                           const Decision& decision) const {
  const contents::Belief& belief = decision.estimate->belief;
  topup::Answer found = topup::best(belief, recipe, means_of(state_, vial, belief), state_.plant,
                                    state_.book, how(recipe));
  TopupAnswer answer;
  answer.recipe = recipe.id;
  const bool own = vial.recipe && vial.recipe->id == recipe.id && still_wants(state_, vial);
  answer.order = own ? vial.order : market_.best_order(recipe.id);
  answer.topup = std::move(found.best);
  answer.meets_risk = found.meets_risk;
  answer.second = std::move(found.second);
  answer.impossible = found.impossible;
  answer.proved = std::move(found.proved);
  answer.nearest = std::move(found.nearest);
  answer.fresh = market_.fresh(recipe);
  if (!answers(answer.topup)) return answer;
  ask_history(answer, recipe, vial, decision);
  const double late =
      own ? market_.wanted(vial.order, recipe.id).late : market_.most_late(recipe.id).value_or(0.0);
  answer.worth = market_.worth(decide::odds_of(answer), answer.topup.cost, answer.fresh + late);
  return answer;
}

std::vector<TopupAnswer> Rescues::own_and(const std::vector<std::string>& asked,
                                          const line::VialRecord& vial,
                                          const Decision& decision) const {
  std::vector<TopupAnswer> found;
  if (vial.recipe) found.push_back(solve(*vial.recipe, vial, decision));
  for (const std::string& id : asked) {
    const recipe::Recipe* recipe = line::find_recipe(state_, id);
    const bool own = vial.recipe && vial.recipe->id == id;
    if (recipe != nullptr && !own) found.push_back(solve(*recipe, vial, decision));
  }
  return found;
}

std::vector<Rescues::Possible> Rescues::possible_on_paper(const std::vector<TopupAnswer>& known,
                                                          const line::VialRecord& vial,
                                                          const Decision& decision,
                                                          Among among) const {
  const contents::Belief& belief = decision.estimate->belief;
  const topup::Means means = means_of(state_, vial, belief);
  topup::Options rough;  // on paper; the odds are not looked at
  rough.conformity.points = rough.conformity.most_points = 64;
  std::vector<Possible> possible;
  for (const recipe::Recipe& recipe : state_.recipes) {
    const bool told = std::any_of(known.begin(), known.end(), [&](const TopupAnswer& each) {
      return each.recipe == recipe.id;
    });
    const auto late = market_.most_late(recipe.id);
    const bool wanted = late || market_.demand(recipe.id) != nullptr;
    if (told || wanted != (among == Among::wanted)) continue;
    const auto paper = topup::cheapest(belief, recipe, means, state_.plant, state_.book, rough);
    if (!answers(paper)) continue;
    const double at_most = market_.fresh(recipe) + late.value_or(0.0) - paper.cost;
    if (at_most > a_trifle - market_.disposal()) possible.push_back({&recipe, at_most});
  }
  std::stable_sort(possible.begin(), possible.end(),
                   [](const Possible& a, const Possible& b) { return a.at_most > b.at_most; });
  const std::size_t most = among == Among::wanted ? searched_in_full : unasked_searched;
  if (possible.size() > most) possible.resize(most);
  return possible;
}

std::vector<TopupAnswer> Rescues::others(const std::vector<TopupAnswer>& known,
                                         const line::VialRecord& vial, const Decision& decision,
                                         Among among) const {
  std::vector<TopupAnswer> others;
  for (const Possible& each : possible_on_paper(known, vial, decision, among)) {
    TopupAnswer answer = solve(*each.recipe, vial, decision);
    if (answers(answer.topup)) others.push_back(std::move(answer));
  }
  std::stable_sort(others.begin(), others.end(),
                   [](const TopupAnswer& a, const TopupAnswer& b) { return a.worth > b.worth; });
  return others;
}

const recipe::Recipe& Rescues::recipe_of(const TopupAnswer& answer,
                                         const line::VialRecord& vial) const {
  if (vial.recipe && vial.recipe->id == answer.recipe) return *vial.recipe;
  const recipe::Recipe* recipe = line::find_recipe(state_, answer.recipe);
  require(recipe != nullptr, "an answer speaks of a recipe that is there");
  return *recipe;
}

double Rescues::odds_later(const TopupAnswer& answer, double days, const line::VialRecord& vial,
                           const Decision& decision) const {
  const recipe::Recipe& recipe = recipe_of(answer, vial);
  const auto belief = grown_older(decision.estimate->belief, days, vial, state_);
  topup::Options options;
  options.conformity = options_.conformity;
  options.conformity.points = options.conformity.most_points = 256;  // for money, not for a verdict
  const double odds =
      topup::odds_of(belief, recipe, answer.topup.additions, state_.plant, state_.book, options)
          .value;
  if (answer.topup.outcome == topup::Outcome::nothing_needed) {
    const double risk = recipe.consumer_risk.value_or(state_.plant.risks.consumer);
    return odds >= 1.0 - risk ? odds : 0.0;  // what may not be released as it is fills no order
  }
  outcomes::Outcome then = answer.now;
  then.odds = odds;
  then.age_days += days;
  then.margin_sd = nearest_limit_sd(
      topup::after(belief, answer.topup.additions, state_.plant, state_.book), recipe, state_.book);
  return outcomes::correct(then, recalibration_).odds;
}

}  // namespace vialwright::decide
