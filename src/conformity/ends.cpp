#include "conformity/ends.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace vialwright::conformity {
namespace {

std::size_t at(int i) { return static_cast<std::size_t>(i); }

// Standard deviations beyond which nothing counts: 2e-9 of the weight.
constexpr double reach = 6.0;
constexpr double no_bottom = std::numeric_limits<double>::infinity();

/// An end being looked for: the excess is `slope` (t - end) or so.
struct End {
  int point = 0;
  bool upper = false;
  double t = 0.0, slope = 0.0;
  double wide = 0.0;  ///< half the interval that was expected
};

/// Excess at three places, middle - half, middle and middle + half.
struct Three {
  double middle = 0.0, half = 0.0;
  double low = 0.0, centre = 0.0, high = 0.0;

  [[nodiscard]] double bend() const { return (low + high - 2.0 * centre) / (2.0 * half * half); }
  [[nodiscard]] double tilt() const { return (high - low) / (2.0 * half); }
};

/// An end between a place within the tolerance and one outside.
struct Bracket {
  int point = 0;
  bool upper = false;
  double in = 0.0, out = 0.0, excess_in = 0.0, excess_out = 0.0;
  int moved = 0;  ///< which side moved last: -1 in, 1 out

  void shrink(double t, double excess) {
    const bool inside = excess <= 0.0;
    (inside ? in : out) = t;
    (inside ? excess_in : excess_out) = excess;
    const int now = inside ? -1 : 1;
    if (now == moved) (inside ? excess_out : excess_in) *= 0.5;
    moved = now;
  }
};

class Finder {
 public:
  Finder(Along& along, const Drawn& drawn, Inside& into)
      : along_(along), drawn_(drawn), into_(into) {
    into_.one.assign(drawn.count, Interval{});
    into_.list.assign(drawn.count, -1);
    into_.several.clear();
    for (std::size_t r = 0; r < drawn.count; ++r)
      if (drawn.weight[r] > 0.0 && drawn.low[r] < drawn.high[r])
        live_.push_back(static_cast<int>(r));
  }
  void nearby() {
    expect();
    look_around();
    look_at_bottoms();
    for (int round = 0; !ends_.empty(); ++round) improve_ends(round);
    std::ranges::sort(hard_);
    hard_.erase(std::unique(hard_.begin(), hard_.end()), hard_.end());
    everywhere(hard_);
  }
  void everywhere() { everywhere(live_); }

 private:
  void expect();
  void look_around();
  void look_at_bottoms();
  void take(int point, double bottom, double bend, double excess);
  void improve_ends(int round);
  void everywhere(const std::vector<int>& points);
  void add_bottoms(std::vector<int>& many, std::vector<double>& t);
  void close_in(std::vector<Bracket>& brackets) const;
  void list(const std::vector<int>& points, const std::vector<Bracket>& brackets);
  void evaluate(const std::vector<int>& points, const std::vector<double>& t) {
    excess_.resize(points.size());
    along_.excess(points, t, excess_);
  }
  [[nodiscard]] double limit() const { return along_.tolerance() * along_.tolerance(); }

