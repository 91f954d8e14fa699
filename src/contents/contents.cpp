#include "contents/contents.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "contents/belief.hpp"
#include "contents/explanations.hpp"
#include "contents/fitted.hpp"
#include "contents/truncation.hpp"
#include "error/error.hpp"

namespace vialwright::contents {
namespace {

bool within(int index, std::size_t size) {
  return index >= 0 && static_cast<std::size_t>(index) < size;
}

void check(const Evidence& evidence, const plant::Plant& plant, const recipe::Book& book) {
  require(within(evidence.container, plant.containers.size()), "the container is in the plant");
  for (const Dose& it : evidence.doses) {
    require(within(it.stock, book.stocks.size()), "the stock of a dose is in the book");
    require(it.lot < 0 || within(it.lot, book.lots.size()), "the lot of a dose is in the book");
    require(it.station < 0 || within(it.station, plant.stations.size()),
            "the station of a dose is in the plant");
  }
  for (const Reading& it : evidence.readings) {
    require(within(it.instrument, plant.instruments.size()), "the instrument is in the plant");
    require(std::isfinite(it.value), "a reading is finite");
    const bool of_dose = it.kind == ReadingKind::dose || it.kind == ReadingKind::tank_loss;
    require(!of_dose || within(it.dose, evidence.doses.size()), "a dose reading names its dose");
  }
}

struct Solver {
  const Evidence& evidence;
  const plant::Plant& plant;
  const recipe::Book& book;
  const Options& options;

  void believe(const Fit& fit, const VialModel& model, Estimate& estimate) const;
  void explain(const Fit& fit, const VialModel& model, Estimate& estimate) const;
  [[nodiscard]] std::vector<Suspected> explanations(const Fit& fit, const VialModel& model) const;
  void set_aside(const Fitted& mended, const VialModel& model, const Doubted& doubted,
                 Estimate& estimate) const;
};

void Solver::believe(const Fit& fit, const VialModel& model, Estimate& estimate) const {
  Eigen::VectorXd mean = fit.mean;
  Eigen::MatrixXd covariance = fit.covariance;
  cut_off_at_zero(mean, covariance, model.unknowns().bounded);
  estimate.belief = belief_of(mean, covariance, model, book);
  for (std::size_t d = 0; d < evidence.doses.size(); ++d)
    estimate.dose_at_zero[d] = fit.at_bound[d] != 0;
}

/// Reports and belief as they are once the believed fault is allowed for; a thing set aside keeps
/// the standardised residual that gave it away.
void Solver::set_aside(const Fitted& mended, const VialModel& model, const Doubted& doubted,
                       Estimate& estimate) const {
  const auto readings = std::exchange(estimate.readings, reading_reports(mended, model));
  const auto commands = std::exchange(estimate.commands, command_reports(mended.fit, model));
  const auto put = [](int index, const auto& before, auto& now) {
    if (index < 0) return;
    const auto which = static_cast<std::size_t>(index);
    now[which].standardised = before[which].standardised;
    now[which].counted = false;
  };
  put(doubted.reading, readings, estimate.readings);
  put(doubted.command, commands, estimate.commands);
  believe(mended.fit, model, estimate);
}

/// A colour turned into few rows has lost the directions that an explanation may need.
std::vector<Suspected> Solver::explanations(const Fit& fit, const VialModel& model) const {
  if (!model.colour().counts()) return explanations_of(fit, model, evidence, plant, book, options);
  const VialModel whole(evidence, plant, book, {}, true);
  const Fit again = map_estimate(whole.unknowns(), whole.observed(), whole, options.max_iterations);
  return explanations_of(again, whole, evidence, plant, book, options);
}

void Solver::explain(const Fit& fit, const VialModel& model, Estimate& estimate) const {
  const std::vector<Suspected> suspected = explanations(fit, model);
  for (const Suspected& it : suspected) estimate.explanations.push_back(it.explanation);
  const Suspected& best = suspected.front();
  estimate.settled = false;
  if (best.explanation.odds < options.sure) return;
  if (best.explanation.wrong == Explanation::Wrong::nothing) {
    estimate.settled = true;
    return;
  }
  // A colourant cannot absorb less than nothing: where it would, the colour is off in a way that
  // none of the explanations knows (a stock weaker than its lot says, a glare), and none is named.
  const bool bleaches =
      best.explanation.wrong == Explanation::Wrong::colourant && best.explanation.shift < 0.0;
  if (bleaches) return;
  const VialModel other(evidence, plant, book, best.doubted);
  const Fitted mended = fitted(other, options.max_iterations);
  // One fault must explain it all; where it does not, there are two, and we name none.
  const double chance = chance_of_sound(mended, other, reading_reports(mended, other),
                                        command_reports(mended.fit, other));
  if (chance < options.false_flag) return;
  estimate.settled = true;
  set_aside(mended, other, best.doubted, estimate);
}

}  // namespace

double Belief::u(int axis) const { return std::sqrt(std::max(0.0, covariance(axis, axis))); }

Estimate estimate(const Evidence& evidence, const plant::Plant& plant, const recipe::Book& book,
                  const Options& options) {
  check(evidence, plant, book);
  const Solver solver{evidence, plant, book, options};
  const VialModel model(evidence, plant, book);
  const Fitted all = fitted(model, options.max_iterations);
  Estimate estimate;
  estimate.iterations = all.fit.iterations;
  estimate.chi_squared = all.fit.chi_squared;
  estimate.degrees = all.fit.degrees;
  estimate.readings = reading_reports(all, model);
  estimate.commands = command_reports(all.fit, model);
  estimate.critical_pairs = critical_pairs(all.fit, model);
  estimate.unseen = unseen(all.fit, model, evidence, plant, book);
  estimate.dose_at_zero.assign(evidence.doses.size(), false);
  estimate.p_value = chance_of_sound(all, model, estimate.readings, estimate.commands);
  estimate.contradiction = estimate.p_value < options.false_flag;
  solver.believe(all.fit, model, estimate);
  if (estimate.contradiction) solver.explain(all.fit, model, estimate);
  return estimate;
}

}  // namespace vialwright::contents
