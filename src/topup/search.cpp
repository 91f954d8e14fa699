#include "topup/search.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace vialwright::topup {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

// An amount without a station, by hand, may be as small as one can weigh.
constexpr double by_hand_g = 1e-6;
// So few candidates below a family that bounds of it cost more than they save.
constexpr int not_worth_bounding = 2;
// The cheapest keep this much more than the wanted odds: what the fine points leave in doubt.
constexpr double reserve = 2e-4;
// Standard deviations beyond the limit of a colour.
constexpr double hopeless = 6.0;
// Sets whose quick odds are this near to the best are looked at closely.
constexpr double quick_error = 0.1;
// The rough points may be this far off.
constexpr double rough_error = 0.02;

/// Few points, and others than those of the odds that are shown.
conformity::Options rough_points(const conformity::Options& shown) {
  conformity::Options points = shown;
  points.points = points.most_points = 64;
  points.decide_at = -1.0;
  points.seed = shown.seed ^ 0x5eed5eedULL;
  return points;
}

/// Many points, for the last word on whether the odds are enough.
conformity::Options fine_points(const conformity::Options& shown) {
  conformity::Options points = shown;
  points.points = 512;
  points.most_points = 16384;
  points.error = reserve;
  points.decide_at = -1.0;
  points.seed = shown.seed ^ 0xf1e5f1e5ULL;
  return points;
}

double normal_quantile(double p) {
  if (p <= 0.0 || p >= 1.0) return p <= 0.0 ? -40.0 : 40.0;
  double low = -40.0, high = 40.0;
  for (int half = 0; half < 60; ++half) {
    const double middle = 0.5 * (low + high);
    (0.5 * std::erfc(-middle / std::sqrt(2.0)) < p ? low : high) = middle;
  }
  return low;
}

}  // namespace

Doses doses_of(const contents::Belief& belief, const Vial& vial,
               const std::vector<Candidate>& candidates, const plant::Plant& plant,
               const recipe::Book& book) {
  const auto n = static_cast<Eigen::Index>(candidates.size());
  Doses doses;
  for (Eigen::VectorXd* each : {&doses.low, &doses.high, &doses.price, &doses.ml_per_g})
    each->setZero(n);
  for (Eigen::Index j = 0; j < n; ++j) {
    const Candidate& each = candidates[static_cast<std::size_t>(j)];
    const int station = each.addition.station;
    const double least = station >= 0 ? plant.stations[at(station)].least_dose_g : 0.0;
    const Dosing dosing = dosing_of(belief, station, each.addition.stock, plant, book);
    doses.low[j] = std::max(by_hand_g, dosing.true_amount(least));
    doses.high[j] = each.cap_g >= doses.low[j] ? each.cap_g : 0.0;
    doses.price[j] = each.price_per_g;
    doses.ml_per_g[j] = each.ml_per_g;
  }
  doses.room_g = vial.room_g;
  doses.room_ml = vial.room_ml;
  doses.visit = plant.prices.visit;
  return doses;
}

Search::Search(const std::vector<Candidate>& candidates, const OddsModel& model, Doses doses,
               const recipe::Book& book, const SearchOptions& options)
    : candidates_(candidates),
      model_(model),
      doses_(std::move(doses)),
      book_(book),
      options_(options),
      rough_(rough_points(options.points)),
      fine_(fine_points(options.points)),
      margin_(normal_quantile(options.wanted)) {}

bool Search::may_join(const std::vector<int>& in, int candidate) const {
  if (doses_.high[candidate] <= 0.0 || in.size() == most_doses) return false;
  const int stock = candidates_[at(candidate)].addition.stock;
  return std::ranges::all_of(in, [&](int other) {
    const int there = candidates_[at(other)].addition.stock;
    return there != stock && recipe::may_meet(book_, stock, there);
  });
}

bool Search::is_set(const Family& family) const {
  return family.next == static_cast<int>(candidates_.size());
}

