#include <array>
#include <cmath>

#include "colour/colour.hpp"
#include "colour/tables.hpp"

namespace vialwright::colour {
namespace {

template <std::size_t columns>
Spectrum column(const double (&table)[table_rows][columns], std::size_t which) {
  Spectrum made;
  for (const auto& row : table) {
    made.nm.push_back(row[0]);
    made.value.push_back(row[which]);
  }
  return made;
}

/// x, y, z of an observer. Beyond the table it sees nothing.
std::array<double, 3> seen(Observer observer, double nm) {
  static const auto spectra = [] {
    std::array<Spectrum, 6> made;
    for (std::size_t i = 0; i < 6; ++i) made[i] = column(observer_table, i + 1);
    return made;
  }();
  const std::size_t first = observer == Observer::cie1931 ? 0 : 3;
  if (nm < spectra[0].nm.front() || nm > spectra[0].nm.back()) return {};
  return {at(spectra[first], nm), at(spectra[first + 1], nm), at(spectra[first + 2], nm)};
}

/// Adds what one wavelength contributes to the weights at index i.
void add(Weights& weights, std::size_t i, Observer observer, const Spectrum& illuminant,
         double nm) {
  const auto [x, y, z] = seen(observer, nm);
  const double power = at(illuminant, nm, Between::linear);
  weights.x[i] += power * x;
  weights.y[i] += power * y;
  weights.z[i] += power * z;
}

double sum(const std::vector<double>& values) {
  double total = 0.0;
  for (const double value : values) total += value;
  return total;
}

void scale(Weights& weights) {
  const double k = 100.0 / sum(weights.y);
  for (auto* each : {&weights.x, &weights.y, &weights.z})
    for (double& value : *each) value *= k;
  weights.white = {sum(weights.x), 100.0, sum(weights.z)};
}

}  // namespace

std::string_view word(Observer observer) { return observer == Observer::cie1931 ? "2" : "10"; }

std::string_view word(Illuminant illuminant) {
  constexpr std::array<std::string_view, 3> words{"A", "D50", "D65"};
  return words[static_cast<std::size_t>(illuminant)];
}

std::optional<Observer> observer(std::string_view word) {
  for (const Observer each : {Observer::cie1931, Observer::cie1964})
    if (colour::word(each) == word) return each;
  return std::nullopt;
}

std::optional<Illuminant> illuminant(std::string_view word) {
  for (const Illuminant each : {Illuminant::a, Illuminant::d50, Illuminant::d65})
    if (colour::word(each) == word) return each;
  return std::nullopt;
}

const Spectrum& power(Illuminant illuminant) {
  static const std::array<Spectrum, 3> spectra{
      column(illuminant_table, 1), column(illuminant_table, 2), column(illuminant_table, 3)};
  return spectra[static_cast<std::size_t>(illuminant)];
}

Weights weights(Observer observer, const Spectrum& illuminant, const Grid& grid) {
  require(grid.size() > 0, "a grid has a step above 0 and an end not before its start");
  const auto size = static_cast<std::size_t>(grid.size());
  Weights made{
      grid, std::vector<double>(size), std::vector<double>(size), std::vector<double>(size), {}};
  for (std::size_t i = 0; i < size; ++i)
    add(made, i, observer, illuminant, grid.at(static_cast<int>(i)));
  const double blue_end = observer_table[0][0], red_end = observer_table[table_rows - 1][0];
  for (int i = -1; grid.at(i) >= blue_end; --i) add(made, 0, observer, illuminant, grid.at(i));
  for (int i = grid.size(); grid.at(i) <= red_end; ++i)
    add(made, size - 1, observer, illuminant, grid.at(i));
  scale(made);
  return made;
}

const Weights& weights(Observer observer, Illuminant illuminant) {
  static const auto all = [] {
    std::array<std::array<Weights, 3>, 2> made;
    for (const Observer o : {Observer::cie1931, Observer::cie1964})
      for (const Illuminant i : {Illuminant::a, Illuminant::d50, Illuminant::d65})
        made[static_cast<std::size_t>(o)][static_cast<std::size_t>(i)] = weights(o, power(i));
    return made;
  }();
  return all[static_cast<std::size_t>(observer)][static_cast<std::size_t>(illuminant)];
}

Xyz xyz(std::span<const double> factor, const Weights& weights) {
  require(factor.size() == weights.x.size(), "one factor for each wavelength of the weights");
  Xyz total;
  for (std::size_t i = 0; i < factor.size(); ++i) {
    total.x += weights.x[i] * factor[i];
    total.y += weights.y[i] * factor[i];
    total.z += weights.z[i] * factor[i];
  }
  return total;
}

}  // namespace vialwright::colour
