#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>

#include "making/making.hpp"
#include "making/proving.hpp"

namespace vialwright::making {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// Where a colour is wanted there is a trace of clear liquid: nothing at all has none.
contents::Belief empty_vial(const recipe::Recipe& recipe, const recipe::Book& book) {
  contents::Belief belief;
  belief.components = static_cast<int>(book.components.size());
  belief.stocks = static_cast<int>(book.stocks.size());
  const Eigen::Index axes = belief.volume() + 1;
  belief.mean.setZero(axes);
  belief.covariance.setZero(axes, axes);
  constexpr double trace = 1e-6;  // g and mL
  if (!recipe.colours.empty()) belief.mean(belief.net()) = belief.mean(belief.volume()) = trace;
  return belief;
}

/// Do the contents say what to dose, or the colour alone?
bool aims_at_contents(const recipe::Recipe& recipe) {
  return std::ranges::any_of(recipe.tolerances, [](const recipe::Tolerance& line) {
    const recipe::Subject subject = recipe::subject_of(line.on);
    return (subject == recipe::Subject::component || subject == recipe::Subject::stock) &&
           std::isfinite(line.low) && std::isfinite(line.high);
  });
}

/// Both limits of each line drawn towards its target, so that `share` of the band is left; a line
/// with one limit has no target to hit and stays. A colour is drawn near only where nothing else
/// says what to dose, and not all the way: a point is more than any doses hit.
recipe::Recipe narrowed(recipe::Recipe recipe, double share) {
  constexpr double nearest = 0.05;
  const bool by_contents = aims_at_contents(recipe);
  for (recipe::Tolerance& line : recipe.tolerances) {
    if (line.on == recipe::ToleranceOn::colour && !by_contents)
      line.high *= std::max(share, nearest);
    if (!std::isfinite(line.low) || !std::isfinite(line.high)) continue;
    line.low = line.target + share * (line.low - line.target);
    line.high = line.target + share * (line.high - line.target);
  }
  return recipe;
}

/// Only the upper limits, or all.
std::vector<conformity::Line> upper_only(std::vector<conformity::Line> lines) {
  for (conformity::Line& line : lines) line.low = -recipe::no_limit;
  return lines;
}

/// A colour that is missed while no upper limit is: something can still be added, so `under`.
struct Chances {
  double passes = 0.0, under = 0.0, over = 0.0;
};

/// At the mean, every colour within its tolerance.
bool meets_colours_on_paper(const recipe::Recipe& recipe, const contents::Belief& then,
                            const recipe::Book& book) {
  const auto colours = conformity::colour_lines_of(recipe, then, book);
  if (colours.empty()) return true;
  const Eigen::VectorXd amounts = contents::colouring(then, then.mean);
  return std::ranges::all_of(colours, [&](const conformity::ColourLine& line) {
    return colour::difference_00(line.view->lab(amounts), line.target) <= line.high;
  });
}

/// A plan of first doses: amounts may move within what the stations can dose.
class Planning {
 public:
  Planning(const recipe::Recipe& recipe, std::vector<topup::Addition> nominal, const Stakes& stakes,
           const plant::Plant& plant, const recipe::Book& book, const topup::Options& options)
      : recipe_(recipe),
        nominal_(std::move(nominal)),
        stakes_(stakes),
        plant_(plant),
        book_(book),
        empty_(empty_vial(recipe, book)),
        points_(options.conformity) {
    points_.points = points_.most_points = 64;
    points_.seed ^= 0x5eed5eedULL;
  }

  [[nodiscard]] std::vector<topup::Addition> aimed() const;
  [[nodiscard]] Chances chances(const std::vector<topup::Addition>& doses,
                                const conformity::Options& options) const {
    const contents::Belief then = topup::after(empty_, doses, plant_, book_);
    const auto lines = conformity::lines_of(recipe_, then);
    const auto colours = conformity::colour_lines_of(recipe_, then, book_);
    const double all =
        conformity::probability(then.mean, then.covariance, lines, colours, options).value;
    const double not_over =
        conformity::probability(then.mean, then.covariance, upper_only(lines), options).value;
    return {all, std::max(0.0, not_over - all), 1.0 - not_over};
  }
  [[nodiscard]] double loss(const Chances& chances) const {
    return stakes_.under * chances.under + stakes_.over * chances.over;
  }

