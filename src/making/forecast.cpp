#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "making/making.hpp"
#include "making/proving.hpp"

namespace vialwright::making {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

contents::Belief empty_vial(const recipe::Book& book) {
  contents::Belief belief;
  belief.components = static_cast<int>(book.components.size());
  belief.stocks = static_cast<int>(book.stocks.size());
  const Eigen::Index axes = belief.volume() + 1;
  belief.mean.setZero(axes);
  belief.covariance.setZero(axes, axes);
  return belief;
}

recipe::Recipe narrowed(recipe::Recipe recipe, double share) {
  for (recipe::Tolerance& line : recipe.tolerances) {
    const auto towards = [&](double limit) {
      return std::isfinite(limit) ? line.target + share * (limit - line.target) : limit;
    };
    line.low = towards(line.low);
    line.high = towards(line.high);
  }
  return recipe;
}

/// Only the upper limits, or all.
std::vector<conformity::Line> upper_only(std::vector<conformity::Line> lines) {
  for (conformity::Line& line : lines) line.low = -recipe::no_limit;
  return lines;
}

struct Chances {
  double passes = 0.0, under = 0.0, over = 0.0;
};

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
        empty_(empty_vial(book)),
        points_(options.conformity) {
    points_.points = points_.most_points = 64;
    points_.seed ^= 0x5eed5eedULL;
  }

  [[nodiscard]] std::vector<topup::Addition> aimed() const;
  [[nodiscard]] Chances chances(const std::vector<topup::Addition>& doses,
                                const conformity::Options& options) const {
    const contents::Belief then = topup::after(empty_, doses, plant_, book_);
    const auto lines = conformity::lines_of(recipe_, then);
    const double all = conformity::probability(then.mean, then.covariance, lines, options).value;
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
  [[nodiscard]] double loss_at(const Eigen::VectorXd& shares) const {
    return loss(chances(with(shares), points_));
  }

  const recipe::Recipe& recipe_;
  std::vector<topup::Addition> nominal_;
  const Stakes& stakes_;
  const plant::Plant& plant_;
  const recipe::Book& book_;
  contents::Belief empty_;
  conformity::Options points_;
};

/// Downhill by halving steps along each dose and along all together: few doses, a smooth loss, and
/// a step of one in twenty thousand at the end.
std::vector<topup::Addition> Planning::aimed() const {
  const auto n = static_cast<Eigen::Index>(nominal_.size());
  Eigen::VectorXd here = Eigen::VectorXd::Zero(n);
  double best = loss_at(here);
  for (double step = 0.01; step > 4e-5; step *= 0.5) {
    for (bool moved = true; moved;) {
      moved = false;
      for (Eigen::Index d = 0; d <= n; ++d) {
        const Eigen::VectorXd along = d == n ? Eigen::VectorXd(Eigen::VectorXd::Ones(n))
                                             : Eigen::VectorXd(Eigen::VectorXd::Unit(n, d));
        for (const double sign : {-1.0, 1.0}) {
          const Eigen::VectorXd tried = here + sign * step * along;
          const double loss = loss_at(tried);
          if (loss >= best - 1e-9) continue;
          best = loss;
          here = tried;
          moved = true;
        }
      }
    }
  }
  return with(here);
}

/// The doses that hit the targets on paper, as near as the lines let them.
topup::Topup on_target(const recipe::Recipe& recipe, const topup::Means& means,
                       const plant::Plant& plant, const recipe::Book& book,
                       const topup::Options& options) {
  topup::Options quick = options;
  quick.conformity.points = quick.conformity.most_points = 64;
  topup::Topup found;
  for (const double share : {0.0, 0.01, 0.1, 0.5, 1.0}) {
    found = topup::cheapest(empty_vial(book), narrowed(recipe, share), means, plant, book, quick);
    if (found.outcome == topup::Outcome::found) break;
  }
  return found;
}

const topup::Addition* not_dosable(const std::vector<topup::Addition>& doses,
                                   const plant::Plant& plant) {
  const auto found = std::ranges::find_if(doses, [&](const topup::Addition& each) {
    return each.station >= 0 && each.amount_g < plant.stations[at(each.station)].least_dose_g;
  });
  return found == doses.end() ? nullptr : &*found;
}

double cost_of(const std::vector<topup::Addition>& doses, const plant::Plant& plant,
               const recipe::Book& book) {
  double cost = 0.0;
  for (const topup::Addition& each : doses)
    cost += each.amount_g * book.stocks[at(each.stock)].price_per_g + plant.prices.visit;
  return cost;
}

/// Stations whose first meter is off dose by command alone.
plant::Plant without_meters(plant::Plant plant, const std::vector<int>& off) {
  for (plant::Station& station : plant.stations) {
    std::erase_if(station.meters, [&](const std::string& id) {
      const auto meter = plant::find_instrument(plant, id);
      return meter && std::ranges::find(off, *meter) != off.end();
    });
  }
  return plant;
}

}  // namespace

Forecast forecast(const recipe::Recipe& recipe, int container, const Today& today,
                  const Stakes& stakes, const plant::Plant& plant, const recipe::Book& book,
                  const topup::Options& options) {
  const plant::Plant as_is = without_meters(plant, today.off);
  topup::Means means;
  means.loaded = today.loaded;
  means.container = container;
  Forecast made;
  const topup::Topup nominal = on_target(recipe, means, as_is, book, options);
  if (nominal.outcome != topup::Outcome::found) {
    made.can =
        nominal.outcome == topup::Outcome::not_permitted ? Can::not_permitted : Can::impossible;
    made.because = nominal.because;
    return made;
  }
  std::vector<topup::Addition> doses = nominal.additions;
  // The largest dose goes first: what follows, small, can answer for its error.
  std::ranges::stable_sort(doses, std::ranges::greater{}, &topup::Addition::amount_g);
  if (const topup::Addition* small = not_dosable(doses, as_is)) {
    made.can = Can::not_dosable;
    made.because = "less " + book.stocks[at(small->stock)].id + " than " +
                   as_is.stations[at(small->station)].id + " can dose";
    return made;
  }
  const Planning planning(recipe, doses, stakes, as_is, book, options);
  const std::vector<topup::Addition> aimed = planning.aimed();
  for (std::size_t j = 0; j < aimed.size(); ++j) {
    const double nominal_g = doses[j].amount_g;
    made.doses.push_back({aimed[j], nominal_g, aimed[j].amount_g / nominal_g - 1.0});
  }
  const Chances at_aim = planning.chances(aimed, options.conformity);
  const contents::Belief empty = empty_vial(book);
  made.passes = topup::odds_of(empty, recipe, aimed, as_is, book, options);
  made.at_nominal = topup::odds_of(empty, recipe, doses, as_is, book, options);
  made.under = at_aim.under;
  made.over = at_aim.over;
  made.loss = planning.loss(at_aim);
  made.loss_at_nominal = planning.loss(planning.chances(doses, options.conformity));
  const Proven proof = proven(recipe, container, aimed, today, as_is, book, options.conformity);
  made.proven = proof.share;
  made.u_proven = proof.u;
  made.cost = cost_of(aimed, as_is, book);
  return made;
}

}  // namespace vialwright::making
