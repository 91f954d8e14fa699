#include "contents/explanations.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "contents/colour_suspicions.hpp"

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::VectorXd;

/// Where the rest decides less than this of a reading's fit, the reading decides alone, and its
/// residual is rounding. A vague prior still decides some (u / container)^2 of it.
constexpr double decides_alone = 1e-4;

std::size_t at(Index i) { return static_cast<std::size_t>(i); }

ReadingReport report(double value, double residual, double standardised, double rest) {
  ReadingReport it;
  it.residual = residual;
  it.share = std::clamp(1.0 - rest, 0.0, 1.0);
  const bool alone = rest < decides_alone;
  it.standardised = alone ? 0.0 : standardised;
  it.predicted = value - (alone ? residual : residual / rest);
  return it;
}

double ratio(double above, double below) { return below > 0.0 ? above / std::sqrt(below) : 0.0; }

void gather(const std::vector<ReadingReport>& reports, double& largest, int& count) {
  for (const ReadingReport& it : reports) {
    if (!it.counted || it.share > 1.0 - decides_alone) continue;
    largest = std::max(largest, std::abs(it.standardised));
    ++count;
  }
}

/// What a doubted thing does: if it is off by b, the innovation moves by b `pattern`.
struct Suspicion {
  Explanation explanation;
  Doubted doubted;
  double prior_odds = 0.0;  ///< against its being sound
  double size = 0.0;        ///< standard deviation of b
  double weight = 0.0;      ///< pattern' W pattern
  double pull = 0.0;        ///< pattern' W innovation
  double net_slope = 0.0;   ///< by how much b moves the net mass, g
};

/// log of posterior over prior odds against "nothing is wrong".
double log_bayes_factor(const Suspicion& it) {
  const double size2 = it.size * it.size, grown = 1.0 + size2 * it.weight;
  return 0.5 * (size2 * it.pull * it.pull / grown - std::log(grown));
}

/// Net mass as a row over the unknowns.
VectorXd net_row(const VialModel& model, const Evidence& evidence, Index n) {
  VectorXd row = VectorXd::Zero(n);
  for (int d = 0; d < model.doses(); ++d) row[model.dose(d)] = 1.0;
  if (model.loss_rate() >= 0) row[model.loss_rate()] = -evidence.open_s / 3600.0;
  return row;
}

double against(double odds) { return odds / (1.0 - odds); }

Suspicion of_reading(int j, const Fit& fit, const VialModel& model, const VectorXd& net,
                     double fault_odds) {
  const Index row = model.rows(j).first;
  Suspicion it;
  it.explanation.wrong = Explanation::Wrong::reading;
  it.explanation.index = it.doubted.reading = j;
  it.prior_odds = against(fault_odds);
  it.size = model.blunder(j);
  it.weight = fit.weight(row, row);
  it.pull = fit.pull[row];
  it.net_slope = -net.dot(fit.reach.col(row));
  return it;
}

Suspicion of_command(int d, const Fit& fit, const VialModel& model, const VectorXd& net,
                     double fault_odds) {
  Suspicion it;
  it.explanation.wrong = Explanation::Wrong::command;
  it.explanation.index = it.doubted.command = d;
  it.prior_odds = against(fault_odds);
  it.size = model.missed_by(d);
  const VectorXd pattern = fit.gradient.row(model.dose(d));
  it.weight = pattern.dot(fit.weight * pattern);
  it.pull = pattern.dot(fit.pull);
  it.net_slope = net[model.dose(d)] - net.dot(fit.reach * pattern);
  return it;
}

/// The size of the fault and the vial's net mass, if this is what happened.
Weighed conclude(Suspicion& it, const Net& net) {
  const double variance = it.size * it.size / (1.0 + it.size * it.size * it.weight);
  it.explanation.shift = variance * it.pull;
  it.explanation.u_shift = std::sqrt(variance);
  it.explanation.net_g = net.grams + it.net_slope * it.explanation.shift;
  it.explanation.u_net_g = std::sqrt(net.variance + it.net_slope * it.net_slope * variance);
  return {{it.explanation, it.doubted}, std::log(it.prior_odds) + log_bayes_factor(it)};
}

std::vector<Suspected> share_out(std::vector<Weighed>& all) {
  double most = 0.0, sum = 0.0;
  for (const Weighed& it : all) most = std::max(most, it.log_odds);
  std::vector<Suspected> shared;
  shared.reserve(all.size());
  for (const Weighed& it : all) {
    shared.push_back(it.suspected);
    sum += shared.back().explanation.odds = std::exp(it.log_odds - most);
  }
  for (Suspected& it : shared) it.explanation.odds /= sum;
  return shared;
}

}  // namespace

std::vector<ReadingReport> reading_reports(const Fitted& fitted, const VialModel& model) {
  const Fit& fit = fitted.fit;
  const Observed& observed = model.observed();
  std::vector<ReadingReport> reports(at(model.readings()));
  std::size_t colour = 0;
  for (int j = 0; j < model.readings(); ++j) {
    const Index row = model.rows(j).first;
    if (const std::string& reason = model.colour().reasons[at(j)]; !reason.empty()) {
      reports[at(j)].counted = false;
      reports[at(j)].reason = reason;
    } else if (model.is_colour(j)) {
      reports[at(j)] = colour_report(fitted, model, colour++);
    } else {
      const double weight = fit.weight(row, row);
      reports[at(j)] = report(observed.value[row], fit.residual[row], ratio(fit.pull[row], weight),
                              observed.variance[row] * weight);
    }
  }
  return reports;
}