 private:
  [[nodiscard]] std::vector<topup::Addition> with(const Eigen::VectorXd& shares) const {
    std::vector<topup::Addition> doses = nominal_;
    for (std::size_t j = 0; j < doses.size(); ++j) {
      doses[j].amount_g *= 1.0 + shares[static_cast<Eigen::Index>(j)];
      if (doses[j].station < 0) continue;
      const plant::Station& station = plant_.stations[at(doses[j].station)];
      doses[j].amount_g =
          std::clamp(doses[j].amount_g, station.least_dose_g, station.largest_dose_g);
    }
    return doses;
  }
  [[nodiscard]] bool meets_on_paper(const std::vector<topup::Addition>& doses) const;
  /// What the search minimises: the loss and the stocks; where a miss costs nothing, the misses. An
  /// aim stays within the lines: where most vials miss, to be sure of missing low may cost least.
  [[nodiscard]] double regret_at(const Eigen::VectorXd& shares) const {
    const std::vector<topup::Addition> doses = with(shares);
    if (!meets_on_paper(doses)) return std::numeric_limits<double>::infinity();
    const Chances found = chances(doses, points_);
    if (stakes_.under <= 0.0 && stakes_.over <= 0.0) return found.under + found.over;
    double stocks = 0.0;
    for (const topup::Addition& each : doses)
      stocks += each.amount_g * book_.stocks[at(each.stock)].price_per_g;
    return loss(found) + stocks;
  }

  const recipe::Recipe& recipe_;
  std::vector<topup::Addition> nominal_;
  const Stakes& stakes_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  contents::Belief empty_;
  conformity::Options points_;
};

bool Planning::meets_on_paper(const std::vector<topup::Addition>& doses) const {
  const contents::Belief then = topup::after(empty_, doses, plant_, book_);
  constexpr double rounding = 1e-9;
  if (!meets_colours_on_paper(recipe_, then, book_)) return false;
  return std::ranges::all_of(conformity::lines_of(recipe_, then), [&](const auto& line) {
    const double value = line.weights.dot(then.mean);
    const double per = line.divisor.size() > 0 ? line.divisor.dot(then.mean) : 1.0;
    const double slack = rounding * std::abs(value);
    return value >= line.low * per - slack && value <= line.high * per + slack;
  });
}

/// Downhill by halving steps along each dose and along all together: few doses, a smooth loss, and
/// a step of one in twenty thousand at the end.
std::vector<topup::Addition> Planning::aimed() const {
  const auto n = static_cast<Eigen::Index>(nominal_.size());
  Eigen::VectorXd here = Eigen::VectorXd::Zero(n);
  double best = regret_at(here);
  for (double step = 0.01; step > 4e-5; step *= 0.5) {
    for (bool moved = true; moved;) {
      moved = false;
      for (Eigen::Index d = 0; d <= n; ++d) {
        const Eigen::VectorXd along = d == n ? Eigen::VectorXd(Eigen::VectorXd::Ones(n))
                                             : Eigen::VectorXd(Eigen::VectorXd::Unit(n, d));
        for (const double sign : {-1.0, 1.0}) {
          const Eigen::VectorXd tried = here + sign * step * along;
          const double regret = regret_at(tried);
          if (regret >= best - 1e-9) continue;
          best = regret;
          here = tried;
          moved = true;
        }
      }
    }
  }
  return with(here);
}

/// The doses that hit the targets on paper, or else come as near as the narrowest share of every
/// band allows, found by halving. Several stocks that would do: the cheapest.
topup::Topup on_target(const recipe::Recipe& recipe, const topup::Means& means,
                       const plant::Plant& plant, const recipe::Book& book,
                       const topup::Options& options) {
  topup::Options quick = options;
  quick.conformity.points = quick.conformity.most_points = 64;
  const auto within = [&](double share) {
    return topup::cheapest(empty_vial(recipe, book), narrowed(recipe, share), means, plant, book,
                           quick);
  };
  topup::Topup exact = within(0.0);
  if (exact.outcome == topup::Outcome::found) return exact;
  topup::Topup found = within(1.0);
  if (found.outcome != topup::Outcome::found) return found;
  for (double share = 0.5, step = 0.25; step > 1e-3; step *= 0.5) {
    topup::Topup nearer = within(share);
    const bool possible = nearer.outcome == topup::Outcome::found;
    if (possible) found = std::move(nearer);
    share += possible ? -step : step;
  }
  return found;
}

bool is_too_small(const topup::Addition& dose, const plant::Plant& plant) {
  return dose.station >= 0 && dose.amount_g < plant.stations[at(dose.station)].least_dose_g;
}

/// The plan that the aim starts from, or why there is none.
struct Start {
  Can can = Can::yes;
  std::string because;
  std::vector<topup::Addition> paper;  ///< hits the targets
  std::vector<topup::Addition> doses;  ///< can be made
};

/// What is too small to be dosed is left out, or dosed at its least with more of the rest: that
/// search is the top-up's.
Start dosable(Start start, const recipe::Recipe& recipe, const topup::Means& means,
              const plant::Plant& plant, const recipe::Book& book, const topup::Options& options) {
  const auto small = std::ranges::find_if(
      start.doses, [&](const topup::Addition& each) { return is_too_small(each, plant); });
  if (small == start.doses.end()) return start;
  const topup::Answer answer =
      topup::best(empty_vial(recipe, book), recipe, means, plant, book, options);
  if (answer.impossible == topup::Impossible::by_any_amounts ||
      answer.impossible == topup::Impossible::by_least_doses || answer.surest.additions.empty()) {
    start.can = Can::not_dosable;
    start.because = "less " + book.stocks[at(small->stock)].id + " than " +
                    plant.stations[at(small->station)].id + " can dose";
    return start;
  }
  start.doses = answer.surest.additions;
  return start;
}

/// Contents do not say all where a colour is wanted: the doses with the best odds that it is met.
Start coloured(Start start, const recipe::Recipe& recipe, const topup::Means& means,
               const plant::Plant& plant, const recipe::Book& book, const topup::Options& options) {
  const contents::Belief empty = empty_vial(recipe, book);
  if (meets_colours_on_paper(recipe, topup::after(empty, start.doses, plant, book), book))
    return start;
  const topup::Answer answer = topup::best(empty, recipe, means, plant, book, options);
  start.paper = start.doses = answer.surest.additions;
  if (!start.doses.empty() &&
      meets_colours_on_paper(recipe, topup::after(empty, start.doses, plant, book), book))
    return start;
  start.can = Can::impossible;
  start.because = answer.nearest ? answer.nearest->in_words : answer.best.because;
  if (start.because.empty()) start.because = "no doses bring the colour within its tolerance";
  return start;
}

Start start_of(const recipe::Recipe& recipe, const topup::Means& means, const plant::Plant& plant,
               const recipe::Book& book, const topup::Options& options) {
  const topup::Topup nominal = on_target(recipe, means, plant, book, options);
  Start start;
  if (nominal.outcome != topup::Outcome::found) {
    const bool denied = nominal.outcome == topup::Outcome::not_permitted;
    start.can = denied ? Can::not_permitted : Can::impossible;
    start.because = nominal.because;
    return start;
  }
  start.paper = start.doses = nominal.additions;
  start = coloured(std::move(start), recipe, means, plant, book, options);
  if (start.can != Can::yes) return start;
  start = dosable(std::move(start), recipe, means, plant, book, options);
  // The largest dose goes first: what follows, small, can answer for its error.
  std::ranges::stable_sort(start.doses, std::ranges::greater{}, &topup::Addition::amount_g);
  return start;
}

/// How much of that stock hits the targets; 0 where the targets need none.
double on_paper(const Start& start, int stock) {
  double grams = 0.0;
  for (const topup::Addition& each : start.paper)
    if (each.stock == stock) grams += each.amount_g;
  return grams;
}

double cost_of(const std::vector<topup::Addition>& doses, const plant::Plant& plant,
               const recipe::Book& book) {
  double cost = 0.0;
  for (const topup::Addition& each : doses)
    cost += each.amount_g * book.stocks[at(each.stock)].price_per_g + plant.prices.visit;
  return cost;
}

/// A station whose first meter is off doses by command alone: nothing else may stop its doses.
plant::Plant dosing_today(plant::Plant plant, const std::vector<int>& off) {
  for (plant::Station& station : plant.stations) {
    const auto stops = std::ranges::find_if(station.meters, [&](const std::string& id) {
      const auto meter = plant::find_instrument(plant, id);
      return meter && plant::is_meter(plant.instruments[at(*meter)].kind);
    });
    if (stops == station.meters.end()) continue;
    if (std::ranges::find(off, *plant::find_instrument(plant, *stops)) != off.end())
      station.meters.clear();
  }
  return plant;
}

}  // namespace

