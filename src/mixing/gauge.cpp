#include <algorithm>
#include <limits>
#include <numbers>

#include "mixing/absorption.hpp"
#include "mixing/eyes.hpp"
#include "mixing/layer.hpp"
#include "mixing/light_path.hpp"
#include "mixing/mixing.hpp"

namespace vialwright::mixing {
namespace {

/// What comes through at each wavelength.
struct Through {
  Eigen::VectorXd light;    ///< transmittance
  Eigen::VectorXd slope;    ///< d light / d(ln T of 1 cm), at a path factor of 1
  Eigen::VectorXd natural;  ///< ln T of 1 cm
};

std::vector<Chord> paths(const plant::ColourGauge& gauge, const plant::Container& container) {
  if (gauge.path_cm > 0.0) return {{gauge.path_cm, 1.0}};
  return chords(0.1 * container.inner_diameter_mm, gauge.strip_rel);
}

void scale_all(Gauge::Slopes* slopes, const Eigen::VectorXd& factor) {
  if (!slopes) return;
  slopes->amounts.array().colwise() *= factor.array();
  slopes->path.array() *= factor.array();
  slopes->stray.array() *= factor.array();
}

void as_absorbance(Eigen::VectorXd& values, Gauge::Slopes* slopes) {
  values = values.cwiseMax(std::numeric_limits<double>::min());  // black is not infinite
  scale_all(slopes, -values.cwiseInverse() / std::numbers::ln10);
  values = -values.array().log10();
}

void as_lab(Eigen::VectorXd& values, Gauge::Slopes* slopes, const Eigen::VectorXd& white) {
  Eigen::Matrix3d bend;
  const colour::Lab lab = colour::lab(colour::Xyz{values[0], values[1], values[2]},
                                      colour::Xyz{white[0], white[1], white[2]}, bend);
  values << lab.l, lab.a, lab.b;
  if (!slopes) return;
  slopes->amounts = (bend * slopes->amounts).eval();
  slopes->path = (bend * slopes->path).eval();
  slopes->stray = (bend * slopes->stray).eval();
}

}  // namespace

struct Gauge::Inside {
  plant::ColourGauge::Gives gives;
  bool absorbance = false;
  Eyes eyes;
  std::vector<Chord> chords;
  Eigen::MatrixXd natural;  ///< d ln T of 1 cm / d amounts, (wavelengths, amounts)

  [[nodiscard]] Through through(const Eigen::VectorXd& amounts, double path) const;
  void gather(const Through& through, const Light& light, Eigen::Index amounts,
              Eigen::VectorXd& values, Slopes* slopes) const;
};

Through Gauge::Inside::through(const Eigen::VectorXd& amounts, double path) const {
  Through all;
  all.natural = natural.leftCols(amounts.size()) * amounts;
  const Eigen::Index count = all.natural.size();
  Eigen::MatrixXd each(count, static_cast<Eigen::Index>(chords.size()));
  Eigen::Index column = 0;
  for (const Chord& chord : chords) each.col(column++) = (path * chord.length_cm) * all.natural;
  const std::span<double> room{each.data(), static_cast<std::size_t>(each.size())};
  exponentials(room, room);
  all.light = Eigen::VectorXd::Zero(count);
  all.slope = Eigen::VectorXd::Zero(count);
  column = 0;
  for (const Chord& chord : chords) {
    all.light += chord.share * each.col(column);
    all.slope += (chord.share * chord.length_cm) * each.col(column++);
  }
  return all;
}

/// Sums over wavelengths, and the light that passes by.
void Gauge::Inside::gather(const Through& through, const Light& light, Eigen::Index amounts,
                           Eigen::VectorXd& values, Slopes* slopes) const {
  const double share = 1.0 / (1.0 + light.stray);
  values = eyes.sums(through.light);
  if (slopes) {
    const Eigen::VectorXd slope = (share * light.path) * through.slope;
    slopes->amounts = eyes.sums(slope.asDiagonal() * natural.leftCols(amounts));
    slopes->path = share * eyes.sums(through.slope.cwiseProduct(through.natural));
    slopes->stray = (share * share) * (eyes.blank - values);
  }
  values = share * (values + light.stray * eyes.blank);
}

Gauge::Gauge(const recipe::Book& book, const plant::ColourGauge& gauge,
             const plant::Container& container) {
  auto inside = std::make_shared<Inside>();
  inside->gives = gauge.gives;
  inside->absorbance = gauge.absorbance;
  inside->eyes = eyes(gauge);
  inside->chords = paths(gauge, container);
  inside->natural = -std::numbers::ln10 * absorption_per_cm(book, inside->eyes.nm);
  inside_ = std::move(inside);
}

int Gauge::values() const { return static_cast<int>(inside_->eyes.values()); }
int Gauge::amounts() const { return static_cast<int>(inside_->natural.cols()); }

void Gauge::show(const Eigen::VectorXd& amounts, const Light& light, Eigen::VectorXd& values,
                 Slopes* slopes) const {
  require(amounts.size() <= inside_->natural.cols(), "no more amounts than the gauge knows");
  require(light.stray > -1.0, "some light");
  inside_->gather(inside_->through(amounts, light.path), light, amounts.size(), values, slopes);
  const bool spectrum = inside_->gives == plant::ColourGauge::Gives::spectrum;
  if (inside_->gives == plant::ColourGauge::Gives::lab)
    as_lab(values, slopes, inside_->eyes.blank);
  else if (!spectrum || inside_->absorbance)
    as_absorbance(values, slopes);
}

}  // namespace vialwright::mixing
