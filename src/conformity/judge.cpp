#include <algorithm>
#include <cmath>

#include "conformity/bounds.hpp"
#include "conformity/conformity.hpp"
#include "conformity/look.hpp"
#include "error/error.hpp"

namespace vialwright::conformity {
namespace {

struct Axes {
  int on = 0, divisor = -1;
};

Axes axes_of(const recipe::Tolerance& tolerance, const contents::Belief& belief) {
  switch (tolerance.on) {
    case recipe::ToleranceOn::content:
      return {belief.component(tolerance.of), belief.net()};
    case recipe::ToleranceOn::component_mass:
      return {belief.component(tolerance.of), -1};
    case recipe::ToleranceOn::stock_mass:
      return {belief.stock(tolerance.of), -1};
    case recipe::ToleranceOn::net_mass:
      return {belief.net(), -1};
    case recipe::ToleranceOn::volume:
      return {belief.volume(), -1};
    case recipe::ToleranceOn::concentration:
      return {belief.component(tolerance.of), belief.volume()};
    case recipe::ToleranceOn::colour:
      break;
  }
  require(false, "every kind of tolerance has its axes");
  return {};
}

/// Value and first-order standard uncertainty: of a ratio r = w/d, u(w - r d) / d.
LineReport report_of(const Line& line, const contents::Belief& belief) {
  LineReport report;
  Eigen::VectorXd form = line.weights;
  report.value = line.weights.dot(belief.mean);
  double scale = 1.0;
  if (line.divisor.size() > 0) {
    scale = line.divisor.dot(belief.mean);
    report.value /= scale;
    form -= report.value * line.divisor;
  }
  report.u = std::sqrt(std::max(form.dot(belief.covariance * form), 0.0)) / std::abs(scale);
  const Bounds bounds = bounds_of(belief.mean, belief.covariance, line);
  report.holds = {0.5 * (bounds.lower + bounds.upper), 0.5 * (bounds.upper - bounds.lower)};
  return report;
}

LineReport report_of(const ColourLine& line, const contents::Belief& belief,
                     const Options& options) {
  const Look look = look_at(line, belief.mean, belief.covariance);
  LineReport report;
  report.value = look.difference;
  report.u = look.u;
  report.seen = {look.lab, look.covariance};
  Options quick = options;  // a marginal is for the eye: no ruling hangs on it
  quick.points = std::max(1, options.points / 2);
  quick.error = std::max(options.error, 3e-3);
  quick.decide_at = -1.0;
  report.holds = probability(belief.mean, belief.covariance, {}, {line}, quick);
  return report;
}

int least_likely(const std::vector<LineReport>& lines) {
  int least = -1;
  for (int k = 0; k < static_cast<int>(lines.size()); ++k) {
    const auto holds = [&](int line) { return lines[static_cast<std::size_t>(line)].holds.value; };
    if (least < 0 || holds(k) < holds(least)) least = k;
  }
  return least;
}

Ruling ruling_of(double p, double release_at, double reject_at) {
  if (p >= release_at) return Ruling::release;
  return p <= reject_at ? Ruling::reject : Ruling::unclear;
}

}  // namespace

std::vector<Line> lines_of(const recipe::Recipe& recipe, const contents::Belief& belief) {
  const Eigen::Index axes = belief.mean.size();
  std::vector<Line> lines;
  for (const recipe::Tolerance& tolerance : recipe.tolerances) {
    if (tolerance.on == recipe::ToleranceOn::colour) continue;
    const Axes found = axes_of(tolerance, belief);
    Line line;
    line.weights = Eigen::VectorXd::Unit(axes, found.on);
    if (found.divisor >= 0) line.divisor = Eigen::VectorXd::Unit(axes, found.divisor);
    line.low = tolerance.low;
    line.high = tolerance.high;
    lines.push_back(std::move(line));
  }
  return lines;
}

std::vector<ColourLine> colour_lines_of(const recipe::Recipe& recipe,
                                        const contents::Belief& belief, const recipe::Book& book) {
  std::vector<ColourLine> lines;
  for (const recipe::Tolerance& tolerance : recipe.tolerances) {
    if (tolerance.on != recipe::ToleranceOn::colour) continue;
    const recipe::ColourTarget& target = recipe.colours[static_cast<std::size_t>(tolerance.of)];
    ColourLine line;
    line.view = std::make_shared<const mixing::View>(book, target);
    line.target = target.lab;
    line.high = tolerance.high;
    const auto amounts = static_cast<std::size_t>(line.view->amounts());
    line.mass.assign(amounts, -1);
    line.deviation.assign(amounts, -1);
    line.volume = belief.volume();
    for (int k = 0; k < belief.components; ++k) {
      const auto component = static_cast<std::size_t>(k);
      if (!book.components[component].absorptivity.nm.empty())
        line.mass[component] = belief.component(k);
    }
    for (int e = 0; e < static_cast<int>(belief.effects.size()); ++e) {
      const contents::Effect& effect = belief.effects[static_cast<std::size_t>(e)];
      if (effect.kind == contents::Effect::Kind::absorptivity)
        line.deviation[static_cast<std::size_t>(effect.of)] = belief.effect(e);
      if (effect.kind == contents::Effect::Kind::foreign)
        line.mass[book.components.size() + static_cast<std::size_t>(effect.of)] = belief.effect(e);
    }
    lines.push_back(std::move(line));
  }
  return lines;
}

Conformity judge(const contents::Belief& belief, const recipe::Recipe& recipe,
                 const recipe::Book& book, const plant::Risks& risks, const Options& options) {
  const std::vector<Line> lines = lines_of(recipe, belief);
  const std::vector<ColourLine> colours = colour_lines_of(recipe, belief, book);
  Conformity found;
  found.joint = probability(belief.mean, belief.covariance, lines, colours, options);
  auto line = lines.begin();
  auto colour = colours.begin();
  for (const recipe::Tolerance& tolerance : recipe.tolerances) {
    found.lines.push_back(tolerance.on == recipe::ToleranceOn::colour
                              ? report_of(*colour++, belief, options)
                              : report_of(*line++, belief));
  }
  found.binding = least_likely(found.lines);
  const double release_at = 1.0 - recipe.consumer_risk.value_or(risks.consumer);
  found.ruling = ruling_of(found.joint.value, release_at, risks.producer);
  const auto near = [&](double threshold) {
    return std::abs(found.joint.value - threshold) <= found.joint.error;
  };
  found.on_the_edge = near(release_at) || near(risks.producer);
  if (colours.empty()) return found;
  found.doubt = mixing::doubt_about(book, belief.mean.segment(belief.components, belief.stocks));
  if (found.doubt.empty()) return found;
  // The law that led to the joint probability is not to be trusted: only the other lines speak.
  const Probability rest = probability(belief.mean, belief.covariance, lines, options);
  found.ruling = rest.value <= risks.producer ? Ruling::reject : Ruling::unclear;
  return found;
}

}  // namespace vialwright::conformity