/// Without and with the next candidate that may join; the sets themselves where few are left.
std::vector<Family> Search::split(const Family& family) const {
  const int n = static_cast<int>(candidates_.size());
  std::vector<Family> open = {family}, made;
  while (!open.empty()) {
    Family each = std::move(open.back());
    open.pop_back();
    while (!is_set(each) && !may_join(each.in, each.next)) ++each.next;
    const bool small = n - each.next <= not_worth_bounding;
    if (is_set(each) || (each.next > family.next && !small)) {
      made.push_back(std::move(each));
      continue;
    }
    Family with = each;
    with.in.push_back(each.next++);
    ++with.next;
    open.push_back(std::move(each));
    open.push_back(std::move(with));
  }
  return made;
}

double Search::worth(const Found& found) const {
  return options_.success * found.odds - found.cost;
}

/// Enough odds before too few; enough ones by money, too few by odds.
bool Search::better(const SetBest& a, const SetBest& b) const {
  if (a.meets != b.meets) return a.meets;
  return a.meets ? worth(a.best) > worth(b.best) : a.best.odds > b.best.odds;
}

/// Could some set of the family stand among the best two, be the surest, or show that the recipe
/// can be met on paper?
bool Search::promises(const Open& open) const {
  const Bounds& bounds = open.bounds;
  if (!bounds.fits) return false;
  if (bounds.on_paper && !on_paper_) return true;
  if (best_.size() < 2 || bounds.odds_at_most > surest_.surest.odds + slack) return true;
  const SetBest& second = best_.back();
  if (std::isinf(bounds.cost_at_least))
    return !second.meets && bounds.odds_at_most > second.best.odds + slack;
  return !second.meets ||
         options_.success * bounds.odds_at_most - bounds.cost_at_least > worth(second.best);
}

/// What promises better odds goes first; then the cheaper, then the more decided.
struct Search::Later {
  bool operator()(const Open& a, const Open& b) const {
    const double by_odds = std::floor((a.bounds.odds_at_most - b.bounds.odds_at_most) / slack);
    if (by_odds != 0.0) return a.bounds.odds_at_most < b.bounds.odds_at_most;
    if (a.bounds.cost_at_least != b.bounds.cost_at_least)
      return a.bounds.cost_at_least > b.bounds.cost_at_least;
    return a.family.next < b.family.next;
  }
};

/// A family whose nearest colour is some six of its standard deviations beyond the limit holds
/// nothing of use. By search from several starts, so not as sure as the bounds of the lines.
void Search::look_at_colours(const Family& family, Bounds& bounds) const {
  if (model_.colours().empty() || !bounds.fits) return;
  std::vector<int> members = family.in;
  for (int j = family.next; j < model_.candidates(); ++j)
    if (doses_.high[j] > 0.0) members.push_back(j);
  if (members.size() > static_cast<std::size_t>(most_doses)) return;
  const DoseSet all = doses_of(members);
  AimRegion region{all.low, all.high, {}, Eigen::Vector2d(all.room_g, all.room_ml)};
  region.low.tail(static_cast<Eigen::Index>(members.size() - family.in.size())).setZero();
  region.rows.resize(2, all.low.size());
  region.rows << Amounts::Ones(all.low.size()).transpose(), all.ml_per_g.transpose();
  const Amounts start = region.low;
  const std::vector<Aim> aims = model_.aims(members);
  const Nearest nearest = ColourSearch(aims, std::move(region)).best(start);
  if (nearest.worst <= 1.0) return;
  bounds.on_paper = false;
  if (nearest.worst - 1.0 <= hopeless * model_.doubt_of_colours(members, nearest.grams)) return;
  bounds.odds_at_most = 0.0;
  bounds.cost_at_least = std::numeric_limits<double>::infinity();
}

void Search::look(Family family) {
  Open open{std::move(family), {}};
  open.bounds = bounds_of(open.family, model_, doses_, margin_);
  look_at_colours(open.family, open.bounds);
  if (is_set(open.family)) on_paper_ = on_paper_ || (open.bounds.fits && open.bounds.on_paper);
  if (promises(open)) open_.push_back(std::move(open));
}

void Search::run() {
  Open nothing{{{}, static_cast<int>(candidates_.size())}, {}};
  nothing.bounds = bounds_of(nothing.family, model_, doses_, margin_);
  look_at_colours(nothing.family, nothing.bounds);
  on_paper_ = nothing.bounds.on_paper;
  try_set(nothing);
  look({{}, 0});
  while (!open_.empty()) {
    const auto next =
        std::ranges::min_element(open_, [](const Open& a, const Open& b) { return Later{}(b, a); });
    const Open open = std::move(*next);
    *next = std::move(open_.back());
    open_.pop_back();
    if (!promises(open)) continue;
    if (is_set(open.family)) {
      try_set(open);
      continue;
    }
    for (Family& part : split(open.family))
      if (!part.in.empty() || !is_set(part)) look(std::move(part));
  }
}

