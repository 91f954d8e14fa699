#include "strength/learned.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace vialwright::strength {
namespace {

using contents::Effect;
using Eigen::VectorXd;
constexpr double ninety_five = 1.959963984540054;  // standard normal, two sides

std::size_t at(int i) { return static_cast<std::size_t>(i); }

void finish(Learned& learned, double mean, double variance) {
  learned.value = mean;
  learned.u = std::sqrt(std::max(0.0, variance));
  learned.lower = mean - ninety_five * learned.u;
  learned.upper = mean + ninety_five * learned.u;
}

Learned of_component(const Lesson& lesson, int unknown) {
  Learned learned;
  learned.component = lesson.unknowns[at(unknown)].effect.of;
  learned.u_prior = lesson.unknowns[at(unknown)].u;
  finish(learned, lesson.mean[unknown], lesson.covariance(unknown, unknown));
  return learned;
}

Learned of_lot(const Lesson& lesson, int unknown, const recipe::Book& book) {
  const Effect& effect = lesson.unknowns[at(unknown)].effect;
  const recipe::Strength& said = book.lots[at(effect.of)].strengths[at(effect.component)];
  Learned learned;
  learned.kind = Learned::Kind::strength;
  learned.component = effect.component;
  learned.lot = effect.of;
  learned.prior = said.mg_per_g;
  learned.u_prior = said.u_mg_per_g;
  finish(learned, said.mg_per_g + lesson.mean[unknown], lesson.covariance(unknown, unknown));
  return learned;
}

/// Strength times (1 + deviation), to first order about the means.
Learned as_seen(const Lesson& lesson, const Learned& strength, int lot, int deviation) {
  Learned seen = strength;
  seen.kind = Learned::Kind::colour;
  const double scale = 1.0 + lesson.mean[deviation];
  seen.u_prior = std::hypot(strength.u_prior, strength.prior * lesson.unknowns[at(deviation)].u);
  VectorXd by = VectorXd::Zero(lesson.mean.size());
  by[lot] = scale;
  by[deviation] = strength.value;
  finish(seen, strength.value * scale, by.dot(lesson.covariance * by));
  return seen;
}

}  // namespace

int find(const std::vector<Unknown>& unknowns, const Effect& effect) {
  const auto known = std::ranges::find_if(unknowns, [&](const Unknown& each) {
    return each.kind == Unknown::Kind::effect && each.effect == effect;
  });
  return known == unknowns.end() ? -1 : static_cast<int>(known - unknowns.begin());
}

double relative_variance(const std::vector<Unknown>& unknowns, const Eigen::MatrixXd& covariance,
                         const recipe::Book& book) {
  double sum = 0.0;
  for (int i = 0; i < static_cast<int>(unknowns.size()); ++i) {
    const Unknown& each = unknowns[at(i)];
    if (each.kind != Unknown::Kind::effect) continue;
    if (each.effect.kind == Effect::Kind::absorptivity) sum += covariance(i, i);
    if (each.effect.kind != Effect::Kind::strength) continue;
    const double said = book.lots[at(each.effect.of)].strengths[at(each.effect.component)].mg_per_g;
    const bool coloured = !book.components[at(each.effect.component)].absorptivity.nm.empty();
    if (coloured && said > 0.0) sum += covariance(i, i) / (said * said);
  }
  return sum;
}

std::vector<Learned> learned_of(const Lesson& lesson, const recipe::Book& book,
                                const std::function<int(const Effect&)>& vials_with) {
  std::vector<Learned> components, lots, seen;
  const auto coloured = [&](int k) { return !book.components[at(k)].absorptivity.nm.empty(); };
  for (int k = 0; k < static_cast<int>(book.components.size()); ++k) {
    const Effect effect{Effect::Kind::absorptivity, k, -1};
    const int unknown = find(lesson.unknowns, effect);
    if (unknown < 0) continue;
    components.push_back(of_component(lesson, unknown));
    components.back().vials = vials_with(effect);
  }
  for (int lot = 0; lot < static_cast<int>(book.lots.size()); ++lot)
    for (int k = 0; k < static_cast<int>(book.components.size()); ++k) {
      const Effect effect{Effect::Kind::strength, lot, k};
      const int unknown = find(lesson.unknowns, effect);
      if (unknown < 0 || !coloured(k)) continue;
      lots.push_back(of_lot(lesson, unknown, book));
      lots.back().vials = vials_with(effect);
      const int deviation = find(lesson.unknowns, {Effect::Kind::absorptivity, k, -1});
      if (deviation >= 0) seen.push_back(as_seen(lesson, lots.back(), unknown, deviation));
    }
  components.insert(components.end(), lots.begin(), lots.end());
  components.insert(components.end(), seen.begin(), seen.end());
  return components;
}

std::string name_of(const Learned& learned, const recipe::Book& book) {
  const recipe::Component& component = book.components[at(learned.component)];
  const std::string& name = component.name.empty() ? component.id : component.name;
  if (learned.kind == Learned::Kind::absorptivity) return fmt::format("absorptivity of {}", name);
  const std::string& lot = book.lots[at(learned.lot)].id;
  if (learned.kind == Learned::Kind::strength) return fmt::format("{} in lot {}", name, lot);
  return fmt::format("{} in lot {} as it looks", name, lot);
}

recipe::Book with(const Lesson& lesson, recipe::Book book) {
  for (const Learned& each : lesson.learned) {
    if (each.kind == Learned::Kind::absorptivity) {
      recipe::Component& component = book.components[at(each.component)];
      for (double& value : component.absorptivity.value) value *= 1.0 + each.value;
      component.u_absorptivity_rel = each.u / (1.0 + each.value);
    } else if (each.kind == Learned::Kind::strength) {
      book.lots[at(each.lot)].strengths[at(each.component)] = {each.value, each.u};
    }
  }
  return book;
}

}  // namespace vialwright::strength
