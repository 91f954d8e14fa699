#include "holding/course.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace vialwright::holding {
namespace {

using Polynomial = std::array<double, 5>;

/// Radau's right-hand nodes for four stages.
constexpr std::array nodes = {0.088587959512703947, 0.409466864440734711, 0.787659461760847056,
                              1.0};
constexpr double between_nodes = 0.6;  ///< where the residual is looked at
/// Of the largest worth; the ends of steps are far better than the residual between their nodes.
constexpr double tolerance = 1e-6;
constexpr double smallest_step = 1e-9;  ///< of the longest wait
/// Of the largest worth: an offer so little on the wrong side of W is left there, which puts W off
/// by less, and keeps two that touch from changing sides for ever.
constexpr double slack = 4e-7;
/// Ratio of the ages within one stretch: at its ends ten powers then leave 1e-6 of the youngest
/// offer's rate, on average a tenth of that.
constexpr double widest = 5.0 / 3.0;
constexpr std::array looks = {1.0, 2.0 / 3.0, 1.0 / 3.0};  ///< within a step, for changes of side
constexpr int looks_a_stretch = 8;  ///< for the end of a time in which waiting does not pay

double value(const Polynomial& w, double theta) {
  return w[0] + theta * (w[1] + theta * (w[2] + theta * (w[3] + theta * w[4])));
}
double slope(const Polynomial& w, double theta) {
  return w[1] + theta * (2.0 * w[2] + theta * (3.0 * w[3] + theta * 4.0 * w[4]));
}

using Row = std::array<double, 5>;  // of four equations, the right-hand side last

struct TwoByTwo {
  double a, b, c, d;
  double inverse = 1.0 / (a * d - b * c);
  [[nodiscard]] std::array<double, 2> solved(double r, double s) const {
    return {(d * r - b * s) * inverse, (a * s - c * r) * inverse};
  }
};

/// Elimination by blocks of two: half as many divisions wait for each other as row by row. No
/// pivots are sought: the nodes ascend and all entries are positive, so that none comes near zero.
std::array<double, 4> solved(const std::array<Row, 4>& rows) {
  const TwoByTwo first{rows[0][0], rows[0][1], rows[1][0], rows[1][1]};
  std::array<std::array<double, 2>, 3> upper{}, lower{};
  for (std::size_t k = 0; k < 3; ++k) {
    upper[k] = first.solved(rows[0][k + 2], rows[1][k + 2]);
    for (std::size_t i = 0; i < 2; ++i)
      lower[k][i] =
          rows[i + 2][k + 2] - (rows[i + 2][0] * upper[k][0] + rows[i + 2][1] * upper[k][1]);
  }
  const TwoByTwo second{lower[0][0], lower[1][0], lower[0][1], lower[1][1]};
  const auto [y, z] = second.solved(lower[2][0], lower[2][1]);
  return {upper[2][0] - (upper[0][0] * y + upper[1][0] * z),
          upper[2][1] - (upper[0][1] * y + upper[1][1] * z), y, z};
}

/// Root of f between a and b, where its signs differ, by regula falsi with Illinois' halving.
/// Returns where f is within `close` of nought, or the end on b's side of what is left.
template <class F>
double root(F f, double a, double b, double close = 0.0) {
  double fa = f(a), fb = f(b);
  int moved = 0;  // which end, last time
  for (int i = 0; i < 60 && std::abs(b - a) > 1e-9 * std::max(1.0, std::abs(b)); ++i) {
    if (fb == 0.0) break;
    const double c = b - fb * (b - a) / (fb - fa), fc = f(c);
    if (std::abs(fc) < close) return c;
    if ((fc < 0.0) == (fb < 0.0)) {
      b = c;
      fb = fc;
      if (std::exchange(moved, 1) == 1) fa *= 0.5;
    } else {
      a = c;
      fa = fc;
      if (std::exchange(moved, -1) == -1) fb *= 0.5;
    }
  }
  return b;
}

}  // namespace

