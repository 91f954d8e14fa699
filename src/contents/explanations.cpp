#include "contents/explanations.hpp"

#include <algorithm>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <numbers>

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

Suspicion of_reading(Index j, const Fit& fit, const VialModel& model, const VectorXd& net,
                     double fault_odds) {
  Suspicion it;
  it.explanation.wrong = Explanation::Wrong::reading;
  it.explanation.index = static_cast<int>(j);
  it.prior_odds = fault_odds / (1.0 - fault_odds);
  it.size = model.blunder(static_cast<int>(j));
  it.weight = fit.weight(j, j);
  it.pull = fit.pull[j];
  it.net_slope = -net.dot(fit.reach.col(j));
  return it;
}

Suspicion of_command(int d, const Fit& fit, const VialModel& model, const VectorXd& net,
                     double fault_odds) {
  Suspicion it;
  it.explanation.wrong = Explanation::Wrong::command;
  it.explanation.index = d;
  it.prior_odds = fault_odds / (1.0 - fault_odds);
  it.size = model.missed_by(d);
  const VectorXd pattern = fit.gradient.row(model.dose(d));
  it.weight = pattern.dot(fit.weight * pattern);
  it.pull = pattern.dot(fit.pull);
  it.net_slope = net[model.dose(d)] - net.dot(fit.reach * pattern);
  return it;
}

/// The size of the fault and the vial's net mass, if this is what happened.
void conclude(Suspicion& it, double net_g, double net_variance) {
  const double variance = it.size * it.size / (1.0 + it.size * it.size * it.weight);
  it.explanation.shift = variance * it.pull;
  it.explanation.u_shift = std::sqrt(variance);
  it.explanation.net_g = net_g + it.net_slope * it.explanation.shift;
  it.explanation.u_net_g = std::sqrt(net_variance + it.net_slope * it.net_slope * variance);
}

void share_out(std::vector<Suspicion>& all) {
  double most = 0.0;
  for (Suspicion& it : all) {
    it.explanation.odds = std::log(it.prior_odds) + log_bayes_factor(it);
    most = std::max(most, it.explanation.odds);
  }
  double sum = 0.0;
  for (Suspicion& it : all) sum += it.explanation.odds = std::exp(it.explanation.odds - most);
  for (Suspicion& it : all) it.explanation.odds /= sum;
}

}  // namespace

double chi_squared_tail(double value, int degrees) {
  if (degrees <= 0) return 1.0;
  return boost::math::gamma_q(0.5 * degrees, 0.5 * std::max(0.0, value));
}

std::vector<ReadingReport> reading_reports(const Fit& fit, const Observed& observed) {
  std::vector<ReadingReport> reports;
  reports.reserve(at(fit.pull.size()));
  for (Index j = 0; j < fit.pull.size(); ++j) {
    const double weight = fit.weight(j, j);
    reports.push_back(report(observed.value[j], fit.residual[j], ratio(fit.pull[j], weight),
                             observed.variance[j] * weight));
  }
  return reports;
}

std::vector<ReadingReport> command_reports(const Fit& fit, const VialModel& model,
                                           const Unknowns& prior) {
  std::vector<ReadingReport> reports;
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

double chance_of_sound(const Fit& fit, const std::vector<ReadingReport>& readings,
                       const std::vector<ReadingReport>& commands) {
  if (fit.degrees == 0) return 1.0;
  double largest = 0.0;
  int count = 0;
  gather(readings, largest, count);
  gather(commands, largest, count);
  const double one = std::erfc(largest / std::numbers::sqrt2);  // two-sided tail of one residual
  // 1 - (1 - one)^count without losing the digits of a tiny tail.
  const double any = -std::expm1(count * std::log1p(-std::min(one, 1.0 - 1e-16)));
  return std::min(1.0, 2.0 * std::min(any, chi_squared_tail(fit.chi_squared, fit.degrees)));
}

std::vector<Explanation> explanations_of(const Fit& fit, const VialModel& model,
                                         const Evidence& evidence, const plant::Plant& plant) {
  const VectorXd net = net_row(model, evidence, fit.mean.size());
  std::vector<Suspicion> all(1);
  all[0].prior_odds = 1.0;
  for (Index j = 0; j < fit.pull.size(); ++j) {
    const int instrument = evidence.readings[at(j)].instrument;
    all.push_back(of_reading(j, fit, model, net, plant.instruments[at(instrument)].fault_odds));
  }
  for (int d = 0; d < model.doses(); ++d) {
    if (!model.testifies(d)) continue;
    const int station = evidence.doses[at(d)].station;
    all.push_back(of_command(d, fit, model, net, plant.stations[at(station)].fault_odds));
  }
  const double net_g = net.dot(fit.mean), net_variance = net.dot(fit.covariance * net);
  for (Suspicion& it : all) conclude(it, net_g, net_variance);
  share_out(all);
  std::vector<Explanation> explanations;
  explanations.reserve(all.size());
  for (const Suspicion& it : all) explanations.push_back(it.explanation);
  std::ranges::stable_sort(explanations, std::ranges::greater{}, &Explanation::odds);
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

}  // namespace vialwright::contents
