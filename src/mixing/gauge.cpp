#include <algorithm>
#include <functional>
#include <limits>
#include <numbers>

#include "mixing/absorption.hpp"
#include "mixing/eyes.hpp"
#include "mixing/mixing.hpp"

namespace vialwright::mixing {
namespace {

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
  Rows natural;  ///< d ln T of 1 cm / d amount

  void sums(const Eigen::VectorXd& amounts, const Light& light, Eigen::VectorXd& values,
            Slopes* slopes) const;
};

/// What comes through, summed over wavelengths, with the light that passes by.
void Gauge::Inside::sums(const Eigen::VectorXd& amounts, const Light& light,
                         Eigen::VectorXd& values, Slopes* slopes) const {
  Room room(4, natural.stride);
  const Through through{room[0], room[1], room[2]};
  const auto given = static_cast<std::size_t>(amounts.size());
  shine(natural, {amounts.data(), given}, chords, light.path, through);
  values = eyes.sums(through.light);
  const double share = 1.0 / (1.0 + light.stray);
  if (slopes) {
    slopes->amounts = (share * light.path) * eyes.sums(natural, given, through.slope);
    const std::span<double> by_path = room[3];
    std::ranges::transform(through.slope, through.log_t, by_path.begin(), std::multiplies{});
    slopes->path = share * eyes.sums(by_path);
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
  inside->natural = natural_rows(absorption_per_cm(book, inside->eyes.nm));
  inside_ = std::move(inside);
}

int Gauge::values() const { return static_cast<int>(inside_->eyes.values()); }
int Gauge::amounts() const { return static_cast<int>(inside_->natural.count); }

void Gauge::show(const Eigen::VectorXd& amounts, const Light& light, Eigen::VectorXd& values,
                 Slopes* slopes) const {
  require(light.stray > -1.0, "some light");
  inside_->sums(amounts, light, values, slopes);
  const bool spectrum = inside_->gives == plant::ColourGauge::Gives::spectrum;
  if (inside_->gives == plant::ColourGauge::Gives::lab)
    as_lab(values, slopes, inside_->eyes.blank);
  else if (!spectrum || inside_->absorbance)
    as_absorbance(values, slopes);
}

}  // namespace vialwright::mixing