double worth_at(const Offer& offer, double t) {
  const auto after = std::ranges::upper_bound(offer.at_days, t);
  if (after == offer.at_days.begin()) return offer.worth.front();
  if (after == offer.at_days.end()) return offer.worth.back();
  const auto i = static_cast<std::size_t>(after - offer.at_days.begin());
  const double share = (t - offer.at_days[i - 1]) / (offer.at_days[i] - offer.at_days[i - 1]);
  return offer.worth[i - 1] + share * (offer.worth[i] - offer.worth[i - 1]);
}

double Piece::at(double t) const { return value(w, to > from ? (to - t) / (to - from) : 0.0); }

Course::Course(std::span<const Offer> offers, const Terms& terms, double demand,
               std::span<const double> stops)
    : disposal_(terms.disposal),
      cost_(terms.cost_per_day + terms.place_per_day),
      longest_(terms.longest_days),
      learns_(terms.learn_while_waiting),
      w_(-terms.disposal) {
  std::vector<double> knots(stops.begin(), stops.end());
  for (const double stop : stops) odds_until_ = std::max(odds_until_, stop);
  knots.push_back(0.0);
  lines_.reserve(offers.size());
  watched_.reserve(offers.size());
  pieces_.reserve(offers.size() + 32);
  for (const Offer& offer : offers) {
    if (!counts(offer)) continue;
    // Where nothing is learned the rate stands still: days 0 marks it, the shape is the rate.
    const double shape = learns_ ? offer.demand.shape : offer.demand.rate();
    const double days = learns_ ? offer.demand.days : 0.0;
    youngest_ = lines_.empty() ? days : std::min(youngest_, days);
    lines_.push_back(
        {shape * demand, days, 0.0, 0.0, 1.0, 0.0, false, &offer, offer.at_days.size() - 1});
    for (const double worth : offer.worth) scale_ = std::max(scale_, std::abs(worth) + disposal_);
    // Most offers of a vial are knotted alike.
    if (lines_.size() > 1 && offer.at_days == lines_.front().offer->at_days) continue;
    knots.insert(knots.end(), offer.at_days.begin(), offer.at_days.end());
  }
  std::ranges::sort(knots);
  knots.erase(std::unique(knots.begin(), knots.end()), knots.end());
  std::erase_if(knots, [&](double knot) { return !(knot < longest_); });
  double to = longest_;
  h_ = longest_;
  for (std::size_t i = knots.size(); i-- > 0;) {
    while (to > knots[i]) {
      const double from = stretch_before(knots[i], to);
      enter(from, to);
      for (double t = to; t > from;) t = waits_ ? step(from, t) : idle(from, t);
      to = from;
    }
  }
}

/// Where a stretch to `to` begins: ages must not differ too much within it.
double Course::stretch_before(double from, double to) const {
  if (youngest_ <= 0.0) return from;
  return std::max(from, (youngest_ + to) / widest - youngest_);
}

/// No knot lies inside: the worths are straight lines, and the rates 1 / (days + t) short series.
void Course::enter(double from, double to) {
  idle_step_ = std::max((to - from) / looks_a_stretch, smallest_step * longest_);
  middle_ = 0.5 * (from + to);
  half_ = 0.5 * (to - from);
  per_half_ = 1.0 / half_;
  least_slope_ = std::numeric_limits<double>::infinity();
  most_slope_ = -least_slope_;
  for (Line& line : lines_) {
    const auto &at = line.offer->at_days, &worth = line.offer->worth;
    while (line.knot > 0 && at[line.knot] > from) --line.knot;
    const std::size_t k = line.knot;
    line.slope = k + 1 < at.size() ? (worth[k + 1] - worth[k]) / (at[k + 1] - at[k]) : 0.0;
    line.base = worth[k] - line.slope * at[k];
    least_slope_ = std::min(least_slope_, line.slope);
    most_slope_ = std::max(most_slope_, line.slope);
    if (!learns_) continue;
    line.once = 1.0 / (line.days + middle_);
    line.ratio = -half_ * line.once;
  }
  if (waits_) look(to);
}

