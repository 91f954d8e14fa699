#include <Eigen/Cholesky>
#include <algorithm>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <optional>

#include "strength/learned.hpp"
#include "strength/regression.hpp"
#include "strength/sample_rows.hpp"

namespace vialwright::strength {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

VectorXd priors(const std::vector<Unknown>& unknowns) {
  VectorXd u(static_cast<Index>(unknowns.size()));
  std::ranges::transform(unknowns, u.data(), &Unknown::u);
  return u;
}

/// Chance of a larger chi-squared.
double tail(double chi_squared, int degrees) {
  if (degrees == 0) return 1.0;
  return boost::math::gamma_q(0.5 * degrees, 0.5 * std::max(0.0, chi_squared));
}

struct Fit {
  Normal posterior;
  std::vector<Linear> rows;  ///< about the posterior mean
};

Fit fit(const std::vector<SampleRows>& samples, const VectorXd& u, const std::vector<bool>& counts,
        int max_iterations) {
  Fit fit;
  fit.posterior.mean = VectorXd::Zero(u.size());
  for (int step = 0; step < max_iterations && u.size() > 0; ++step) {
    Regression regression(u);
    fit.rows.clear();
    for (std::size_t i = 0; i < samples.size(); ++i) {
      fit.rows.push_back(samples[i].linearise(fit.posterior.mean));
      const Linear& rows = fit.rows.back();
      if (!counts[i]) continue;
      regression.add(rows.design, samples[i].read() - rows.shown + rows.design * fit.posterior.mean,
                     rows.noise);
    }
    const Normal next = regression.posterior();
    const double moved = ((next.mean - fit.posterior.mean).array().abs() / u.array()).maxCoeff();
    fit.posterior = next;
    if (moved < 1e-9) break;
  }
  for (std::size_t i = 0; i < samples.size(); ++i)
    fit.rows[i] = samples[i].linearise(fit.posterior.mean);
  return fit;
}

/// One that counts is compared with what the others say, one set aside with what all that count
/// say.
SampleReport report(const SampleRows& sample, const Linear& rows, const MatrixXd& covariance,
                    bool counted) {
  SampleReport report;
  report.counted = counted;
  report.values = static_cast<int>(sample.read().size());
  const VectorXd residual = sample.read() - rows.shown;
  report.chi_squared =
      left_out(residual, rows.design, rows.noise, counted ? covariance : MatrixXd(-covariance));
  report.p_value = tail(report.chi_squared, report.values);
  return report;
}

/// Index of the sample that fits the others worst, if sound ones would hardly do so.
std::optional<std::size_t> misfit(const std::vector<SampleReport>& reports, double false_flag) {
  std::optional<std::size_t> worst;
  std::size_t counting = 0;
  for (std::size_t i = 0; i < reports.size(); ++i) {
    if (!reports[i].counted) continue;
    ++counting;
    if (!worst || reports[i].p_value < reports[*worst].p_value) worst = i;
  }
  if (!worst || reports[*worst].p_value * static_cast<double>(counting) >= false_flag)
    return std::nullopt;
  return worst;
}

/// Fits again without the worst, one by one. Where more than a quarter would have to go it is not
/// they that are wrong: all count, and the chi-squared of all says that something is.
Fit fit_sound_ones(const std::vector<SampleRows>& samples, const VectorXd& u,
                   const Options& options, std::vector<SampleReport>& reports) {
  std::vector<bool> counts(samples.size(), true);
  std::size_t may_go = samples.size() / 4;
  for (;;) {
    Fit all = fit(samples, u, counts, options.max_iterations);
    reports.clear();
    for (std::size_t i = 0; i < samples.size(); ++i)
      reports.push_back(report(samples[i], all.rows[i], all.posterior.covariance, counts[i]));
    const bool none_went = std::ranges::find(counts, false) == counts.end();
    if (may_go == 0 && none_went) return all;
    const auto wrong = misfit(reports, options.false_flag);
    if (!wrong) return all;
    if (may_go == 0)
      counts.assign(samples.size(), true);
    else
      counts[*wrong] = false, --may_go;
  }
}

void sum_up(const std::vector<SampleRows>& samples, const Fit& fit, const VectorXd& u,
            Lesson& lesson) {
  lesson.mean = fit.posterior.mean;
  lesson.covariance = fit.posterior.covariance;
  lesson.chi_squared = (lesson.mean.array() / u.array()).square().sum();
  for (std::size_t i = 0; i < samples.size(); ++i) {
    if (!lesson.samples[i].counted) continue;
    const VectorXd residual = samples[i].read() - fit.rows[i].shown;
    lesson.chi_squared += residual.dot(fit.rows[i].noise.llt().solve(residual));
    lesson.degrees += static_cast<int>(residual.size());
  }
  lesson.p_value = tail(lesson.chi_squared, lesson.degrees);
}

}  // namespace

Lesson learn(const std::vector<Sample>& samples, const plant::Plant& plant,
             const recipe::Book& book, const Options& options) {
  Lesson lesson;
  std::vector<SampleRows> rows;
  rows.reserve(samples.size());
  Line line(plant, book);
  for (const Sample& sample : samples) rows.emplace_back(sample, line, lesson.unknowns);
  const VectorXd u = priors(lesson.unknowns);
  sum_up(rows, fit_sound_ones(rows, u, options, lesson.samples), u, lesson);
  const auto vials_with = [&](const contents::Effect& effect) {
    int vials = 0;
    for (std::size_t i = 0; i < rows.size(); ++i)
      vials += lesson.samples[i].counted && rows[i].holds(effect);
    return vials;
  };
  lesson.learned = learned_of(lesson, book, vials_with);
  return lesson;
}

}  // namespace vialwright::strength
