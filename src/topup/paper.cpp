#include "topup/paper.hpp"

#include <algorithm>
#include <cmath>

#include "topup/composition.hpp"

namespace vialwright::topup {
namespace {

using recipe::Tolerance;
using recipe::ToleranceOn;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// Both limits of every content line on one component, met together.
struct Bounds {
  double low = 0.0, high = recipe::no_limit;
};

/// The lines that the composition solver knows, gathered; nullopt when there are others.
struct Gathered {
  std::vector<std::optional<Bounds>> content;  ///< (components)
  double net_low = 0.0, net_high = recipe::no_limit, volume_high = recipe::no_limit;
};

std::optional<Gathered> gather(const Vial& vial, const recipe::Recipe& recipe) {
  Gathered all;
  all.content.resize(vial.components_mg.size());
  for (const Tolerance& line : recipe.tolerances) {
    if (line.on == ToleranceOn::content) {
      auto& bounds = all.content[at(line.of)];
      if (!bounds) bounds.emplace();
      bounds->low = std::max(bounds->low, line.low);
      bounds->high = std::min(bounds->high, line.high);
    } else if (line.on == ToleranceOn::net_mass) {
      all.net_low = std::max(all.net_low, line.low);
      all.net_high = std::min(all.net_high, line.high);
    } else if (line.on == ToleranceOn::volume && line.low <= vial.volume_ml) {
      all.volume_high = std::min(all.volume_high, line.high);
    } else {
      return std::nullopt;
    }
  }
  return all;
}

/// Which candidate carries each bounded component: -1 none. nullopt when not one to one.
std::optional<std::vector<int>> carriers(const Gathered& all,
                                         const std::vector<Candidate>& candidates) {
  std::vector<int> carrier(all.content.size(), -1);
  std::vector<bool> taken(candidates.size(), false);
  for (std::size_t k = 0; k < carrier.size(); ++k) {
    if (!all.content[k]) continue;
    for (std::size_t j = 0; j < candidates.size(); ++j) {
      if (candidates[j].mg_per_g[k] == 0.0) continue;
      if (carrier[k] >= 0 || taken[j]) return std::nullopt;
      carrier[k] = static_cast<int>(j);
      taken[j] = true;
    }
  }
  return carrier;
}

/// A bounded component that no candidate brings only tells how much liquid it may be in.
void bound_total(const Bounds& bounds, double have_mg, CompositionCase& into) {
  if (have_mg > 0.0) into.total_low = std::max(into.total_low, have_mg / bounds.high);
  if (bounds.low > 0.0) into.total_high = std::min(into.total_high, have_mg / bounds.low);
}

/// lower: weights'a >= low; upper: weights'a <= high, in rows of the programme.
class Rows {
 public:
  explicit Rows(const std::vector<Candidate>& candidates) : candidates_(candidates) {}

  template <class Weight>
  void add(int line, double low, double high, Weight weight) {
    if (low == -recipe::no_limit && high == recipe::no_limit) return;
    for (const Candidate& each : candidates_) weights_.push_back(weight(each));
    low_.push_back(low);
    high_.push_back(high);
    line_.push_back(line);
  }
  [[nodiscard]] GeneralCase finished() &&;

