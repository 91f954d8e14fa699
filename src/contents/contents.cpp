#include "contents/contents.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "contents/belief.hpp"
#include "contents/explanations.hpp"
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

Doubted doubted_by(const Explanation& explanation) {
  Doubted doubted;
  if (explanation.wrong == Explanation::Wrong::reading) doubted.reading = explanation.index;
  if (explanation.wrong == Explanation::Wrong::command) doubted.command = explanation.index;
  return doubted;
}

struct Solver {
  const Evidence& evidence;
  const plant::Plant& plant;
  const recipe::Book& book;
  const Options& options;
  VialModel model;

  [[nodiscard]] Fit fit(const Doubted& doubted) const {
    return map_estimate(model.unknowns(doubted), model.observed(doubted), model,
                        options.max_iterations);
  }
  void believe(const Fit& fit, Estimate& estimate) const;
  void explain(const Fit& fit, Estimate& estimate) const;
  void set_aside(const Fit& fit, const Doubted& doubted, Estimate& estimate) const;
};

void Solver::believe(const Fit& fit, Estimate& estimate) const {
  Eigen::VectorXd mean = fit.mean;
  Eigen::MatrixXd covariance = fit.covariance;
  cut_off_at_zero(mean, covariance, model.unknowns().bounded);
  estimate.belief = belief_of(mean, covariance, model, evidence, book);
  for (std::size_t d = 0; d < evidence.doses.size(); ++d)
    estimate.dose_at_zero[d] = fit.at_bound[d] != 0;
}

/// Reports and belief as they are once the believed fault is allowed for; the thing set aside keeps
/// the standardised residual that gave it away.
void Solver::set_aside(const Fit& fit, const Doubted& doubted, Estimate& estimate) const {
  const auto readings =
      std::exchange(estimate.readings, reading_reports(fit, model.observed(doubted)));
  const auto commands =
      std::exchange(estimate.commands, command_reports(fit, model, model.unknowns(doubted)));
  if (doubted.reading >= 0) {
    const auto at = static_cast<std::size_t>(doubted.reading);
    estimate.readings[at].standardised = readings[at].standardised;
    estimate.readings[at].counted = false;
  } else {
    const auto at = static_cast<std::size_t>(doubted.command);
    estimate.commands[at].standardised = commands[at].standardised;
    estimate.commands[at].counted = false;
  }
  believe(fit, estimate);
}

void Solver::explain(const Fit& fit, Estimate& estimate) const {
  estimate.explanations = explanations_of(fit, model, evidence, plant);
  const Explanation& best = estimate.explanations.front();
  estimate.settled = false;
  if (best.odds < options.sure) return;
  if (best.wrong == Explanation::Wrong::nothing) {
    estimate.settled = true;
    return;
  }
  const Doubted doubted = doubted_by(best);
  const Fit mended = this->fit(doubted);
  // One fault must explain it all; where it does not, there are two, and we name none.
  const double chance = chance_of_sound(mended, reading_reports(mended, model.observed(doubted)),
                                        command_reports(mended, model, model.unknowns(doubted)));
  if (chance < options.false_flag) return;
  estimate.settled = true;
  set_aside(mended, doubted, estimate);
}

}  // namespace

double Belief::u(int axis) const { return std::sqrt(std::max(0.0, covariance(axis, axis))); }

Estimate estimate(const Evidence& evidence, const plant::Plant& plant, const recipe::Book& book,
                  const Options& options) {
  check(evidence, plant, book);
  const Solver solver{evidence, plant, book, options, VialModel(evidence, plant, book)};
  const Fit fit = solver.fit({});
  Estimate estimate;
  estimate.iterations = fit.iterations;
  estimate.chi_squared = fit.chi_squared;
  estimate.degrees = fit.degrees;
  estimate.readings = reading_reports(fit, solver.model.observed());
  estimate.commands = command_reports(fit, solver.model, solver.model.unknowns());
  estimate.critical_pairs = critical_pairs(fit, solver.model.observed());
  estimate.unseen = unseen(fit, solver.model, evidence, plant, book);
  estimate.dose_at_zero.assign(evidence.doses.size(), false);
  estimate.p_value = chance_of_sound(fit, estimate.readings, estimate.commands);
  estimate.contradiction = estimate.p_value < options.false_flag;
  solver.believe(fit, estimate);
  if (estimate.contradiction) solver.explain(fit, estimate);
  return estimate;
}

}  // namespace vialwright::contents
