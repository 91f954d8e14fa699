/// What a vial can still become, as a map: gathers what reach_svg draws.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "report/colour_drawings.hpp"
#include "report/colour_parts.hpp"
#include "report/html.hpp"
#include "report/words.hpp"

namespace vialwright::report {
namespace {

using decide::Decision;
using Point = ReachDrawn::Point;

constexpr double micro = 1000.0;  ///< the map is in ug/g
constexpr std::size_t most_targets = 6;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

const recipe::Recipe* recipe_of(const Decision& decision, const std::string& id,
                                const line::State& state) {
  const line::VialRecord* vial = line::find_vial(state, decision.serial);
  if (vial != nullptr && vial->recipe && vial->recipe->id == id) return &*vial->recipe;
  return line::find_recipe(state, id);
}

const recipe::Tolerance* content_line(const recipe::Recipe& recipe, int component) {
  const auto found = std::ranges::find_if(recipe.tolerances, [&](const recipe::Tolerance& line) {
    return line.on == recipe::ToleranceOn::content && line.of == component;
  });
  return found == recipe.tolerances.end() ? nullptr : &*found;
}

/// The vial in two components, ug/g.
class Chart {
 public:
  Chart(const Decision& decision, const line::State& state)
      : decision_(decision), state_(state), belief_(decision.estimate->belief) {
    for (const decide::TopupAnswer& answer : decision.topups) {
      const recipe::Recipe* recipe = recipe_of(decision, answer.recipe, state);
      if (recipe != nullptr && asked_.size() < most_targets) asked_.push_back({&answer, recipe});
    }
    choose();
  }

  [[nodiscard]] bool drawable() const { return y_ >= 0 && !asked_.empty() && net() > 0.0; }
  [[nodiscard]] std::string html();

 private:
  struct Asked {
    const decide::TopupAnswer* answer;
    const recipe::Recipe* recipe;
  };

  void choose();
  void add_now();
  void add_rooms();
  void add_targets();
  void add_path();
  void frame();
  [[nodiscard]] double net() const { return belief_.mean[belief_.net()]; }
  [[nodiscard]] double content(int component) const {
    return micro * belief_.mean[belief_.component(component)] / net();
  }
  [[nodiscard]] double room_g() const;
  [[nodiscard]] std::vector<Point> box(const recipe::Recipe& recipe) const;
  [[nodiscard]] std::vector<Point> alike(const recipe::Recipe& recipe,
                                         const recipe::Tolerance& line) const;
  [[nodiscard]] std::string left_out() const;

