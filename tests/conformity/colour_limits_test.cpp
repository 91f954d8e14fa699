// Colours in the limit of small doubts, where the law of the difference is known, and judged from
// noisy looks at them, where the difference that is seen is biased.
#include <gtest/gtest.h>

#include <Eigen/LU>
#include <algorithm>
#include <boost/math/distributions/non_central_chi_squared.hpp>
#include <cmath>

#include "conformity/tints.hpp"
#include "support/long_form.hpp"

namespace vialwright::conformity {
namespace {

using conformity_test::absorptivity;
using conformity_test::ByHand;
using conformity_test::difference_by_hand;
using conformity_test::dyes;
using conformity_test::Liquid;
using conformity_test::tint_book;
using support::Random;

/// Contents in mg of three dyes in 1 mL; nothing else in doubt.
struct Dyed {
  recipe::Book book = tint_book();
  contents::Belief belief;
  recipe::Recipe recipe;
  recipe::ColourTarget target;

  explicit Dyed(const Eigen::Vector3d& mean) {
    belief.components = dyes + 1;
    belief.stocks = 1;
    belief.mean = Eigen::VectorXd::Zero(belief.volume() + 1);
    belief.mean.head<3>() = mean;
    belief.mean.tail(3).setOnes();
    belief.covariance = Eigen::MatrixXd::Zero(belief.mean.size(), belief.mean.size());
    target.path_cm = 2.0;
  }
  [[nodiscard]] colour::Lab lab(const Eigen::Vector3d& mg) const {
    Liquid liquid;
    for (int k = 0; k < dyes; ++k) liquid.mg_per_ml[static_cast<std::size_t>(k)] = mg(k);
    return ByHand(target).lab(liquid, false);
  }
  /// d(L, a, b) / d mg by differences.
  [[nodiscard]] Eigen::Matrix3d slopes(const Eigen::Vector3d& mg) const {
    Eigen::Matrix3d made;
    constexpr double step = 1e-6;
    for (int k = 0; k < 3; ++k) {
      const colour::Lab up = lab(mg + step * Eigen::Vector3d::Unit(k));
      const colour::Lab down = lab(mg - step * Eigen::Vector3d::Unit(k));
      made.col(k) << up.l - down.l, up.a - down.a, up.b - down.b;
    }
    return made / (2.0 * step);
  }
  void want(const colour::Lab& lab, double high) {
    target.lab = lab;
    recipe.colours = {target};
    recipe.tolerances = {{recipe::ToleranceOn::colour, 0, -recipe::no_limit, 0.0, high}};
  }
};

// Near white, CIEDE2000^2 = (dL / 1.74704)^2 + (1.5 da)^2 + db^2 by its formula: S_L at L* = 100 is
// 1 + 0.015 50^2 / sqrt(20 + 50^2), G is 1/2 without chroma, S_C and S_H are 1. With a covariance
// s^2 of that metric's inverse, the square over s^2 is noncentral chi-squared of 3 degrees of
// freedom; its law is from Boost.
TEST(ColourLimit, SmallDoubtsNearWhiteGiveTheNoncentralChiSquared) {
  const double s = 0.005;
  const double sl = 1.0 + 0.015 * 2500.0 / std::sqrt(2520.0);
  const Eigen::Vector3d root(sl, 1.0 / 1.5, 1.0);  // of the inverse metric
  Dyed dyed(Eigen::Vector3d::Zero());
  const Eigen::Matrix3d back = dyed.slopes(Eigen::Vector3d::Zero()).inverse();
  const Eigen::Matrix3d spread = s * back * root.asDiagonal();
  dyed.belief.covariance.topLeftCorner<3, 3>() = spread * spread.transpose();
  Random random(20271);
  for (int trial = 0; trial < 20; ++trial) {
    Eigen::Vector3d off;
    for (double& one : off) one = s * random.normal();
    const Eigen::Vector3d lab = root.cwiseProduct(off);
    const double high = s * random.uniform(0.7, 3.5);
    dyed.want({100.0 + lab(0), lab(1), lab(2)}, high);
    const Conformity found = judge(dyed.belief, dyed.recipe, dyed.book, {});
    const boost::math::non_central_chi_squared law(3.0, off.squaredNorm() / (s * s));
    const double expected = boost::math::cdf(law, high * high / (s * s));
    // S_C and S_H differ from 1 by 0.045 C' < 1e-3 here, which moves P by a few 1e-4.
    EXPECT_NEAR(found.joint.value, expected, found.joint.error + 5e-4);
    EXPECT_NEAR(found.lines[0].value, off.norm(), 2e-3 * off.norm());
    EXPECT_NEAR(found.lines[0].seen->covariance(0, 0), std::pow(s * root(0), 2), 1e-3 * s * s);
  }
}

// No liquid has no colour: with nothing in it a vial meets no colour, whatever the doubt.
TEST(ColourLimit, AnEmptyVialMeetsNoColour) {
  Dyed dyed(Eigen::Vector3d::Zero());
  dyed.belief.mean.setZero();
  dyed.want({100.0, 0.0, 0.0}, 5.0);
  EXPECT_EQ(judge(dyed.belief, dyed.recipe, dyed.book, {}).joint.value, 0.0);
  dyed.belief.covariance.diagonal().head<3>().setConstant(1e-6);
  EXPECT_EQ(judge(dyed.belief, dyed.recipe, dyed.book, {}).joint.value, 0.0);
}

// The green vial of docs/method/conformity.md, by a plain grid over its two dyes.
TEST(ColourLimit, TheGreenVialByAGrid) {
  const Eigen::Vector3d mean(0.164 / 20.0, 0.0, 0.0612 / 20.0), u(0.02, 0.0, 0.03);
  Dyed dyed(mean);
  for (int k = 0; k < 3; ++k) dyed.belief.covariance(k, k) = std::pow(u(k) * mean(k), 2);
  const colour::Lab target = dyed.lab({0.0080, 0.0, 0.0030});
  dyed.want(target, 0.6);
  double grid = 0.0;
  constexpr int steps = 200;
  constexpr double reach = 5.0, width = 2.0 * reach / steps;
  for (int i = 0; i <= steps; ++i) {
    for (int j = 0; j <= steps; ++j) {
      const double x = -reach + width * i, y = -reach + width * j;
      const Eigen::Vector3d mg(mean(0) * (1.0 + u(0) * x), 0.0, mean(2) * (1.0 + u(2) * y));
      if (difference_by_hand(dyed.lab(mg), target) <= 0.6)
        grid += std::exp(-0.5 * (x * x + y * y)) * width * width / (2.0 * std::acos(-1.0));
    }
  }
  const Conformity found = judge(dyed.belief, dyed.recipe, dyed.book, {});
  // A jump on cells of 0.05: edges are off by less than a thousandth.
  EXPECT_NEAR(found.joint.value, grid, found.joint.error + 1e-3);
  EXPECT_NEAR(found.joint.value, 0.7293, 1e-3);  // as printed there
  EXPECT_NEAR(found.lines[0].value, 0.3016, 1e-3);
  EXPECT_EQ(found.ruling, Ruling::unclear);
}

TEST(ColourLimit, FarFromTheTargetUIsTheFirstOrder) {
  const Eigen::Vector3d mean(0.0080, 0.0, 0.0030);
  Dyed dyed(mean);
  dyed.belief.covariance(0, 0) = std::pow(0.01 * mean(0), 2);
  colour::Lab target = dyed.lab(mean);
  target.b += 12.0;
  dyed.want(target, 2.0);
  const LineReport line = judge(dyed.belief, dyed.recipe, dyed.book, {}).lines[0];
  const auto at = [&](double by) {
    return difference_by_hand(dyed.lab({mean(0) * (1.0 + by), 0.0, mean(2)}), target);
  };
  EXPECT_NEAR(line.value, at(0.0), 1e-9);
  // In the steps of the two differences; and what the second order adds to u of a 12th of d.
  EXPECT_NEAR(line.u, 0.01 * (at(0.005) - at(-0.005)) / -0.01, 0.005 * line.u);
}

/// The green vial of the notes, looked at by a camera with a noise of 0.3 in each of L*, a*, b*.
/// Yellow and blue vary from vial to vial by `spread` about the target, rose is not there.
struct Camera {
  static constexpr double noise = 0.3;
  Eigen::Vector3d wanted = Eigen::Vector3d(0.0080, 0.0, 0.0030);
  double spread = 0.02;
};

/// What to believe of a vial after one look, to first order about the target.
Dyed looked_at(const Camera& camera, const colour::Lab& seen, double high) {
  Dyed dyed(camera.wanted);
  const colour::Lab target = dyed.lab(camera.wanted);
  const Eigen::Matrix3d slopes = dyed.slopes(camera.wanted);
  const Eigen::Vector3d u = camera.spread * camera.wanted;
  const Eigen::Matrix3d prior = u.cwiseAbs2().asDiagonal();
  const Eigen::Vector3d off(seen.l - target.l, seen.a - target.a, seen.b - target.b);
  const Eigen::Matrix3d innovation = slopes * prior * slopes.transpose() +
                                     Camera::noise * Camera::noise * Eigen::Matrix3d::Identity();
  const Eigen::Matrix3d gain = prior * slopes.transpose() * innovation.inverse();
  dyed.belief.mean.head<3>() += gain * off;
  Eigen::Matrix3d left = prior - gain * slopes * prior;
  left.row(1).setZero();
  left.col(1).setZero();
  dyed.belief.covariance.topLeftCorner<3, 3>() = 0.5 * (left + left.transpose());
  dyed.want(target, high);
  return dyed;
}

colour::Lab noisy(const colour::Lab& lab, Random& random) {
  return {lab.l + Camera::noise * random.normal(), lab.a + Camera::noise * random.normal(),
          lab.b + Camera::noise * random.normal()};
}

// Source: the project's notes on the colour of a dyed liquid, computed outside this code: a perfect
// vial, noise 0.3 an axis, has a mean observed CIEDE2000 of 0.21, its 95 % point at 0.41.
TEST(ColourBias, APerfectVialLooksOffAndIsStillJudgedGood) {
  const Camera camera;
  const Dyed dyed(camera.wanted);
  const colour::Lab target = dyed.lab(camera.wanted);
  Random random(20272);
  constexpr int looks = 20000;
  std::vector<double> observed;
  double sum = 0.0;
  for (int k = 0; k < looks; ++k) {
    observed.push_back(difference_by_hand(noisy(target, random), target));
    sum += observed.back();
  }
  std::ranges::sort(observed);
  EXPECT_NEAR(sum / looks, 0.21, 0.005 + 0.002);  // half a digit, and three standard errors
  EXPECT_NEAR(observed[looks * 95 / 100], 0.41, 0.005 + 0.005);

  // A line that makes such vials to 0.5 %: by what is seen, one in seven of the perfect ones would
  // fail a tolerance of 0.33; the posterior leaves them all above 95 %.
  Camera steady = camera;
  steady.spread = 0.005;
  int failed = 0;
  double least = 1.0;
  for (int k = 0; k < 300; ++k) {
    const colour::Lab seen = noisy(target, random);
    failed += difference_by_hand(seen, target) > 0.33 ? 1 : 0;
    const Dyed believed = looked_at(steady, seen, 0.33);
    least = std::min(least, judge(believed.belief, believed.recipe, believed.book, {}).joint.value);
  }
  std::printf("seen beyond the tolerance: %d of 300; least posterior %.4f\n", failed, least);
  EXPECT_GT(failed, 15);
  EXPECT_GT(least, 0.95);
}

/// Truth drawn from the process, looked at, judged: among those given a P, that share is good.
TEST(ColourBias, PosteriorsAreRightInEveryDecileAndWhatIsSeenIsNot) {
  const Camera camera;
  const double high = 0.30;
  const int vials = support::trials(3000, 40000);
  Random random(20273);
  struct Decile {
    int count = 0, good = 0;
    double sum = 0.0;
  };
  std::array<Decile, 10> deciles;
  int seen_good = 0, truly = 0;
  for (int k = 0; k < vials; ++k) {
    Eigen::Vector3d mg = camera.wanted;
    for (double& one : mg) one *= 1.0 + camera.spread * random.normal();
    const Dyed dyed(mg);
    const colour::Lab lab = dyed.lab(mg), seen = noisy(lab, random);
    const Dyed believed = looked_at(camera, seen, high);
    const bool good = difference_by_hand(lab, believed.target.lab) <= high;
    const double p = judge(believed.belief, believed.recipe, believed.book, {}).joint.value;
    Decile& decile = deciles[static_cast<std::size_t>(std::min(9, static_cast<int>(10.0 * p)))];
    ++decile.count;
    decile.good += good ? 1 : 0;
    decile.sum += p;
    truly += good ? 1 : 0;
    seen_good += difference_by_hand(seen, believed.target.lab) <= high ? 1 : 0;
  }
  for (const Decile& decile : deciles) {
    if (decile.count < 30) continue;
    const double p = decile.sum / decile.count;
    const double share = static_cast<double>(decile.good) / decile.count;
    std::printf("%5d vials judged %.3f: %.3f good\n", decile.count, p, share);
    // Four standard errors, and 0.01 for the estimate being first order.
    EXPECT_NEAR(share, p, 4.0 * std::sqrt(p * (1.0 - p) / decile.count) + 0.01);
  }
  const double u = std::sqrt(0.25 / vials);
  std::printf("good %.3f, seen as good %.3f\n", static_cast<double>(truly) / vials,
              static_cast<double>(seen_good) / vials);
  EXPECT_LT(static_cast<double>(seen_good) / vials, static_cast<double>(truly) / vials - 4.0 * u);
}

}  // namespace
}  // namespace vialwright::conformity
