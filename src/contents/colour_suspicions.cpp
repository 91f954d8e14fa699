#include "contents/colour_suspicions.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <span>

#include "contents/truncation.hpp"

namespace vialwright::contents {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;
using Wrong = Explanation::Wrong;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

constexpr std::array carried_g = {0.003, 0.01, 0.03, 0.1, 0.3};
constexpr std::array lost_shares = {0.03, 0.1, 0.3};
constexpr std::array colourant_sizes = {0.003, 0.01, 0.03, 0.1, 0.3, 1.0};  // 1/cm
constexpr std::array unshaped_parts = {0.03, 0.1, 0.3,
                                       1.0};  // of a size; narrow bands leave the most

/// If a doubted thing is off by b ~ N(0, size^2 I), the innovation moves by `pattern` b.
struct Block {
  MatrixXd pattern;  ///< (rows, d)
  VectorXd net;      ///< (d) by how much b moves the net mass, g, the fit apart
  bool positive = false;
};

/// What is then known of b.
struct Found {
  VectorXd shift;
  MatrixXd covariance;
  double log_bayes = -std::numeric_limits<double>::infinity();
  double size = 0.0;
  double unshaped = 0.0;
};

Found found(const Block& block, const Fit& fit, double size) {
  const Index d = block.pattern.cols();
  const VectorXd score = block.pattern.transpose() * fit.pull;
  MatrixXd grown = size * size * (block.pattern.transpose() * (fit.weight * block.pattern));
  grown.diagonal().array() += 1.0;
  const Eigen::LLT<MatrixXd> factor(grown);
  Found it;
  it.size = size;
  it.covariance = size * size * factor.solve(MatrixXd::Identity(d, d));
  it.shift = it.covariance * score;
  it.log_bayes = 0.5 * score.dot(it.shift) - factor.matrixLLT().diagonal().array().log().sum();
  if (!block.positive) return it;
  const double u = std::sqrt(it.covariance(0, 0));
  // Only half of the prior was possible, and as much of the posterior as is above zero.
  it.log_bayes += std::log(std::max(1e-300, std::erfc(-it.shift[0] / u / std::numbers::sqrt2)));
  const Moments cut = moments_above_zero(it.shift[0], it.covariance(0, 0));
  it.shift[0] = cut.mean;
  it.covariance(0, 0) = cut.variance;
  return it;
}

/// The best of several, equally probable beforehand, with the evidence of all of them.
Found best_of(std::span<const Found> all) {
  Found best;
  for (const Found& it : all)
    if (it.log_bayes > best.log_bayes) best = it;
  double sum = 0.0;
  for (const Found& it : all) sum += std::exp(it.log_bayes - best.log_bayes);
  best.log_bayes += std::log(sum / static_cast<double>(all.size()));
  return best;
}

Weighed weighed(const Explanation& explanation, const Doubted& doubted, const Block& block,
                const Found& found, const Fit& fit, const Net& net, double prior_odds) {
  Weighed it{{explanation, doubted}, std::log(prior_odds) + found.log_bayes};
  it.suspected.doubted.size = found.size;
  const VectorXd slope = block.net - block.pattern.transpose() * (fit.reach.transpose() * net.row);
  it.suspected.explanation.net_g = net.grams + slope.dot(found.shift);
  it.suspected.explanation.u_net_g = std::sqrt(net.variance + slope.dot(found.covariance * slope));
  return it;
}

/// What an unknown of the doubted model does to the rows of the fit, about the fit's own point.
/// Unknowns of an explanation come last.
MatrixXd pattern_of(const Doubted& doubted, const Fit& fit, const Evidence& evidence,
                    const plant::Plant& plant, const recipe::Book& book, Index count) {
  const VialModel model(evidence, plant, book, doubted, true);
  VectorXd x = model.unknowns().mean;
  x.head(fit.at.size()) = fit.at;
  VectorXd predicted(fit.pull.size());
  MatrixXd gradient(x.size(), fit.pull.size());
  model.linearise(x, predicted, gradient);
  return gradient.middleRows(fit.at.size(), count).transpose();
}

struct Case {
  const Fit& fit;
  const VialModel& model;
  const Evidence& evidence;
  const plant::Plant& plant;
  const recipe::Book& book;
  const Net& net;
};

Weighed one_unknown(const Explanation& explanation, const Doubted& doubted, double brings_net,
                    std::span<const double> sizes, const Case& in, double prior_odds) {
  Block block;
  block.pattern = pattern_of(doubted, in.fit, in.evidence, in.plant, in.book, 1);
  block.net = VectorXd::Constant(1, brings_net);
  block.positive = true;
  std::vector<Found> all;
  for (const double size : sizes) all.push_back(found(block, in.fit, size));
  const Found best = best_of(all);
  Weighed it = weighed(explanation, doubted, block, best, in.fit, in.net, prior_odds);
  it.suspected.explanation.shift = best.shift[0];
  it.suspected.explanation.u_shift = std::sqrt(best.covariance(0, 0));
  return it;
}

bool has_colour(int stock, const recipe::Book& book) {
  Dose dose;
  dose.stock = stock;
  for (int k = 0; k < static_cast<int>(book.components.size()); ++k)
    if (!book.components[at(k)].absorptivity.nm.empty() &&
        strength_of(dose, k, book).mg_per_g > 0.0)
      return true;
  return false;
}

std::vector<int> never_dosed(const Case& in) {
  std::vector<int> stocks;
  for (int s = 0; s < static_cast<int>(in.book.stocks.size()); ++s)
    if (std::ranges::find(in.evidence.doses, s, &Dose::stock) == in.evidence.doses.end() &&
        std::ranges::find(in.book.lots, s, &recipe::Lot::stock) != in.book.lots.end() &&
        has_colour(s, in.book))
      stocks.push_back(s);
  return stocks;
}

/// The largest absorbance of a sum of shapes between 380 and 780 nm, and its doubt there.
void name_peak(const VectorXd& amplitude, const MatrixXd& covariance, Explanation& explanation) {
  VectorXd shapes(mixing::foreign_shapes);
  for (int nm = 380; nm <= 780; nm += 5) {
    for (int s = 0; s < mixing::foreign_shapes; ++s) shapes[s] = mixing::foreign_shape(s, nm);
    const double absorbs = shapes.dot(amplitude);
    if (std::abs(absorbs) <= std::abs(explanation.shift)) continue;
    explanation.shift = absorbs;
    explanation.u_shift = std::sqrt(shapes.dot(covariance * shapes));
  }
}

Weighed colourant(const Case& in, double prior_odds) {
  constexpr Index shapes = mixing::foreign_shapes;
  Doubted doubted;
  doubted.colourant = true;
  const MatrixXd shaped = pattern_of(doubted, in.fit, in.evidence, in.plant, in.book, shapes);
  const MatrixXd rest = in.model.by_remainder();
  Block block;
  block.pattern.resize(shaped.rows(), shapes + rest.cols());
  block.net = VectorXd::Zero(block.pattern.cols());
  std::vector<Found> all;
  for (const double unshaped : unshaped_parts) {
    block.pattern << shaped, unshaped * rest;
    for (const double size : colourant_sizes) {
      all.push_back(found(block, in.fit, size));
      all.back().unshaped = unshaped;
    }
  }
  const Found best = best_of(all);
  block.pattern << shaped, best.unshaped * rest;
  Explanation explanation;
  explanation.wrong = Wrong::colourant;
  doubted.unshaped = best.unshaped;
  name_peak(best.shift.head(shapes), best.covariance.topLeftCorner(shapes, shapes), explanation);
  return weighed(explanation, doubted, block, best, in.fit, in.net, prior_odds);
}

}  // namespace

