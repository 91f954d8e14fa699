#include "topup/words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace vialwright::topup {
namespace {

using recipe::Tolerance;
using recipe::ToleranceOn;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// A line counts as touching its limit within this share of it: far above rounding, far below what
/// any station can dose.
constexpr double touching = 1e-8;

bool touches(double value, double limit) {
  return std::isfinite(limit) && std::abs(value - limit) <= touching * std::abs(limit);
}

/// The two numbers with as many decimals as it takes to see that they differ, two at least.
struct Pair {
  std::string one, other;
};
Pair apart(double one, double other) {
  for (int decimals = 2;; ++decimals) {
    Pair text{fmt::format("{:.{}f}", one, decimals), fmt::format("{:.{}f}", other, decimals)};
    if (text.one != text.other || decimals == 12) return text;
  }
}

/// The largest net mass that the vial may come to, and who says so.
struct Ceiling {
  double total_g = recipe::no_limit;
  std::string_view says;
  void lower(double to, std::string_view who) {
    if (to < total_g) *this = {to, who};
  }
};

Ceiling ceiling_of(const Vial& vial, const recipe::Recipe& recipe,
                   const std::vector<Candidate>& candidates) {
  Ceiling ceiling;
  double most_g_per_ml = 0.0, all_caps = 0.0;
  for (const Candidate& each : candidates) {
    most_g_per_ml = std::max(most_g_per_ml, 1.0 / each.ml_per_g);
    all_caps += each.cap_g;
  }
  for (const Tolerance& line : recipe.tolerances) {
    if (line.on == ToleranceOn::net_mass) ceiling.lower(line.high, "the recipe allows");
    if (line.on == ToleranceOn::volume && line.high != recipe::no_limit) {
      ceiling.lower(vial.net_g + std::max(0.0, line.high - vial.volume_ml) * most_g_per_ml,
                    "the recipe's volume allows");
    }
  }
  ceiling.lower(vial.net_g + std::max(0.0, vial.room_g), "the container allows");
  if (std::isfinite(vial.room_ml)) {
    ceiling.lower(vial.net_g + std::max(0.0, vial.room_ml) * most_g_per_ml,
                  "the container's volume allows");
  }
  ceiling.lower(vial.net_g + all_caps, "the largest doses allow");
  return ceiling;
}

/// Too much of something that cannot be taken out.
std::string too_much(const Vial& vial, const recipe::Recipe& recipe, const recipe::Book& book) {
  for (const Tolerance& line : recipe.tolerances) {
    if (line.on == ToleranceOn::content || line.on == ToleranceOn::concentration) continue;
    const double now = value_of(line, vial);
    if (holds(line, now) || now < line.high) continue;
    const Pair text = apart(now, line.high);
    return fmt::format("{}: {} {} is in it, the recipe allows {} {}, and nothing can be taken out",
                       recipe::name_of(line, book), text.one, recipe::unit_of(line.on), text.other,
                       recipe::unit_of(line.on));
  }
  return {};
}

/// The content that needs the most liquid, where that is more than there may be.
std::string over_strength(const Vial& vial, const recipe::Recipe& recipe, const Ceiling& ceiling,
                          const recipe::Book& book) {
  const Tolerance* worst = nullptr;
  double most = ceiling.total_g;
  for (const Tolerance& line : recipe.tolerances) {
    if (line.on != ToleranceOn::content || line.high == recipe::no_limit) continue;
    const double have = vial.components_mg[at(line.of)];
    const double needs = have > 0.0 ? have / line.high : 0.0;
    if (needs <= most) continue;
    most = needs;
    worst = &line;
  }
  if (worst == nullptr) return {};
  const std::string name = component_name(worst->of, book);
  if (!std::isfinite(most)) {
    return fmt::format(
        "{}: {:.4g} mg is in it, the recipe allows none, and nothing can be taken out", name,
        vial.components_mg[at(worst->of)]);
  }
  const Pair text = apart(most, ceiling.total_g);
  return fmt::format("{}: needs at least {} g of liquid, {} {} g", name, text.one, ceiling.says,
                     text.other);
}

std::string too_little_room(const Vial& vial, const recipe::Recipe& recipe,
                            const Ceiling& ceiling) {
  double least = 0.0;
  for (const Tolerance& line : recipe.tolerances)
    if (line.on == ToleranceOn::net_mass) least = std::max(least, line.low);
  if (std::max(least, vial.net_g) <= ceiling.total_g) return {};
  const Pair text = apart(least, ceiling.total_g);
  return fmt::format("net mass: needs at least {} g, {} {} g", text.one, ceiling.says, text.other);
}

/// A component that is missing and that nothing on offer brings.
std::string not_on_offer(const Vial& vial, const recipe::Recipe& recipe,
                         const std::vector<Candidate>& candidates, const recipe::Book& book) {
  for (const Tolerance& line : recipe.tolerances) {
    if (recipe::subject_of(line.on) != recipe::Subject::component || line.low <= 0.0) continue;
    const double now = value_of(line, vial);
    if (now >= line.low) continue;
    const bool offered = std::ranges::any_of(
        candidates, [&](const Candidate& each) { return each.mg_per_g[at(line.of)] > 0.0; });
    if (offered) continue;
    return fmt::format(
        "{}: {:.4g} {} is in it, the recipe wants at least {:.4g} {}, and no stock "
        "that can be added brings it",
        recipe::name_of(line, book), now, recipe::unit_of(line.on), line.low,
        recipe::unit_of(line.on));
  }
  return {};
}

std::string limits_of(int index, const Vial& vial, const recipe::Recipe& recipe,
                      const recipe::Book& book) {
  if (index == -1) return fmt::format("room for {:.2f} g more", std::max(0.0, vial.room_g));
  if (index == -2) return fmt::format("room for {:.2f} mL more", std::max(0.0, vial.room_ml));
  const Tolerance& line = recipe.tolerances[at(index)];
  const std::string_view unit = recipe::unit_of(line.on);
  const std::string name = recipe::name_of(line, book);
  if (line.low == -recipe::no_limit)
    return fmt::format("{} at most {:.6g} {}", name, line.high, unit);
  if (line.high == recipe::no_limit)
    return fmt::format("{} at least {:.6g} {}", name, line.low, unit);
  return fmt::format("{} {:.6g} to {:.6g} {}", name, line.low, line.high, unit);
}

std::string together(const Vial& vial, const recipe::Recipe& recipe,
                     const std::vector<Candidate>& candidates, const recipe::Book& book) {
  std::vector<std::string> parts;
  for (const int line : conflict(vial, recipe, candidates))
    parts.push_back(limits_of(line, vial, recipe, book));
  if (parts.empty()) return "the recipe's lines miss each other by less than rounding shows";
  if (parts.size() == 1) return "out of reach of the stocks that can be added: " + parts.front();
  return "no additions hold all of these: " + listed(parts, "; ");
}

}  // namespace