/// What a day of waiting earns over scrapping at that moment.
double Course::gain(double t) const {
  double gain = -cost_;
  for (const Line& line : lines_) {
    const double over = line.base + line.slope * t + disposal_;
    if (over > 0.0) gain += over * line.shape / (line.days > 0.0 ? line.days + t : 1.0);
  }
  return gain;
}

/// A time in which the vial is better scrapped: back to where waiting pays again.
double Course::idle(double from, double to) {
  if (gain(to) > 0.0) {
    waits_ = true;
    look(to);
    return to;
  }
  double until = std::max(from, to - idle_step_);
  if (gain(until) > 0.0) {
    until = root([&](double t) { return gain(t); }, to, until);
    waits_ = true;
    look(until);
  }
  pieces_.push_back({until, to, {-disposal_, 0.0, 0.0, 0.0, 0.0}, 0.0, true});
  return until;
}

/// Which offers are worth more than waiting, from the beginning.
void Course::look(double t) {
  sums_ = {};
  sums_[0].income = -cost_;
  for (Line& line : lines_) {
    line.taken = line.base + line.slope * t > w_;
    if (line.taken) add(line, 1.0);
  }
  watched_.clear();
}

/// Into the sums, or with sign -1 out of them.
void Course::add(const Line& line, double sign) {
  const double at_middle = line.base + line.slope * middle_, rise = line.slope * half_;
  double rate = sign * line.shape * line.once, before = 0.0;
  for (Flow& sum : sums_) {
    sum.rate += rate;
    sum.income += at_middle * rate + rise * before;
    before = std::exchange(rate, rate * line.ratio);
  }
}

void Course::choose(double t) {
  for (Line* line : watched_) {
    const bool above = line->base + line->slope * t > w_;
    if (above == line->taken) continue;
    line->taken = above;
    add(*line, above ? 1.0 : -1.0);
  }
}

/// By how much W and a worth may near each other within a step.
double Course::nearing(const Polynomial& w, double h) const {
  double most = 0.0;
  for (const double theta : looks) {
    const double rise = value(w, theta) - w[0];
    most = std::max({most, std::abs(rise + theta * h * least_slope_),
                     std::abs(rise + theta * h * most_slope_)});
  }
  return 1.1 * most;  // a little more between the looks
}

/// The others are too far from W to change sides.
void Course::watch(double t, double reach) {
  watched_.clear();
  for (Line& line : lines_)
    if (std::abs(line.base + line.slope * t - w_) <= reach) watched_.push_back(&line);
}

Course::Flow Course::flow(double t) const {
  const double u = (t - middle_) * per_half_;
  Flow flow = sums_.back();
  for (std::size_t k = powers - 1; k-- > 0;) {
    flow.rate = sums_[k].rate + u * flow.rate;
    flow.income = sums_[k].income + u * flow.income;
  }
  return flow;
}

/// W from t back over h: dW/dtheta = h (income - rate W) holds at the nodes.
Polynomial Course::collocate(double t, double h) const {
  const auto row = [&](double node) -> Row {
    const Flow here = flow(t - node * h);
    const double z = h * here.rate * node, squared = node * node;
    return {1.0 + z, node * (2.0 + z), squared * (3.0 + z), squared * node * (4.0 + z),
            h * (here.income - here.rate * w_)};
  };
  const auto w = solved({row(nodes[0]), row(nodes[1]), row(nodes[2]), row(nodes[3])});
  return {w_, w[0], w[1], w[2], w[3]};
}

/// How far a step may be off, by what its slope misses between the nodes.
double Course::residual(const Polynomial& w, double t, double h) const {
  const Flow here = flow(t - between_nodes * h);
  const double missed =
      slope(w, between_nodes) - h * (here.income - here.rate * value(w, between_nodes));
  return std::abs(missed) / (1.0 + h * here.rate);
}