Weighed wrong_colour(int reading, const Fit& fit, const VialModel& model, const Net& net,
                     double prior_odds) {
  Block block;
  block.pattern = model.by_value(reading);
  block.net = VectorXd::Zero(block.pattern.cols());
  Explanation explanation;
  explanation.wrong = Wrong::reading;
  explanation.index = reading;
  Doubted doubted;
  doubted.reading = reading;
  const Found it = found(block, fit, model.blunder(reading));
  Index most = 0;
  (it.shift.array().square() / it.covariance.diagonal().array()).maxCoeff(&most);
  explanation.shift = it.shift[most];
  explanation.u_shift = std::sqrt(it.covariance(most, most));
  return weighed(explanation, doubted, block, it, fit, net, prior_odds);
}

void suspect_colours(const Fit& fit, const VialModel& model, const Evidence& evidence,
                     const plant::Plant& plant, const recipe::Book& book, const Options& options,
                     const Net& net, std::vector<Weighed>& all) {
  const Case in{fit, model, evidence, plant, book, net};
  const std::vector<int> others = never_dosed(in);
  for (const int stock : others) {
    Explanation explanation;
    explanation.wrong = Wrong::carried_over;
    explanation.index = stock;
    Doubted doubted;
    doubted.carried_over = stock;
    all.push_back(one_unknown(explanation, doubted, 1.0, carried_g, in,
                              options.carried_over_odds / static_cast<double>(others.size())));
  }
  if (!model.colour().dyes.components.empty()) {
    Explanation explanation;
    explanation.wrong = Wrong::faded;
    Doubted doubted;
    doubted.faded = true;
    all.push_back(one_unknown(explanation, doubted, 0.0, lost_shares, in, options.faded_odds));
  }
  all.push_back(colourant(in, options.colourant_odds));
}

}  // namespace vialwright::contents