 private:
  const std::vector<Candidate>& candidates_;
  std::vector<double> weights_, low_, high_;
  std::vector<int> line_;
};

GeneralCase Rows::finished() && {
  const auto n = static_cast<Eigen::Index>(candidates_.size());
  const auto m = static_cast<Eigen::Index>(line_.size());
  GeneralCase made;
  using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
  made.programme.rows = Eigen::Map<const RowMajor>(weights_.data(), m, n);
  made.programme.row_low = Eigen::Map<const Eigen::VectorXd>(low_.data(), m);
  made.programme.row_high = Eigen::Map<const Eigen::VectorXd>(high_.data(), m);
  made.programme.low.setZero(n);
  made.programme.high.resize(n);
  made.programme.cost.resize(n);
  for (Eigen::Index j = 0; j < n; ++j) {
    const Candidate& each = candidates_[static_cast<std::size_t>(j)];
    made.programme.high[j] = each.cap_g;
    made.programme.cost[j] = each.price_per_g;
  }
  made.line_of_row = std::move(line_);
  return made;
}

/// A ratio line (part + s'a) / (whole + w'a) in [low, high] as up to two rows.
template <class Part, class Whole>
void add_ratio(Rows& rows, int index, const Tolerance& line, double part, double whole,
               Part part_of, Whole whole_of) {
  if (line.low != -recipe::no_limit) {
    rows.add(index, line.low * whole - part, recipe::no_limit,
             [&](const Candidate& c) { return part_of(c) - line.low * whole_of(c); });
  }
  if (line.high != recipe::no_limit) {
    rows.add(index, -recipe::no_limit, line.high * whole - part,
             [&](const Candidate& c) { return part_of(c) - line.high * whole_of(c); });
  }
}

void add_line(Rows& rows, int index, const Tolerance& line, const Vial& vial) {
  const double now = value_of(line, vial);
  const auto gram = [](const Candidate&) { return 1.0; };
  const auto ml = [](const Candidate& c) { return c.ml_per_g; };
  const auto mg = [&](const Candidate& c) { return c.mg_per_g[at(line.of)]; };
  switch (line.on) {
    case ToleranceOn::content:
      return add_ratio(rows, index, line, vial.components_mg[at(line.of)], vial.net_g, mg, gram);
    case ToleranceOn::concentration:
      return add_ratio(rows, index, line, vial.components_mg[at(line.of)], vial.volume_ml, mg, ml);
    case ToleranceOn::component_mass:
      return rows.add(index, line.low - now, line.high - now, mg);
    case ToleranceOn::stock_mass:
      return rows.add(index, line.low - now, line.high - now,
                      [&](const Candidate& c) { return c.addition.stock == line.of ? 1.0 : 0.0; });
    case ToleranceOn::net_mass:
      return rows.add(index, line.low - now, line.high - now, gram);
    case ToleranceOn::volume:
      return rows.add(index, line.low - now, line.high - now, ml);
    case ToleranceOn::colour:
      break;
  }
  require(false, "paper knows nothing of colour");
}

PaperAnswer solve_composition(const CompositionCase& problem) {
  PaperAnswer answer;
  answer.grams.resize(problem.have.size());
  answer.possible = least_cost(problem.view(), answer.grams, answer.cost) == Solution::found;
  return answer;
}

PaperAnswer solve_general(const GeneralCase& problem) {
  const LinearAnswer found = solve(problem.programme);
  PaperAnswer answer;
  answer.possible = found.status == LinearAnswer::Status::found;
  if (!answer.possible) return answer;
  answer.grams.assign(found.x.begin(), found.x.end());
  answer.cost = found.cost;
  return answer;
}

}  // namespace

recipe::Recipe without_colours(const recipe::Recipe& recipe) {
  recipe::Recipe lines = recipe;
  std::erase_if(lines.tolerances,
                [](const Tolerance& line) { return line.on == ToleranceOn::colour; });
  return lines;
}

Vial vial_of(const contents::Belief& belief, double fill_now_ml,
             const plant::Container* container) {
  Vial vial;
  for (int k = 0; k < belief.components; ++k)
    vial.components_mg.push_back(belief.mean[belief.component(k)]);
  for (int s = 0; s < belief.stocks; ++s) vial.stocks_g.push_back(belief.mean[belief.stock(s)]);
  vial.net_g = belief.mean[belief.net()];
  vial.volume_ml = belief.mean[belief.volume()];
  vial.room_g = vial.room_ml = plant::no_limit;
  if (container == nullptr) return vial;
  vial.room_g = container->largest_fill_g - vial.net_g;
  double fill_ml = container->largest_fill_ml > 0.0 ? container->largest_fill_ml : plant::no_limit;
  if (container->brimful_ml > 0.0) fill_ml = std::min(fill_ml, container->brimful_ml);
  vial.room_ml = fill_ml - std::max(fill_now_ml, vial.volume_ml);
  return vial;
}

double value_of(const Tolerance& line, const Vial& vial) {
  switch (line.on) {
    case ToleranceOn::content:
      return vial.components_mg[at(line.of)] / vial.net_g;
    case ToleranceOn::component_mass:
      return vial.components_mg[at(line.of)];
    case ToleranceOn::stock_mass:
      return vial.stocks_g[at(line.of)];
    case ToleranceOn::net_mass:
      return vial.net_g;
    case ToleranceOn::volume:
      return vial.volume_ml;
    case ToleranceOn::concentration:
      return vial.components_mg[at(line.of)] / vial.volume_ml;
    case ToleranceOn::colour:
      break;
  }
  require(false, "paper knows nothing of colour");
  return 0.0;
}

bool holds(const Tolerance& line, double value) {
  const double slack = same_mass * std::abs(value);
  return value >= line.low - slack && value <= line.high + slack;  // false for NaN: an empty vial
}

Vial vial_after(const Vial& vial, const std::vector<Candidate>& candidates,
                const std::vector<double>& grams) {
  Vial then = vial;
  for (std::size_t j = 0; j < candidates.size(); ++j) {
    const Candidate& each = candidates[j];
    for (std::size_t k = 0; k < then.components_mg.size(); ++k)
      then.components_mg[k] += each.mg_per_g[k] * grams[j];
    then.stocks_g[at(each.addition.stock)] += grams[j];
    then.net_g += grams[j];
    then.volume_ml += each.ml_per_g * grams[j];
    then.room_g -= grams[j];
    then.room_ml -= each.ml_per_g * grams[j];
  }
  return then;
}

Composition CompositionCase::view() const {
  return {have, low, high, cap, cost, volume, total, total_low, total_high, volume_room};
}

std::optional<CompositionCase> as_composition(const Vial& vial, const recipe::Recipe& recipe,
                                              const std::vector<Candidate>& candidates) {
  if (candidates.size() > most_stocks) return std::nullopt;
  const auto all = gather(vial, recipe);
  if (!all) return std::nullopt;
  const auto carrier = carriers(*all, candidates);
  if (!carrier) return std::nullopt;

  CompositionCase made;
  made.total = vial.net_g;
  made.total_low = all->net_low;
  made.total_high = std::min(all->net_high, vial.net_g + vial.room_g);
  made.volume_room = std::min(vial.room_ml, all->volume_high - vial.volume_ml);
  for (const Candidate& each : candidates) {
    made.have.push_back(0.0);
    made.low.push_back(0.0);
    made.high.push_back(recipe::no_limit);
    made.cap.push_back(each.cap_g);
    made.cost.push_back(each.price_per_g);
    made.volume.push_back(each.ml_per_g);
  }
  for (std::size_t k = 0; k < carrier->size(); ++k) {
    if (!all->content[k]) continue;
    const Bounds& bounds = *all->content[k];
    if ((*carrier)[k] < 0) {
      bound_total(bounds, vial.components_mg[k], made);
      continue;
    }
    const std::size_t j = at((*carrier)[k]);
    const double strength = candidates[j].mg_per_g[k];
    made.have[j] = vial.components_mg[k] / strength;
    made.low[j] = bounds.low / strength;
    made.high[j] = bounds.high / strength;
  }
  return made;
}

GeneralCase as_programme(const Vial& vial, const recipe::Recipe& recipe,
                         const std::vector<Candidate>& candidates) {
  Rows rows(candidates);
  for (std::size_t t = 0; t < recipe.tolerances.size(); ++t)
    add_line(rows, static_cast<int>(t), recipe.tolerances[t], vial);
  rows.add(-1, -recipe::no_limit, vial.room_g, [](const Candidate&) { return 1.0; });
  rows.add(-2, -recipe::no_limit, vial.room_ml, [](const Candidate& c) { return c.ml_per_g; });
  return std::move(rows).finished();
}

PaperAnswer solve_on_paper(const Vial& vial, const recipe::Recipe& recipe,
                           const std::vector<Candidate>& candidates) {
  if (const auto composition = as_composition(vial, recipe, candidates))
    return solve_composition(*composition);
  return solve_general(as_programme(vial, recipe, candidates));
}

std::vector<int> conflict(const Vial& vial, const recipe::Recipe& recipe,
                          const std::vector<Candidate>& candidates) {
  const GeneralCase problem = as_programme(vial, recipe, candidates);
  const LinearAnswer found = solve(problem.programme);
  std::vector<int> lines;
  for (Eigen::Index r = 0; r < found.proof.size(); ++r) {
    const int line = problem.line_of_row[static_cast<std::size_t>(r)];
    if (found.proof[r] != 0.0 && std::ranges::find(lines, line) == lines.end())
      lines.push_back(line);
  }
  return lines;
}

}  // namespace vialwright::topup