std::string stock_name(int stock, const recipe::Book& book) {
  const recipe::Stock& one = book.stocks[at(stock)];
  return one.name.empty() ? one.id : one.name;
}
std::string component_name(int component, const recipe::Book& book) {
  const recipe::Component& one = book.components[at(component)];
  return one.name.empty() ? one.id : one.name;
}

std::string listed(const std::vector<std::string>& parts, std::string_view between) {
  return fmt::format("{}", fmt::join(parts, between));
}

std::string binding_in_words(const Vial& then, const recipe::Recipe& recipe,
                             const std::vector<Candidate>& candidates,
                             const std::vector<double>& grams, const recipe::Book& book) {
  std::vector<std::string> parts;
  for (const Tolerance& line : recipe.tolerances) {
    const double value = value_of(line, then);
    if (touches(value, line.low))
      parts.push_back(recipe::name_of(line, book) + " at its lower limit");
    if (touches(value, line.high) && line.high != line.low)
      parts.push_back(recipe::name_of(line, book) + " at its upper limit");
  }
  if (std::abs(then.room_g) <= touching * then.net_g) parts.push_back("the container's mass limit");
  if (std::abs(then.room_ml) <= touching * then.volume_ml)
    parts.push_back("the container's volume");
  for (std::size_t j = 0; j < grams.size(); ++j) {
    if (grams[j] > 0.0 && touches(grams[j], candidates[j].cap_g))
      parts.push_back("the largest dose of " + stock_name(candidates[j].addition.stock, book));
  }
  return listed(parts, " and ");
}

std::string impossible_in_words(const Vial& vial, const recipe::Recipe& recipe,
                                const std::vector<Candidate>& candidates,
                                const recipe::Book& book) {
  const Ceiling ceiling = ceiling_of(vial, recipe, candidates);
  std::string why = too_much(vial, recipe, book);
  if (why.empty()) why = over_strength(vial, recipe, ceiling, book);
  if (why.empty()) why = not_on_offer(vial, recipe, candidates, book);
  if (why.empty()) why = too_little_room(vial, recipe, ceiling);
  if (why.empty()) why = together(vial, recipe, candidates, book);
  return why;
}

}  // namespace vialwright::topup