  Along& along_;
  const Drawn& drawn_;
  Inside& into_;
  std::vector<int> live_, hard_;
  std::vector<Three> three_;  // one a live point
  std::vector<End> bottoms_;  // points that come near the tolerance: t of the least excess
  std::vector<End> ends_;
  std::vector<double> excess_;  // of the last evaluation
};

/// Where to look first, to first order.
void Finder::expect() {
  three_.reserve(live_.size());
  for (const int point : live_) {
    const Along::Parabola p = along_.first_order(point);
    if (!(p.square > 1e-12 * limit())) {
      three_.push_back({});  // hardly moves: half 0, to be looked at everywhere
      continue;
    }
    const double middle = std::clamp(-p.slope / p.square, -reach, reach);
    const double room = p.slope * p.slope / p.square - p.constant;
    const double least = 0.09 * limit();
    three_.push_back({middle, std::min(std::sqrt(std::max(room, least) / p.square), 2.0 * reach)});
  }
}

void Finder::look_around() {
  const std::size_t n = live_.size();
  std::vector<int> points;
  std::vector<double> t;
  points.reserve(3 * n);
  t.reserve(3 * n);
  for (const double side : {-1.0, 0.0, 1.0}) {
    for (std::size_t k = 0; k < n; ++k) {
      points.push_back(live_[k]);
      t.push_back(three_[k].middle + side * three_[k].half);
    }
  }
  evaluate(points, t);
  for (std::size_t k = 0; k < n; ++k) {
    Three& three = three_[k];
    three.low = excess_[k];
    three.centre = excess_[n + k];
    three.high = excess_[2 * n + k];
    const double bend = three.bend(), tilt = three.tilt();
    if (!(three.half > 0.0 && bend > 0.0 && std::isfinite(tilt))) {
      hard_.push_back(live_[k]);
      continue;
    }
    const double move = -0.5 * tilt / bend, least = three.centre - 0.25 * tilt * tilt / bend;
    if (std::abs(move) > 2.0 * three.half) {
      hard_.push_back(live_[k]);  // too far to be trusted
    } else if (least > 0.5 * limit()) {
      continue;  // misses the tolerance by far
    } else if (least > -0.1 * limit()) {
      bottoms_.push_back({live_[k], false, three.middle + move, bend, 0.0});
    } else {
      take(live_[k], three.middle + move, bend, least);
    }
  }
}

/// Whether a shallow bottom is within the tolerance at all is not left to three places.
void Finder::look_at_bottoms() {
  std::vector<int> points;
  std::vector<double> t;
  for (const End& bottom : bottoms_) {
    points.push_back(bottom.point);
    t.push_back(bottom.t);
  }
  evaluate(points, t);
  for (std::size_t k = 0; k < bottoms_.size(); ++k) {
    const End& bottom = bottoms_[k];
    if (excess_[k] < 0.0) take(bottom.point, bottom.t, bottom.slope, excess_[k]);
  }
}

/// Two ends about a bottom whose excess is below zero.
void Finder::take(int point, double bottom, double bend, double excess) {
  const double half = std::sqrt(-excess / bend), slope = 2.0 * bend * half;
  ends_.push_back({point, false, bottom - half, -slope, half});
  ends_.push_back({point, true, bottom + half, slope, half});
}

/// A step of Newton's with the slope known so far; ends that moved little are done, since what is
/// left then is of the order of the step squared.
void Finder::improve_ends(int round) {
  constexpr int most_rounds = 8;
  std::vector<int> points;
  std::vector<double> t;
  for (const End& end : ends_) {
    points.push_back(end.point);
    t.push_back(end.t);
  }
  evaluate(points, t);
  std::vector<End> open;
  for (std::size_t k = 0; k < ends_.size(); ++k) {
    End end = ends_[k];
    const double step = -excess_[k] / end.slope, size = std::abs(step);
    const std::size_t point = at(end.point);
    double& placed = end.upper ? into_.one[point].to : into_.one[point].from;
    placed = end.t + step;
    if (size <= std::min(0.02, 0.2 * end.wide)) continue;
    if (!(size < end.wide) || round == most_rounds) {
      hard_.push_back(end.point);
      continue;
    }
    end.t = placed;
    open.push_back(end);
  }
  ends_ = std::move(open);
}

/// Regula falsi, the side that stays counted half (Dowell & Jarratt, BIT 11 (1971) 168,
/// "Illinois").
void Finder::close_in(std::vector<Bracket>& brackets) const {
  constexpr int rounds = 8;
  std::vector<int> points(brackets.size());
  std::vector<double> t(brackets.size()), excess(brackets.size());
  for (int round = 0; round < rounds; ++round) {
    for (std::size_t k = 0; k < brackets.size(); ++k) {
      const Bracket& b = brackets[k];
      const double share = b.excess_in / (b.excess_in - b.excess_out);
      points[k] = b.point;
      t[k] = b.in + (std::isfinite(share) ? share : 0.5) * (b.out - b.in);
    }
    along_.excess(points, t, excess);
    for (std::size_t k = 0; k < brackets.size(); ++k) brackets[k].shrink(t[k], excess[k]);
  }
}

/// Every change of sign between neighbouring places, closed in on.
void Finder::everywhere(const std::vector<int>& points) {
  if (points.empty()) return;
  constexpr int pieces = 32;
  std::vector<int> many;
  std::vector<double> t;
  for (const int point : points) {
    const double low = std::max(drawn_.low[at(point)], -reach);
    const double high = std::min(drawn_.high[at(point)], reach);
    for (int k = 0; k <= pieces; ++k) {
      many.push_back(point);
      t.push_back(low + (high - low) * k / pieces);
    }
  }
  evaluate(many, t);
  add_bottoms(many, t);
  std::vector<Bracket> brackets;
  for (std::size_t k = 0; k < many.size(); ++k) {
    const bool in = excess_[k] <= 0.0;
    const auto at_edge = [&](bool upper) {
      brackets.push_back({many[k], upper, t[k], t[k], excess_[k], excess_[k]});
    };
    if (in && (k == 0 || many[k - 1] != many[k])) at_edge(false);
    if (k + 1 == many.size() || many[k + 1] != many[k]) {
      if (in) at_edge(true);
      continue;
    }
    if (in == (excess_[k + 1] <= 0.0)) continue;
    const std::size_t inner = in ? k : k + 1, outer = in ? k + 1 : k;
    brackets.push_back({many[k], in, t[inner], t[outer], excess_[inner], excess_[outer]});
  }
  close_in(brackets);
  list(points, brackets);
}

/// Between places outside, the colour may come within its tolerance and leave it again: the bottom
/// of the parabola through three places joins them where the middle one is lowest.
void Finder::add_bottoms(std::vector<int>& many, std::vector<double>& t) {
  const std::size_t n = many.size();
  std::vector<int> points;
  std::vector<double> bottoms(n, no_bottom), tried;
  for (std::size_t k = 1; k + 1 < n; ++k) {
    if (many[k - 1] != many[k] || many[k + 1] != many[k]) continue;
    const double here = excess_[k], before = excess_[k - 1], after = excess_[k + 1];
    if (!(here > 0.0 && before >= here && after >= here && before + after > 2.0 * here)) continue;
    const double step = t[k + 1] - t[k];
    bottoms[k] = t[k] + 0.5 * step * (before - after) / (before + after - 2.0 * here);
    points.push_back(many[k]);
    tried.push_back(bottoms[k]);
  }
  if (points.empty()) return;
  std::vector<double> excess(points.size());
  along_.excess(points, tried, excess);
  std::vector<int> joined;
  std::vector<double> joined_t, joined_excess;
  const auto join = [&](int point, double place, double value) {
    joined.push_back(point);
    joined_t.push_back(place);
    joined_excess.push_back(value);
  };
  for (std::size_t k = 0, next = 0; k < n; ++k) {
    const bool tries = bottoms[k] < no_bottom;
    const double value = tries ? excess[next++] : 0.0;
    const bool counts = value < 0.0;
    if (counts && bottoms[k] < t[k]) join(many[k], bottoms[k], value);
    join(many[k], t[k], excess_[k]);
    if (counts && bottoms[k] >= t[k]) join(many[k], bottoms[k], value);
  }
  many = std::move(joined);
  t = std::move(joined_t);
  excess_ = std::move(joined_excess);
}

void Finder::list(const std::vector<int>& points, const std::vector<Bracket>& brackets) {
  for (const int point : points) {
    into_.one[at(point)] = {};
    into_.list[at(point)] = static_cast<int>(into_.several.size());
    into_.several.emplace_back();
  }
  for (const Bracket& bracket : brackets) {  // along t, a lower end before its upper one
    auto& intervals = into_.several[at(into_.list[at(bracket.point)])];
    if (bracket.upper) {
      intervals.back().to = bracket.in;
    } else {
      intervals.push_back({bracket.in, bracket.in});
    }
  }
}

}  // namespace

void find_inside(Along& along, const Drawn& drawn, Search search, Inside& into) {
  Finder finder(along, drawn, into);
  search == Search::nearby ? finder.nearby() : finder.everywhere();
}

}  // namespace vialwright::conformity
