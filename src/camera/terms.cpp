#include "camera/terms.hpp"

#include <array>
#include <cmath>
#include <utility>

namespace vialwright::camera {
namespace {

/// The two channels under each root.
constexpr std::array<std::pair<int, int>, 3> roots{{{0, 1}, {1, 2}, {0, 2}}};

}  // namespace

std::string_view word(Form form) { return form == Form::linear ? "linear" : "root-polynomial"; }

int terms_of(Form form) { return form == Form::linear ? 3 : 6; }

Eigen::VectorXd terms(Form form, const Eigen::Vector3d& signal) {
  Eigen::VectorXd made(terms_of(form));
  made.head<3>() = signal;
  if (form == Form::linear) return made;
  for (int i = 0; i < 3; ++i) {
    const auto [one, other] = roots[static_cast<std::size_t>(i)];
    made[3 + i] = std::sqrt(signal[one] * signal[other]);
  }
  return made;
}

Eigen::MatrixXd terms_gradient(Form form, const Eigen::Vector3d& signal) {
  Eigen::MatrixXd made = Eigen::MatrixXd::Zero(terms_of(form), 3);
  made.topRows<3>().setIdentity();
  if (form == Form::linear) return made;
  for (int i = 0; i < 3; ++i) {
    const auto [one, other] = roots[static_cast<std::size_t>(i)];
    made(3 + i, one) = 0.5 * std::sqrt(signal[other] / signal[one]);
    made(3 + i, other) = 0.5 * std::sqrt(signal[one] / signal[other]);
  }
  return made;
}

}  // namespace vialwright::camera