/// Least theta at which an offer begins or ceases to be worth taking, or W falls to scrapping.
double Course::first_change(const Polynomial& w, double t, double h) const {
  const double depth = 0.5 * slack * scale_;
  double first = 1.0;
  if (value(w, 1.0) < -disposal_)
    first = root([&](double theta) { return value(w, theta) + disposal_; }, 0.0, 1.0);
  const auto side = [](const Line& line, double over) { return line.taken ? over : -over; };
  const auto cut_for = [&](const Line& line) {
    const auto deep = [&](double theta) {
      return side(line, line.base + line.slope * (t - theta * h) - value(w, theta)) + depth;
    };
    first = root(deep, 0.0, first, depth);
  };
  // By straight lines first: whoever is likely the first to change spares the others their roots.
  const Line* likely = nullptr;
  double least = 2.0;
  const double start = w[0], end = value(w, first), end_t = t - first * h;
  for (const Line* line : watched_) {
    const double over = line->base + line->slope * end_t - end;
    if (side(*line, over) >= -2.0 * depth) continue;
    const double before = line->base + line->slope * t - start;
    const double crosses = before / (before - over);
    if (crosses < least) least = crosses, likely = line;
  }
  if (likely != nullptr) cut_for(*likely);
  // The others at the end that is left, and on the way: one may cross and come back.
  for (const double part : looks) {
    const double theta = part * first, w_there = value(w, theta), t_there = t - theta * h;
    for (const Line* line : watched_) {
      const double over = line->base + line->slope * t_there - w_there;
      if (side(*line, over) >= -2.0 * depth || line == likely || first < theta) continue;
      first = std::min(first, theta);
      cut_for(*line);
    }
  }
  return first;
}

double Course::taken_between(double from, double to) const {
  double taken = 0.0;
  for (const Line& line : lines_) {
    if (!line.taken) continue;
    taken += line.days > 0.0 ? line.shape * std::log((line.days + to) / (line.days + from))
                             : line.shape * (to - from);
  }
  return taken;
}

double Course::step(double from, double to) {
  choose(to);
  const double least = smallest_step * longest_, wanted = tolerance * scale_;
  double h = std::min(std::max(h_, least), to - from);
  Polynomial w = collocate(to, h);
  double off = residual(w, to, h);
  for (; off > wanted && h > least; off = residual(w, to, h)) {
    h = std::max(least, h * std::clamp(0.9 * std::pow(wanted / off, 0.2), 0.1, 0.9));
    w = collocate(to, h);
  }
  watch(to, nearing(w, h));
  const double theta = first_change(w, to, h);
  h_ = h;
  if (theta < 1.0) {
    const double part = std::min(std::max(theta, least / h), 1.0);
    double power = 1.0;
    for (double& each : w) each *= std::exchange(power, power * part);
    h *= part;
  } else {
    h_ = h * std::min(4.0, 0.9 * std::pow(wanted / std::max(off, 1e-3 * wanted), 0.2));
  }
  const bool through = h >= to - from;
  const double back = through ? from : to - h;
  w_ = value(w, 1.0);
  if (w_ <= -disposal_) {
    w_ = -disposal_;
    waits_ = false;
  }
  pieces_.push_back({back, to, w, to <= odds_until_ ? taken_between(back, to) : 0.0, false});
  return back;
}

double Course::limit() const {
  if (w_ <= -disposal_) return 0.0;
  for (auto piece = pieces_.rbegin(); piece != pieces_.rend(); ++piece)
    if (piece->idle) return piece->from;
  return longest_;
}

double Course::at(double t) const {
  for (auto piece = pieces_.rbegin(); piece != pieces_.rend(); ++piece)
    if (t <= piece->to) return std::max(-disposal_, piece->at(t));
  return -disposal_;
}

double Course::odds_within(double t) const {
  const double until = std::min(t, limit());
  double taken = 0.0;
  for (auto piece = pieces_.rbegin(); piece != pieces_.rend() && piece->from < until; ++piece) {
    const double part = std::min(1.0, (until - piece->from) / (piece->to - piece->from));
    taken += part * piece->taken;
  }
  return -std::expm1(-taken);
}

}  // namespace vialwright::holding
