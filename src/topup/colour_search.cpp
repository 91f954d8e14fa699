#include "topup/colour_search.hpp"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <array>
#include <cmath>

namespace vialwright::topup {
namespace {

// A descent ends when a step promises less than this of the value at hand, and a start is the last
// when it came this near to the target, in limits.
constexpr double promise = 1e-5, there = 5e-3;
constexpr int most_steps = 40;

double squared(const colour::Lab& lab, const Wanted& wanted) {
  const double difference = colour::difference_00(lab, wanted.lab);
  return difference * difference;
}

colour::Lab moved(const colour::Lab& lab, const Eigen::Vector3d& by) {
  return {lab.l + by[0], lab.a + by[1], lab.b + by[2]};
}

/// d(difference^2) / d(L, a, b), by differences so narrow that one side of each will do. The
/// formula has kinks where hues are opposite, far from any target that can be met.
Eigen::Vector3d slope(const colour::Lab& lab, double value, const Wanted& wanted) {
  constexpr double width = 1e-5;
  Eigen::Vector3d slope;
  for (int i = 0; i < 3; ++i)
    slope[i] = (squared(moved(lab, width * Eigen::Vector3d::Unit(i)), wanted) - value) / width;
  return slope;
}

/// Positive definite, and the same whatever the units of the amounts.
void stiffen(Curvature& curvature) {
  const double largest = std::max(curvature.diagonal().maxCoeff(), 1e-300);
  for (Eigen::Index i = 0; i < curvature.rows(); ++i)
    curvature(i, i) += 1e-6 * curvature(i, i) + 1e-10 * largest;
}

}  // namespace

Wanted wanted(const colour::Lab& target, double high) {
  Wanted made{target, high, Eigen::Matrix3d::Zero()};
  const double width = std::clamp(0.7 * high, 0.05, 2.0);
  const auto at = [&](double l, double a, double b) {
    return squared(moved(target, width * Eigen::Vector3d(l, a, b)), made) / (width * width);
  };
  made.metric(0, 0) = 0.5 * (at(1, 0, 0) + at(-1, 0, 0));
  made.metric(1, 1) = 0.5 * (at(0, 1, 0) + at(0, -1, 0));
  made.metric(2, 2) = 0.5 * (at(0, 0, 1) + at(0, 0, -1));
  // Lightness stands alone in CIEDE2000.
  made.metric(1, 2) = made.metric(2, 1) =
      (at(0, 1, 1) + at(0, -1, -1) - at(0, 1, -1) - at(0, -1, 1)) / 8.0;
  Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(made.metric);
  const Eigen::Vector3d values = eigen.eigenvalues().cwiseMax(1e-3);
  made.metric = eigen.eigenvectors() * values.asDiagonal() * eigen.eigenvectors().transpose();
  return made;
}

// ---- shade ---------------------------------------------------------------------------------

namespace {

Eigen::MatrixXd things(const Eigen::VectorXd& now, const Eigen::MatrixXd& per_g) {
  Eigen::MatrixXd all(now.size(), 1 + per_g.cols());
  all << now, per_g;
  return all;
}

}  // namespace

Shade::Shade(const mixing::View& view, const Eigen::VectorXd& now, const Eigen::MatrixXd& per_g,
             double volume, Amounts ml_per_g)
    : look_(view, things(now, per_g)), volume_(volume), ml_per_g_(std::move(ml_per_g)) {}

/// @param shares  of the liquid as it was, then grams of each dose per mL. @returns the volume, mL.
double Shade::mix(const Amounts& grams, double* shares) const {
  const double volume = volume_ + ml_per_g_.dot(grams);
  shares[0] = volume_ / volume;
  for (Eigen::Index j = 0; j < grams.size(); ++j) shares[j + 1] = grams[j] / volume;
  return volume;
}

void Shade::to_grams(const Look::Gradient& of_shares, const double* shares, double volume,
                     Gradient& gradient) const {
  const Eigen::Index n = ml_per_g_.size();
  gradient.resize(3, n);
  Eigen::Vector3d thinner = Eigen::Vector3d::Zero();
  for (Eigen::Index i = 0; i <= n; ++i) thinner += shares[i] * of_shares.col(i);
  for (Eigen::Index j = 0; j < n; ++j)
    gradient.col(j) = (of_shares.col(j + 1) - ml_per_g_[j] * thinner) / volume;
}

colour::Lab Shade::lab(const Amounts& grams) const {
  std::array<double, most_doses + 1> shares;
  mix(grams, shares.data());
  return look_.lab(shares.data());
}

colour::Lab Shade::lab(const Amounts& grams, Gradient& gradient) const {
  std::array<double, most_doses + 1> shares;
  thread_local Look::Gradient of_shares;
  const double volume = mix(grams, shares.data());
  const colour::Lab lab = look_.lab(shares.data(), &of_shares);
  to_grams(of_shares, shares.data(), volume, gradient);
  return lab;
}

colour::Xyz Shade::xyz(const Amounts& grams, Gradient& gradient) const {
  std::array<double, most_doses + 1> shares;
  thread_local Look::Gradient of_shares;
  const double volume = mix(grams, shares.data());
  const colour::Xyz xyz = look_.xyz(shares.data(), &of_shares);
  to_grams(of_shares, shares.data(), volume, gradient);
  return xyz;
}

// ---- search --------------------------------------------------------------------------------

ColourSearch::ColourSearch(const std::vector<Aim>& aims, AimRegion region)
    : aims_(aims), region_(std::move(region)) {
  require(!aims.empty(), "a colour search has an aim");
}

double ColourSearch::value(const Amounts& grams, const Weights& weights) const {
  double sum = 0.0;
  for (std::size_t i = 0; i < aims_.size(); ++i) {
    const Wanted& wanted = aims_[i].wanted;
    sum += weights[i] / (wanted.high * wanted.high) * squared(aims_[i].shade.lab(grams), wanted);
  }
  return sum;
}

ColourSearch::Here ColourSearch::here(const Amounts& grams, const Weights& weights) const {
  const Eigen::Index n = grams.size();
  Here here{0.0, Amounts::Zero(n), Curvature::Zero(n, n)};
  Shade::Gradient of_lab;
  for (std::size_t i = 0; i < aims_.size(); ++i) {
    const Wanted& wanted = aims_[i].wanted;
    const colour::Lab lab = aims_[i].shade.lab(grams, of_lab);
    const double weight = weights[i] / (wanted.high * wanted.high);
    const double value = squared(lab, wanted);
    here.value += weight * value;
    here.gradient -= weight * (of_lab.transpose() * slope(lab, value, wanted));
    here.curvature += 2.0 * weight * (of_lab.transpose() * (wanted.metric * of_lab));
  }
  stiffen(here.curvature);
  return here;
}

/// Squared differences of log X, log Y and log Z: absorbances of a sort, and nearly linear.
ColourSearch::Here ColourSearch::absorbances(const Amounts& grams) const {
  const Eigen::Index n = grams.size();
  Here here{0.0, Amounts::Zero(n), Curvature::Zero(n, n)};
  Shade::Gradient slopes;
  for (const Aim& aim : aims_) {
    const colour::Xyz is = aim.shade.xyz(grams, slopes);
    const colour::Xyz to = colour::xyz(aim.wanted.lab, aim.shade.white());
    const Eigen::Vector3d seen(is.x, is.y, is.z);
    const Eigen::Vector3d wanted = Eigen::Vector3d(to.x, to.y, to.z).cwiseMax(1e-3);
    slopes = seen.cwiseInverse().asDiagonal() * slopes;
    const Eigen::Vector3d off = (wanted.array() / seen.array()).log();
    here.value += off.squaredNorm();
    here.gradient += slopes.transpose() * off;
    here.curvature += slopes.transpose() * slopes;
  }
  stiffen(here.curvature);
  return here;
}

Amounts ColourSearch::step(const Here& here, const Amounts& grams) const {
  thread_local StepLimits limits;
  limits.low = region_.low - grams;
  limits.high = region_.high - grams;
  limits.rows = region_.rows;
  limits.room = region_.limits - region_.rows * grams;
  return bounded_step(here.gradient, here.curvature, limits);
}

void ColourSearch::by_absorbance(Amounts& grams) const {
  double before = 0.0;
  Amounts last = grams;
  for (int round = 0; round < 4; ++round) {
    const Here here = absorbances(grams);
    if (round > 0 && here.value > before) {
      grams = last;
      return;
    }
    if (round > 0 && here.value > 0.25 * before) return;
    before = here.value;
    last = grams;
    grams += step(here, grams);
  }
}

void ColourSearch::descend(Amounts& grams, const Weights& weights, Until until) const {
  const double enough = until == Until::nearest ? there : 0.5;
  for (int count = 0; count < most_steps; ++count) {
    const Here here = this->here(grams, weights);
    if (here.value < enough * enough) return;
    const Amounts along = step(here, grams);
    const double promised = here.gradient.dot(along);
    if (promised < promise * here.value) return;
    // The slope along the step is about twice what it will bring; a hundred times that is not
    // enough. (Less patience is faster, and has been seen to give up what can be met.)
    if (until == Until::decided && here.value - 50.0 * promised > 1.0) return;
    double share = 1.0;
    bool better = false;
    for (int tries = 0; tries < 12 && !better; ++tries, share *= 0.4) {
      const Amounts next = grams + share * along;
      better = value(next, weights) < here.value;
      if (better) grams = next;
    }
    if (!better) return;
  }
}

Nearest ColourSearch::told(const Amounts& grams) const {
  Nearest found{grams, {}, 0.0};
  for (const Aim& aim : aims_) {
    found.differences.push_back(colour::difference_00(aim.shade.lab(grams), aim.wanted.lab));
    found.worst = std::max(found.worst, found.differences.back() / aim.wanted.high);
  }
  return found;
}

Nearest ColourSearch::from(const Amounts& start) const {
  Amounts grams = start;
  if (grams.size() == 0) return told(grams);
  Weights weights(aims_.size(), 1.0);
  by_absorbance(grams);
  descend(grams, weights, Until::nearest);
  Nearest best = told(grams);
  // Of several colours the worst counts: it is given more weight, while that helps.
  for (int round = 0; round < 12 && aims_.size() > 1 && best.worst > 1.0; ++round) {
    const Nearest last = round == 0 ? best : told(grams);
    for (std::size_t i = 0; i < aims_.size(); ++i)
      weights[i] *= std::max(0.1, last.differences[i] / aims_[i].wanted.high / last.worst);
    descend(grams, weights, Until::nearest);
    Nearest next = told(grams);
    if (next.worst < best.worst) best = std::move(next);
  }
  return best;
}

Nearest ColourSearch::decided(const Amounts& start) const {
  Amounts grams = start;
  descend(grams, Weights(aims_.size(), 1.0), Until::decided);
  return told(grams);
}

Amounts ColourSearch::within(const Amounts& start, const Amounts& to) const {
  const Amounts way = to.cwiseMax(region_.low).cwiseMin(region_.high) - start;
  double share = 1.0;
  for (Eigen::Index r = 0; r < region_.rows.rows(); ++r) {
    const double speed = region_.rows.row(r).dot(way);
    const double room = std::max(0.0, region_.limits[r] - region_.rows.row(r).dot(start));
    if (speed > 0.0) share = std::min(share, room / speed);
  }
  return start + share * way;
}

Nearest ColourSearch::best(const Amounts& start) const {
  Nearest best = from(start);
  const Eigen::Index n = start.size();
  for (int other = 0; other < 4 && n > 0 && best.worst > there; ++other) {
    // The least of all; the most of all; much of every second one, and of the others.
    Amounts to = region_.low;
    for (Eigen::Index j = 0; j < n; ++j)
      if (other == 1 || (other == 2 && j % 2 == 0) || (other == 3 && j % 2 == 1))
        to[j] = region_.high[j];
    Nearest next = from(within(start, to));
    if (next.worst < best.worst) best = std::move(next);
  }
  return best;
}

}  // namespace vialwright::topup