  const Decision& decision_;
  const line::State& state_;
  const contents::Belief& belief_;
  std::vector<Asked> asked_;
  std::vector<std::string> named_;  ///< what each letter means
  int x_ = -1, y_ = -1;
  ReachDrawn drawn_;
};

/// The two that stand furthest from what the recipe wants, in units of its tolerance.
void Chart::choose() {
  const recipe::Recipe* wanted = nullptr;
  for (const Asked& each : asked_)
    if (wanted == nullptr || each.answer->recipe == decision_.for_recipe) wanted = each.recipe;
  if (wanted == nullptr) return;
  std::vector<std::pair<double, int>> off;
  for (int k = 0; k < belief_.components; ++k) {
    const recipe::Tolerance* line = content_line(*wanted, k);
    if (line == nullptr || !(line->low > 0.0) || !std::isfinite(line->high)) continue;
    off.emplace_back(-std::abs(content(k) / micro - line->target) / (line->high - line->low), k);
  }
  if (off.size() < 2) return;
  std::ranges::sort(off);
  x_ = std::min(off[0].second, off[1].second);
  y_ = std::max(off[0].second, off[1].second);
}

void Chart::add_now() {
  drawn_.x_name = component_name(x_, state_);
  drawn_.y_name = component_name(y_, state_);
  drawn_.unit = "\u00B5g/g";
  drawn_.now = {content(x_), content(y_)};
  drawn_.u_x = micro * belief_.u(belief_.component(x_)) / net();
  drawn_.u_y = micro * belief_.u(belief_.component(y_)) / net();
}

double Chart::room_g() const {
  const plant::Container& vial = state_.plant.containers[at(decision_.evidence.container)];
  const double volume = belief_.mean[belief_.volume()];
  const double ml = std::max(vial.largest_fill_ml > 0.0 ? vial.largest_fill_ml - volume : 0.0, 0.0);
  const double by_volume = vial.largest_fill_ml > 0.0 ? ml * net() / volume : plant::no_limit;
  return std::max(std::min(by_volume, vial.largest_fill_g - net()), 0.0);
}

/// Whatever is added, neither component falls below what there is of it in all that fits.
void Chart::add_rooms() {
  const double room = room_g();
  if (!std::isfinite(room)) return;
  const auto corner = [&](double grams) {
    const double share = net() / (net() + grams);
    return Point{share * drawn_.now.first, share * drawn_.now.second};
  };
  drawn_.rooms.push_back({0.0, corner(0.0)});
  for (double grams = 1.0; grams < room - 0.5 && grams < 3.5; grams += 1.0)
    drawn_.rooms.push_back({grams, corner(grams)});
  drawn_.rooms.push_back({room, corner(room)});
}

std::vector<Point> Chart::box(const recipe::Recipe& recipe) const {
  const recipe::Tolerance* x = content_line(recipe, x_);
  const recipe::Tolerance* y = content_line(recipe, y_);
  if (x == nullptr || y == nullptr || !std::isfinite(x->high) || !std::isfinite(y->high)) return {};
  const double x0 = micro * std::max(x->low, 0.0), x1 = micro * x->high;
  const double y0 = micro * std::max(y->low, 0.0), y1 = micro * y->high;
  return {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
}

/// Around the recipe's own contents: the mixtures of these two that look alike within the limit,
/// with what else it wants as it wants it, and what it does not want as it is in the vial. Empty
/// where not even its own contents look like it then.
std::vector<Point> Chart::alike(const recipe::Recipe& recipe, const recipe::Tolerance& line) const {
  const std::vector<Point> corners = box(recipe);
  if (corners.empty()) return {};
  const recipe::ColourTarget& target = recipe.colours[at(line.of)];
  const mixing::View view(state_.book, target);
  const Eigen::VectorXd there = contents::colouring(belief_, belief_.mean);
  const double density = net() / belief_.mean[belief_.volume()];
  Eigen::VectorXd others = there;
  for (int k = 0; k < belief_.components; ++k) {
    const recipe::Tolerance* wants = content_line(recipe, k);
    if (wants != nullptr && wants->low > 0.0) others[k] = wants->target * density;
  }
  const auto beyond = [&](const Point& point) {
    Eigen::VectorXd amounts = others;
    amounts[x_] = point.first / micro * density;
    amounts[y_] = point.second / micro * density;
    return colour::difference_00(view.lab(amounts), target.lab) - line.high;
  };
  const Point middle{(corners[0].first + corners[2].first) / 2.0,
                     (corners[0].second + corners[2].second) / 2.0};
  if (beyond(middle) > 0.0) return {};
  std::vector<Point> outline;
  constexpr int rays = 36;
  for (int i = 0; i < rays; ++i) {
    const double angle = 2.0 * std::numbers::pi * i / rays;
    const auto along = [&](double t) {
      return Point{middle.first * (1.0 + t * std::cos(angle)),
                   middle.second * (1.0 + t * std::sin(angle))};
    };
    double inside = 0.0, outside = 1.0;
    for (int step = 0; step < 24; ++step) {
      const double t = 0.5 * (inside + outside);
      (beyond(along(t)) > 0.0 ? outside : inside) = t;
    }
    outline.push_back(along(inside));
  }
  return outline;
}

void Chart::add_targets() {
  for (const Asked& each : asked_) {
    const auto colour = std::ranges::find(each.recipe->tolerances, recipe::ToleranceOn::colour,
                                          &recipe::Tolerance::on);
    const std::string letter(1, static_cast<char>('A' + named_.size()));
    const std::string name = recipe_name(each.answer->recipe, state_);
    ReachDrawn::Target target{letter,
                              {},
                              each.answer->topup.outcome == topup::Outcome::found ||
                                  each.answer->topup.outcome == topup::Outcome::nothing_needed};
    const bool by_colour = colour != each.recipe->tolerances.end();
    target.outline = by_colour ? alike(*each.recipe, *colour) : box(*each.recipe);
    if (target.outline.empty()) {
      named_.push_back(fmt::format("{} {}: {}", letter, name,
                                   by_colour ? "no mix of these two looks like it here"
                                             : "not drawn, it limits other things"));
      continue;
    }
    named_.push_back(fmt::format("{} {}{}{}", letter, name, by_colour ? ", by colour" : "",
                                 target.reached ? "" : ", out of reach"));
    drawn_.targets.push_back(std::move(target));
  }
}

void Chart::add_path() {
  const decide::TopupAnswer* plan = nullptr;
  for (const Asked& each : asked_)
    if (each.answer->topup.outcome == topup::Outcome::found &&
        (plan == nullptr || each.answer->recipe == decision_.for_recipe))
      plan = each.answer;
  if (plan == nullptr) return;
  double total = net();
  double x = belief_.mean[belief_.component(x_)], y = belief_.mean[belief_.component(y_)];
  for (const topup::Addition& each : plan->topup.additions) {
    if (each.lot < 0) return;
    const auto& strengths = state_.book.lots[at(each.lot)].strengths;
    total += each.amount_g;
    x += each.amount_g * strengths[at(x_)].mg_per_g;
    y += each.amount_g * strengths[at(y_)].mg_per_g;
    drawn_.path.emplace_back(micro * x / total, micro * y / total);
  }
}

/// All that is to be seen, with some air round it.
void Chart::frame() {
  std::vector<Point> points = drawn_.path;
  points.push_back(drawn_.now);
  for (const auto& room : drawn_.rooms) points.push_back(room.corner);
  for (const auto& target : drawn_.targets)
    points.insert(points.end(), target.outline.begin(), target.outline.end());
  const auto range = [&](auto&& value, double& from, double& to) {
    from = plant::no_limit;
    to = 0.0;
    for (const Point& each : points) {
      from = std::min(from, value(each));
      to = std::max(to, value(each));
    }
    const double air = std::max(0.12 * (to - from), 1e-6);
    from = std::max(from - air, 0.0);
    to += air;
  };
  range([](const Point& p) { return p.first; }, drawn_.x_from, drawn_.x_to);
  range([](const Point& p) { return p.second; }, drawn_.y_from, drawn_.y_to);
}

std::string Chart::left_out() const {
  std::string names;
  for (int k = 0; k < belief_.components; ++k) {
    const bool limits = std::ranges::any_of(asked_, [&](const Asked& each) {
      const recipe::Tolerance* line = content_line(*each.recipe, k);
      return line != nullptr && line->low > 0.0;
    });
    if (k == x_ || k == y_ || !limits) continue;
    names += (names.empty() ? "" : ", ") + component_name(k, state_);
  }
  return names.empty() ? names : " Left out of the map: " + names + ".";
}

std::string Chart::html() {
  add_now();
  add_rooms();
  add_targets();
  if (drawn_.targets.empty()) return {};
  add_path();
  frame();
  std::string key;
  for (const std::string& each : named_) key += (key.empty() ? "" : "; ") + each;
  drawn_.alternative = fmt::format(
      "Map of {} against {}. Clear: what {} can still become by adding. Hatched: out "
      "of reach. {}.",
      drawn_.x_name, drawn_.y_name, decision_.serial, key);
  return reach_svg(drawn_) + "<p class=\"note\">" + escaped(key) +
         ". Outlines: the recipe's tolerance. Thick path: the top-up, dose by dose. Lines: grams "
         "of "
         "room needed." +
         escaped(left_out()) + "</p>";
}

}  // namespace

std::string reach_section(const Decision& decision, const line::State& state) {
  if (!decision.estimate || decision.evidence.doses.empty() ||
      at(decision.evidence.container) >= state.plant.containers.size())
    return {};
  Chart chart(decision, state);
  return chart.drawable() ? chart.html() : std::string();
}

}  // namespace vialwright::report