Forecast forecast(const recipe::Recipe& recipe, int container, const Today& today,
                  const Stakes& stakes, const plant::Plant& plant, const recipe::Book& book,
                  const topup::Options& options) {
  const plant::Plant as_is = dosing_today(plant, today.off);
  topup::Means means;
  means.loaded = today.loaded;
  means.container = container;
  const Start start = start_of(recipe, means, as_is, book, options);
  Forecast made;
  made.can = start.can;
  made.because = start.because;
  if (made.can != Can::yes) return made;
  const Planning planning(recipe, start.doses, stakes, as_is, book, options);
  const std::vector<topup::Addition> aimed = planning.aimed();
  for (const topup::Addition& each : aimed) {
    const double nominal_g = on_paper(start, each.stock);
    made.doses.push_back(
        {each, nominal_g, nominal_g > 0.0 ? each.amount_g / nominal_g - 1.0 : 0.0});
  }
  const Chances at_aim = planning.chances(aimed, options.conformity);
  const contents::Belief empty = empty_vial(recipe, book);
  made.passes = topup::odds_of(empty, recipe, aimed, as_is, book, options);
  made.at_nominal = topup::odds_of(empty, recipe, start.doses, as_is, book, options);
  made.under = at_aim.under;
  made.over = at_aim.over;
  made.loss = planning.loss(at_aim);
  made.loss_at_nominal = planning.loss(planning.chances(start.doses, options.conformity));
  const Proven proof =
      proven(recipe, container, aimed, today, as_is, plant, book, options.conformity);
  made.proven = proof.share;
  made.u_proven = proof.u;
  made.cost = cost_of(aimed, as_is, book);
  return made;
}

}  // namespace vialwright::making
