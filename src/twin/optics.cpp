#include "twin/optics.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace vialwright::twin {
namespace {

/// Parts of what departs: of all lots of a component, of one lot.
constexpr double shared_dye = 0.8, own_dye = 0.6;  // 0.64 + 0.36 = 1

constexpr double shift_sd_nm = 0.06;   ///< of a band, with the acidity and salts of a lot
constexpr double side_nm = 6.0;        ///< a part of each band lies so far on either side ...
constexpr double most_broader = 0.05;  ///< ... up to this part

std::size_t nodes() { return static_cast<std::size_t>(fine.size()); }
double nm_of(std::size_t node) { return fine.at(static_cast<int>(node)); }

const colour::Weights& weights_of(colour::Observer observer, colour::Illuminant illuminant) {
  static const auto all = [] {
    std::array<std::array<colour::Weights, 3>, 2> made;
    for (std::size_t o = 0; o < made.size(); ++o) {
      for (std::size_t i = 0; i < made[o].size(); ++i) {
        made[o][i] = colour::weights(static_cast<colour::Observer>(o),
                                     colour::power(static_cast<colour::Illuminant>(i)), fine);
      }
    }
    return made;
  }();
  return all[static_cast<std::size_t>(observer)][static_cast<std::size_t>(illuminant)];
}

/// Steep towards the red and with a long foot towards the blue, as bands of dyes in water are.
double band(double nm, double centre, double sd_nm) {
  const double side = nm < centre ? 1.35 * sd_nm : sd_nm;
  return std::exp(-0.5 * std::pow((nm - centre) / side, 2));
}

Curve bands(Random& random) {
  const int count = 1 + random.below(3);
  Curve sum(nodes(), 0.0);
  for (int k = 0; k < count; ++k) {
    const double centre = random.between(410.0, 690.0), sd = random.between(14.0, 36.0);
    const double height = k == 0 ? 1.0 : random.between(0.2, 0.8);
    for (std::size_t n = 0; n < sum.size(); ++n) sum[n] += height * band(nm_of(n), centre, sd);
  }
  const double highest = *std::max_element(sum.begin(), sum.end());
  for (double& value : sum) value /= highest;
  return sum;
}

Curve visible(const Curve& curve) {
  return {curve.begin() + 40, curve.begin() + 341};  // 400 to 700 nm
}

double dot(const Curve& one, const Curve& other) {
  double sum = 0.0;
  for (std::size_t n = 0; n < one.size(); ++n) sum += one[n] * other[n];
  return sum;
}

/// What no sum of the book's spectra explains of it, of any sign; a part of its size.
double left_over(const Curve& curve, const recipe::Book& book) {
  std::vector<Curve> axes;  // by Gram and Schmidt
  const auto rest_of = [&axes](Curve rest) {
    for (const Curve& axis : axes) add(rest, axis, -dot(rest, axis));
    return rest;
  };
  for (const recipe::Component& component : book.components) {
    if (component.absorptivity.nm.empty()) continue;
    const Curve spectrum = visible(colour::on(component.absorptivity, fine));
    Curve axis = rest_of(spectrum);
    const double size = std::sqrt(dot(axis, axis));
    if (!(size > 1e-9 * std::sqrt(dot(spectrum, spectrum)))) continue;
    for (double& value : axis) value /= size;
    axes.push_back(std::move(axis));
  }
  const Curve seen = visible(curve), rest = rest_of(seen);
  return std::sqrt(dot(rest, rest) / dot(seen, seen));
}

}  // namespace

SharedDye draw_shared_dye(Random& random, double hardness) {
  return {random.error(hardness), random.normal()};
}

Dye draw_dye(const recipe::Component& told, const SharedDye& shared, Random& random,
             double hardness) {
  const double own_scale = random.error(hardness), own_shift = random.normal();
  const double broader = hardness * most_broader * random.uniform();
  Dye dye;
  if (told.absorptivity.nm.empty()) return dye;
  // At hardness 0 all lots of a component have one scale.
  const double own = std::min(hardness, 1.0) * own_dye, of_all = std::sqrt(1.0 - own * own);
  dye.scale =
      std::max(1.0 + told.u_absorptivity_rel * (of_all * shared.scale + own * own_scale), 0.0);
  dye.shift_nm = hardness * shift_sd_nm * (shared_dye * shared.shift + own_dye * own_shift);
  const auto e = [&](double nm) { return colour::at(told.absorptivity, nm - dye.shift_nm); };
  for (std::size_t n = 0; n < nodes(); ++n) {
    const double nm = nm_of(n);
    const double aside = 0.5 * (e(nm - side_nm) + e(nm + side_nm));
    dye.absorptivity.push_back(dye.scale * ((1.0 - broader) * e(nm) + broader * aside));
  }
  return dye;
}

double value_at(const Curve& curve, double nm) {
  if (curve.empty()) return 0.0;
  const double place =
      std::clamp((nm - fine.first) / fine.step, 0.0, static_cast<double>(curve.size() - 1));
  const auto before = static_cast<std::size_t>(place);
  const std::size_t after = std::min(before + 1, curve.size() - 1);
  const double share = place - static_cast<double>(before);
  return curve[before] + share * (curve[after] - curve[before]);
}

void add(Curve& sum, const Curve& more, double factor) {
  if (more.empty()) return;
  if (sum.empty()) sum.assign(more.size(), 0.0);
  for (std::size_t n = 0; n < sum.size(); ++n) sum[n] += factor * more[n];
}

Curve transmittance(const Curve& absorbance_per_cm, double path_cm) {
  Curve passed(nodes(), 1.0);
  for (std::size_t n = 0; n < absorbance_per_cm.size(); ++n) {
    passed[n] = std::pow(10.0, -absorbance_per_cm[n] * path_cm);
  }
  return passed;
}

colour::Lab looks(const Curve& transmittance, colour::Observer observer,
                  colour::Illuminant illuminant) {
  const colour::Weights& weights = weights_of(observer, illuminant);
  return colour::lab(colour::xyz(transmittance, weights), weights.white);
}

Curve unknown_colourant(const recipe::Book& book, Random& random) {
  constexpr double foreign_enough = 0.4;
  Curve best;
  double most = -1.0;
  for (int attempt = 0; attempt < 200; ++attempt) {
    Curve curve = bands(random);
    const double rest = left_over(curve, book);
    if (rest >= foreign_enough) return curve;
    if (rest > most) {
      most = rest;
      best = std::move(curve);
    }
  }
  return best;  // a book so rich in spectra leaves nothing more foreign
}

}  // namespace vialwright::twin
