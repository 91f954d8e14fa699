#include "report/seen.hpp"

#include <fmt/format.h>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "report/words.hpp"

namespace vialwright::report {
namespace {

constexpr double least_chroma = 4.0;  ///< below it people see grey

bool has_colours(const recipe::Book& book) {
  return std::ranges::any_of(book.components,
                             [](const auto& each) { return !each.absorptivity.nm.empty(); });
}

/// CIELAB hue angle, degrees, up to which a name holds.
struct Hue {
  double until;
  const char* name;
};
constexpr std::array<Hue, 13> hues = {{{15.0, "pink"},
                                       {45.0, "red"},
                                       {68.0, "orange"},
                                       {85.0, "amber"},
                                       {108.0, "yellow"},
                                       {125.0, "yellowish green"},
                                       {160.0, "green"},
                                       {190.0, "bluish green"},
                                       {225.0, "greenish blue"},
                                       {275.0, "blue"},
                                       {310.0, "violet"},
                                       {340.0, "purple"},
                                       {360.0, "pink"}}};

std::string grey_name(double l) {
  if (l > 97.0) return "nearly clear";
  if (l > 85.0) return "pale grey";
  return l > 30.0 ? "grey" : "nearly black";
}

std::string axis(const char* name, double value, double u) {
  return fmt::format("{} {}", name, quantity::with_doubt(value, u, ""));
}

/// Points of a standard normal in three dimensions, always the same: a lattice of golden ratios
/// (Roberts' sequence) through Box and Muller.
std::vector<Eigen::Vector3d> normal_points(int count) {
  constexpr double root = 1.1673039782614187;  // x^5 = x + 1, for four dimensions
  std::vector<Eigen::Vector3d> points;
  points.reserve(static_cast<std::size_t>(count));
  std::array<double, 4> step{}, place{0.5, 0.5, 0.5, 0.5};
  for (std::size_t d = 0; d < 4; ++d) step[d] = std::pow(root, -static_cast<double>(d + 1));
  for (int i = 0; i < count; ++i) {
    for (std::size_t d = 0; d < 4; ++d) place[d] = std::fmod(place[d] + step[d], 1.0);
    const auto radius = [](double u) { return std::sqrt(-2.0 * std::log(std::max(u, 1e-12))); };
    const double turn = 2.0 * std::numbers::pi;
    points.emplace_back(radius(place[0]) * std::cos(turn * place[1]),
                        radius(place[0]) * std::sin(turn * place[1]),
                        radius(place[2]) * std::cos(turn * place[3]));
  }
  return points;
}

}  // namespace

std::optional<Seen> seen_of(const decide::Decision& decision, const line::State& state) {
  if (!decision.estimate || decision.evidence.doses.empty() || !has_colours(state.book))
    return std::nullopt;
  const auto at = static_cast<std::size_t>(decision.evidence.container);
  if (at >= state.plant.containers.size()) return std::nullopt;
  const contents::Belief& belief = decision.estimate->belief;
  const Eigen::VectorXd stocks = belief.mean.segment(belief.components, belief.stocks);
  if (!mixing::doubt_about(state.book, stocks).empty()) return std::nullopt;
  Seen seen;
  const double diameter = state.plant.containers[at].inner_diameter_mm;
  if (diameter > 0.0) seen.path_cm = diameter / 10.0;
  recipe::ColourTarget look;
  look.path_cm = seen.path_cm;
  const mixing::View view(state.book, look);
  seen.colour = contents::colour_of(belief, view);
  seen.display = colour::display(seen.colour.mean, view.white());
  return seen;
}

std::string colour_name(const colour::Lab& lab) {
  const colour::Lch polar = colour::lch(lab);
  if (polar.c < least_chroma) return grey_name(lab.l);
  const auto found =
      std::ranges::find_if(hues, [&](const Hue& each) { return polar.h < each.until; });
  const std::string name = found == hues.end() ? hues.front().name : found->name;
  if (lab.l > 80.0 && polar.c < 30.0) return "pale " + name;
  return lab.l < 40.0 ? "dark " + name : name;
}

std::string lab_in_words(const contents::Colour& colour) {
  const auto u = [&](int i) { return std::sqrt(std::max(0.0, colour.covariance(i, i))); };
  return axis("L*", colour.mean.l, u(0)) + ", " + axis("a*", colour.mean.a, u(1)) + ", " +
         axis("b*", colour.mean.b, u(2));
}

std::vector<double> differences_of(const contents::Colour& seen, const colour::Lab& target) {
  static const std::vector<Eigen::Vector3d> points = normal_points(4096);
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> axes(seen.covariance);
  const Eigen::Matrix3d root =
      axes.eigenvectors() * axes.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal();
  std::vector<double> differences;
  differences.reserve(points.size());
  for (const Eigen::Vector3d& z : points) {
    const Eigen::Vector3d off = root * z;
    differences.push_back(colour::difference_00(
        {seen.mean.l + off[0], seen.mean.a + off[1], seen.mean.b + off[2]}, target));
  }
  std::ranges::sort(differences);
  return differences;
}

std::string difference_in_words(const contents::Colour& seen, const colour::Lab& target) {
  const std::vector<double> rising = differences_of(seen, target);
  const auto share = [&](double p) {
    return rising[static_cast<std::size_t>(p * static_cast<double>(rising.size() - 1))];
  };
  return fmt::format("{:.2f} ({:.2f} to {:.2f}) {}", share(0.5), share(0.025), share(0.975),
                     recipe::shown_unit(recipe::ToleranceOn::colour));
}

std::string line_value(const conformity::LineReport& found, const recipe::Recipe& recipe,
                       std::size_t line) {
  const recipe::Tolerance& tolerance = recipe.tolerances[line];
  if (tolerance.on != recipe::ToleranceOn::colour || !found.seen)
    return value_of(found, recipe::shown_unit(tolerance.on));
  return difference_in_words(*found.seen,
                             recipe.colours[static_cast<std::size_t>(tolerance.of)].lab);
}

std::string behind_glass(const decide::Decision& decision, const line::State& state) {
  const auto seen = seen_of(decision, state);
  return seen ? seen->display.hex() : std::string();
}

}  // namespace vialwright::report
