/// What a vial looks like and why: its glass, its spectrum, the difference to what is wanted.

#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "report/colour_drawings.hpp"
#include "report/colour_parts.hpp"
#include "report/html.hpp"
#include "report/seen.hpp"
#include "report/words.hpp"

namespace vialwright::report {
namespace {

using decide::Decision;
using Eigen::Index;

std::size_t at(int i) { return static_cast<std::size_t>(i); }

/// What a gauge read, as absorbance of 1 cm, where it gives spectra.
void add_read(const contents::Reading& reading, const line::State& state, double diameter_cm,
              SpectraDrawn& drawn) {
  const auto& gauge = state.plant.instruments[at(reading.instrument)].colour;
  if (reading.kind != contents::ReadingKind::colour || !gauge ||
      gauge->gives != plant::ColourGauge::Gives::spectrum)
    return;
  const double path = gauge->path_cm > 0.0 ? gauge->path_cm : diameter_cm;
  for (std::size_t i = 0; i < reading.values.size(); ++i) {
    const double value = reading.values[i];
    const double absorbance = gauge->absorbance ? value : -std::log10(std::max(value, 1e-6));
    drawn.read.emplace_back(gauge->bands.at(static_cast<int>(i)), absorbance / path);
  }
}

/// Absorbance of one unit of each amount in 1 cm, (nodes, amounts).
Eigen::MatrixXd absorptivities(const recipe::Book& book, const colour::Grid& grid, Index amounts) {
  Eigen::MatrixXd matrix = Eigen::MatrixXd::Zero(grid.size(), amounts);
  for (Index k = 0; k < amounts; ++k) {
    const auto component = static_cast<std::size_t>(k);
    if (component < book.components.size()) {
      const colour::Spectrum& spectrum = book.components[component].absorptivity;
      if (spectrum.nm.empty()) continue;
      const std::vector<double> on = colour::on(spectrum, grid);
      for (Index i = 0; i < matrix.rows(); ++i) matrix(i, k) = on[static_cast<std::size_t>(i)];
      continue;
    }
    const int shape = static_cast<int>(component - book.components.size());
    for (Index i = 0; i < matrix.rows(); ++i)
      matrix(i, k) = mixing::foreign_shape(shape, grid.at(static_cast<int>(i)));
  }
  return matrix;
}

void add_part(const std::string& name, const Eigen::VectorXd& absorbance, double most,
              SpectraDrawn& drawn) {
  if (!(absorbance.cwiseAbs().maxCoeff() > 0.01 * most)) return;
  drawn.parts.push_back({name, {absorbance.begin(), absorbance.end()}});
}

std::string spectrum_of(const Decision& decision, const line::State& state, double diameter_cm) {
  const contents::Belief& belief = decision.estimate->belief;
  const colour::Grid grid;
  Eigen::MatrixXd gradient;
  const Eigen::VectorXd amounts = contents::colouring(belief, belief.mean, &gradient);
  const Eigen::MatrixXd unit = absorptivities(state.book, grid, amounts.size());
  const Eigen::VectorXd total = unit * amounts;
  const Eigen::MatrixXd slope = unit * gradient;
  const Eigen::VectorXd variance = (slope * belief.covariance).cwiseProduct(slope).rowwise().sum();
  SpectraDrawn drawn;
  for (int i = 0; i < grid.size(); ++i) drawn.nm.push_back(grid.at(i));
  drawn.total.assign(total.begin(), total.end());
  for (const double each : variance) drawn.u.push_back(std::sqrt(std::max(each, 0.0)));
  const double most = total.maxCoeff();
  const auto components = static_cast<Index>(state.book.components.size());
  for (Index k = 0; k < components; ++k)
    add_part(component_name(static_cast<int>(k), state), unit.col(k) * amounts[k], most, drawn);
  const Index foreign = amounts.size() - components;
  if (foreign > 0)
    add_part("unknown colourant", unit.rightCols(foreign) * amounts.tail(foreign), most, drawn);
  for (const contents::Reading& reading : decision.evidence.readings)
    add_read(reading, state, diameter_cm, drawn);
  std::string named;
  for (const SpectraDrawn::Part& part : drawn.parts)
    named += (named.empty() ? "" : ", ") + part.name;
  drawn.alternative =
      fmt::format("Absorbance of 1 cm from 380 to 780 nm, at most {:.3g}; split into {}", most,
                  named.empty() ? "nothing that colours" : named);
  return spectra_svg(drawn);
}

std::string glass_of(const Decision& decision, const Seen& seen, double full) {
  LargeGlass glass;
  glass.full = full;
  glass.hex = seen.display.hex();
  glass.alternative =
      fmt::format("{}: {}, estimated", decision.serial, colour_name(seen.colour.mean));
  return large_glass_svg(glass);
}

std::string glass_words(const Decision& decision, const Seen& seen) {
  std::string html = fmt::format(
      "<p><b>{}</b>, {}<br/><span class=\"note\">{}. Approximate: in its vial, {:.2g} cm across, "
      "D65, 2 degrees; estimated from what is in it.</span></p>",
      escaped(decision.serial), escaped(colour_name(seen.colour.mean)),
      value_html(lab_in_words(seen.colour)), seen.path_cm);
  if (!seen.display.displayable)
    html +=
        "<p><b>Not displayable</b>: more saturated than a screen can show; drawn with less "
        "chroma, same lightness and hue.</p>";
  return html;
}

std::vector<double> density_of(const std::vector<double>& differences, double to) {
  constexpr int bins = 48;
  std::vector<double> count(bins + 1, 0.0);
  for (const double each : differences) {
    // Shared between the two nearest nodes, so that the mound is smooth.
    const double place = std::min(bins * each / to, bins - 1e-9);
    const auto low = static_cast<std::size_t>(place);
    count[low] += 1.0 - (place - static_cast<double>(low));
    count[low + 1] += place - static_cast<double>(low);
  }
  count.front() *= 2.0;  // half a bin
  count.back() *= 2.0;
  return count;
}

}  // namespace

std::string colour_section(const Decision& decision, const line::State& state, double full) {
  const auto seen = seen_of(decision, state);
  if (!seen) return {};
  return "<div class=\"colourrow\">" + glass_of(decision, *seen, full) + "<div>" +
         glass_words(decision, *seen) + spectrum_of(decision, state, seen->path_cm) +
         "<p class=\"note\">Soft band: what 1 cm of it absorbs, 95 %. Thin lines: the part of each "
         "component. Beads: what was read.</p></div></div>";
}

std::string difference_of(const Decision& decision, const recipe::Recipe& recipe, std::size_t line,
                          double clear, const std::string& alternative) {
  const conformity::LineReport& found = decision.conformity->lines[line];
  const recipe::Tolerance& tolerance = recipe.tolerances[line];
  const colour::Lab& target = recipe.colours[at(tolerance.of)].lab;
  const std::vector<double> differences = differences_of(*found.seen, target);
  const auto share = [&](double p) {
    return differences[static_cast<std::size_t>(p * static_cast<double>(differences.size() - 1))];
  };
  DifferenceDrawn drawn;
  drawn.limit = tolerance.high;
  drawn.mean = share(0.5);
  drawn.low = share(0.025);
  drawn.high = share(0.975);
  drawn.density_to = std::max(differences.back(), 1e-6);
  drawn.density = density_of(differences, drawn.density_to);
  drawn.binds = decision.conformity->binding == static_cast<int>(line);
  drawn.clear = clear;
  drawn.alternative = alternative;
  return difference_svg(drawn);
}

}  // namespace vialwright::report