std::vector<ReadingReport> command_reports(const Fit& fit, const VialModel& model) {
  std::vector<ReadingReport> reports;
  const Unknowns& prior = model.unknowns();
  for (int d = 0; d < model.doses(); ++d) {
    const Index i = model.dose(d);
    const VectorXd pattern = fit.gradient.row(i);
    const double weight = pattern.dot(fit.weight * pattern), pull = pattern.dot(fit.pull);
    reports.push_back(report(prior.mean[i], -prior.variance[i] * pull, -ratio(pull, weight),
                             prior.variance[i] * weight));
    if (model.testifies(d)) continue;
    reports.back() = ReadingReport{};
    reports.back().predicted = fit.mean[i];
    reports.back().counted = false;
  }
  return reports;
}

double chance_of_sound(const Fitted& fitted, const VialModel& model,
                       const std::vector<ReadingReport>& readings,
                       const std::vector<ReadingReport>& commands) {
  const Fit& fit = fitted.fit;
  if (fit.degrees == 0) return 1.0;
  double largest = 0.0;
  int count = 0;
  gather(readings, largest, count);
  gather(commands, largest, count);
  const double one = std::erfc(largest / std::numbers::sqrt2);  // two-sided tail of one residual
  // 1 - (1 - one)^count without losing the digits of a tiny tail.
  const double any = -std::expm1(count * std::log1p(-std::min(one, 1.0 - 1e-16)));
  const double least = std::min(any, chi_squared_tail(fit.chi_squared, fit.degrees));
  if (!model.looks_for_colourant()) return std::min(1.0, 2.0 * least);
  return std::min(1.0, 3.0 * std::min(least, chance_of_no_colourant(fitted, model)));
}

std::vector<Suspected> explanations_of(const Fit& fit, const VialModel& model,
                                       const Evidence& evidence, const plant::Plant& plant,
                                       const recipe::Book& book, const Options& options) {
  Net net{net_row(model, evidence, fit.mean.size())};
  net.grams = net.row.dot(fit.mean);
  net.variance = net.row.dot(fit.covariance * net.row);
  Suspicion nothing;
  nothing.prior_odds = 1.0;
  std::vector<Weighed> all = {conclude(nothing, net)};
  for (int j = 0; j < model.readings(); ++j) {
    if (model.rows(j).count == 0) continue;
    const int instrument = evidence.readings[at(j)].instrument;
    const double fault_odds = plant.instruments[at(instrument)].fault_odds;
    if (model.is_colour(j)) {
      all.push_back(wrong_colour(j, fit, model, net, against(fault_odds)));
      continue;
    }
    Suspicion it = of_reading(j, fit, model, net.row, fault_odds);
    all.push_back(conclude(it, net));
  }
  for (int d = 0; d < model.doses(); ++d) {
    if (!model.testifies(d)) continue;
    const int station = evidence.doses[at(d)].station;
    Suspicion it = of_command(d, fit, model, net.row, plant.stations[at(station)].fault_odds);
    all.push_back(conclude(it, net));
  }
  if (model.colour().counts())
    suspect_colours(fit, model, evidence, plant, book, options, net, all);
  std::vector<Suspected> explanations = share_out(all);
  std::ranges::stable_sort(explanations, std::ranges::greater{},
                           [](const Suspected& it) { return it.explanation.odds; });
  return explanations;
}

std::vector<CriticalPair> critical_pairs(const Fit& fit, const Observed& observed) {
  // At |correlation| 0.99 a shift of 10 standard deviations in one differs from one in the other by
  // chi-squared 2: no evidence.
  constexpr double as_one = 0.99;
  std::vector<CriticalPair> pairs;
  for (Index one = 0; one < fit.pull.size(); ++one) {
    for (Index other = one + 1; other < fit.pull.size(); ++other) {
      const double a = fit.weight(one, one), b = fit.weight(other, other);
      const bool alone = a * observed.variance[one] < decides_alone ||
                         b * observed.variance[other] < decides_alone;
      if (!alone && std::abs(fit.weight(one, other)) > as_one * std::sqrt(a * b))
        pairs.push_back({static_cast<int>(one), static_cast<int>(other)});
    }
  }
  return pairs;
}

std::vector<CriticalPair> critical_pairs(const Fit& fit, const VialModel& model) {
  std::vector<int> reading(at(fit.pull.size()), -1);  // of each row, colours apart
  for (int j = 0; j < model.readings(); ++j)
    if (!model.is_colour(j)) reading[at(model.rows(j).first)] = j;
  std::vector<CriticalPair> pairs;
  for (const CriticalPair& it : critical_pairs(fit, model.observed())) {
    const CriticalPair named{reading[at(it.one)], reading[at(it.other)]};
    if (named.one >= 0 && named.other >= 0) pairs.push_back(named);
  }
  return pairs;
}

}  // namespace vialwright::contents
