#include <algorithm>
#include <numbers>

#include "mixing/absorption.hpp"
#include "mixing/mixing.hpp"
#include "mixing/through.hpp"

namespace vialwright::mixing {
namespace {

constexpr std::array<Chord, 1> one_cm{{{1.0, 1.0}}};

std::span<const double> span_of(const Eigen::VectorXd& amounts) {
  return {amounts.data(), static_cast<std::size_t>(amounts.size())};
}

Through in(Room& room) { return {room[0], room[1], room[2]}; }

}  // namespace

struct View::Rowwise {
  Rows natural;  ///< of the layer: its path counts as 1 cm
  Rows weights;  ///< x, y, z
};

View::View(const recipe::Book& book, const recipe::ColourTarget& seen)
    : weights_(&colour::weights(seen.observer, seen.illuminant)), white_(weights_->white) {
  require(seen.path_cm > 0.0, "a layer has a thickness");
  absorption_ = seen.path_cm * absorption_per_cm(book, wavelengths(weights_->grid));
  auto rows = std::make_shared<Rowwise>();
  rows->natural = natural_rows(absorption_);
  rows->weights = Rows(3, weights_->x.size());
  std::ranges::copy(weights_->x, rows->weights[0]);
  std::ranges::copy(weights_->y, rows->weights[1]);
  std::ranges::copy(weights_->z, rows->weights[2]);
  rows_ = std::move(rows);
}

colour::Lab View::lab(const Eigen::VectorXd& amounts) const {
  Room room(3, rows_->natural.stride);
  const Through through = in(room);
  shine(rows_->natural, span_of(amounts), one_cm, 1.0, through);
  std::array<double, 3> xyz;
  weigh(rows_->weights, through.light, xyz);
  return colour::lab({xyz[0], xyz[1], xyz[2]}, white_);
}

colour::Lab View::lab(const Eigen::VectorXd& amounts, Gradient& gradient) const {
  Room room(3, rows_->natural.stride);
  const Through through = in(room);
  shine(rows_->natural, span_of(amounts), one_cm, 1.0, through);
  std::array<double, 3> xyz;
  weigh(rows_->weights, through.light, xyz);
  gradient.resize(3, amounts.size());
  weigh_each(rows_->weights, rows_->natural, static_cast<std::size_t>(amounts.size()),
             through.slope, {gradient.data(), static_cast<std::size_t>(gradient.size())});
  Eigen::Matrix3d bend;
  const colour::Lab lab = colour::lab({xyz[0], xyz[1], xyz[2]}, white_, bend);
  for (Eigen::Index i = 0; i < gradient.cols(); ++i) {
    const Eigen::Vector3d slope = gradient.col(i);
    gradient.col(i) = bend * slope;
  }
  return lab;
}

void View::labs(std::span<const double> amounts, int count, std::span<double> l,
                std::span<double> a, std::span<double> b) const {
  const auto liquids = static_cast<std::size_t>(count);
  require(count >= 0 && l.size() == liquids && a.size() == liquids && b.size() == liquids,
          "one answer a liquid");
  const std::array<double*, 3> into{l.data(), a.data(), b.data()};
  shine_many(rows_->natural, rows_->weights, weights_->x.size(), amounts, liquids, into);
  colour::lab(l, a, b, white_, l, a, b);
}

}  // namespace vialwright::mixing