DoseSet Search::doses_of(const std::vector<int>& members) const {
  const auto n = static_cast<Eigen::Index>(members.size());
  DoseSet set{Amounts(n), Amounts(n), Amounts(n), Amounts(n)};
  set.room_g = doses_.room_g;
  set.room_ml = doses_.room_ml;
  set.visits_cost = doses_.visit * static_cast<double>(n);
  for (Eigen::Index c = 0; c < n; ++c) {
    const int j = members[static_cast<std::size_t>(c)];
    set.low[c] = doses_.low[j];
    set.high[c] = doses_.high[j];
    set.price[c] = doses_.price[j];
    set.ml_per_g[c] = doses_.ml_per_g[j];
  }
  return set;
}

void Search::try_set(const Open& open) {
  SetBest set;
  set.members = open.family.in;
  const SetOdds odds(model_, set.members);
  const std::vector<Aim> aims = model_.aims(set.members);
  const SetSearch search(odds, doses_of(set.members), rough_, aims);
  set.surest = search.surest();
  if (odds.has_colours()) look_closely(set, odds, search);
  set.best = set.surest;
  const bool may_be_best = best_.size() < 2 || !best_.back().meets || options_.success > 0.0 ||
                           open.bounds.cost_at_least < best_.back().best.cost;
  if (set.surest.odds >= options_.wanted - rough_error && may_be_best)
    find_enough(set, odds, search);
  if (best_.empty() || set.surest.odds > surest_.surest.odds) surest_ = set;
  best_.push_back(std::move(set));
  std::ranges::stable_sort(best_,
                           [this](const SetBest& a, const SetBest& b) { return better(a, b); });
  if (best_.size() > 2) best_.pop_back();
}

/// What lines and colours have in common is not in the quick odds; where these are near the best,
/// the true ones are climbed.
void Search::look_closely(SetBest& set, const SetOdds& odds, const SetSearch& search) const {
  const double quick = set.surest.odds;
  const auto true_odds = [&] { return odds.odds(set.surest.grams, rough_).value; };
  if (quick > 1e-6) set.surest.odds = true_odds();
  const double compared = std::max(quick, set.surest.odds);
  if (compared < std::min(options_.wanted, surest_.surest.odds - quick_error)) return;
  if (compared < 1e-3) return;
  set.surest = search.at(search.polished(set.surest.grams, rough_));
  set.surest.odds = true_odds();
}

/// The cheapest amounts with the wanted odds. The rough points lead there; the fine ones and those
/// that will be shown say how far the rough ones were off, which changes little nearby.
void Search::find_enough(SetBest& set, const SetOdds& odds, const SetSearch& search) const {
  const auto true_odds = [&](const Found& found) {
    return std::min(odds.odds(found.grams, fine_).value,
                    odds.odds(found.grams, options_.points).value);
  };
  const double most = true_odds(set.surest);
  set.meets = most >= options_.wanted;
  if (!set.meets) return;
  double off = search.at(set.surest.grams).odds - most;
  set.surest.odds = set.best.odds = most;
  for (int round = 0; round < 4; ++round) {
    Found start = set.surest;
    start.odds += off;
    const double target = options_.wanted + off + std::min(reserve, most - options_.wanted);
    Found cheap = search.cheapest(start, std::min(target, start.odds));
    const double rough = cheap.odds;
    cheap.odds = true_odds(cheap);
    off = rough - cheap.odds;
    if (cheap.odds < options_.wanted) continue;
    if (cheap.cost < set.best.cost) set.best = cheap;
    if (cheap.odds <= options_.wanted + 3.0 * reserve) break;
  }
  if (options_.success <= 0.0) return;
  Found valued = search.surest(options_.success);
  valued.odds = true_odds(valued);
  for (const Found* each : {&valued, &set.surest})
    if (each->odds >= options_.wanted && worth(*each) > worth(set.best)) set.best = *each;
}

}  // namespace vialwright::topup
