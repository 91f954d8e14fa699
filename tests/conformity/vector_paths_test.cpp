#include <gtest/gtest.h>

#include <cmath>

#include "conformity/conformity.hpp"
#include "conformity/random_beliefs.hpp"
#include "conformity/sequential.hpp"

namespace vialwright::conformity {
namespace {

/// Forces each path in turn and gives the choice back at the end.
template <class Check>
void on_every_path(const Check& check) {
  const std::vector<VectorPath> paths = vector_paths();
  ASSERT_FALSE(paths.empty());
  for (const VectorPath& path : paths) {
    SCOPED_TRACE(path.name);
    force_vector_path(path.id);
    check();
  }
  force_vector_path(0);
}

std::vector<double> grid(double from, double to, std::size_t n) {
  std::vector<double> x(n);
  for (std::size_t k = 0; k < n; ++k) {
    x[k] = from + (to - from) * static_cast<double>(k) / static_cast<double>(n - 1);
  }
  return x;
}

// Against the C library's erfc, which is right to an ulp or so.
TEST(VectorPaths, CumulativeIsRightOnEach) {
  const std::vector<double> z = grid(-30.0, 9.0, 40000);
  on_every_path([&] {
    std::vector<double> p(z.size());
    batch_cdf(z, p);
    double absolute = 0.0, relative = 0.0, far = 0.0;
    for (std::size_t k = 0; k < z.size(); ++k) {
      const double right = 0.5 * std::erfc(-z[k] / std::sqrt(2.0));
      absolute = std::max(absolute, std::abs(p[k] - right));
      double& tail = z[k] < -4.0 ? far : relative;
      tail = std::max(tail, std::abs(p[k] / right - 1.0));
    }
    // What the header says: some roundings of numbers below 1; of the fit; and in the far tail,
    // below 3e-5, where the fit only has the right limit.
    EXPECT_LT(absolute, 2e-15);
    EXPECT_LT(relative, 1e-12);
    EXPECT_LT(far, 3e-6);
  });
}

// The quantile is turned back by erfc: an error dz of z moves p by density * dz.
TEST(VectorPaths, QuantileIsRightOnEach) {
  std::vector<double> p = grid(1e-4, 1.0 - 1e-4, 40000);
  for (std::size_t k = 0; k < 80; ++k) p[k] = std::pow(10.0, -5.0 - 2.0 * static_cast<double>(k));
  on_every_path([&] {
    std::vector<double> z(p.size());
    batch_quantile(p, z);
    for (std::size_t k = 0; k < p.size(); ++k) {
      const double back = 0.5 * std::erfc(-z[k] / std::sqrt(2.0));
      const double density = std::exp(-0.5 * z[k] * z[k]) / std::sqrt(2.0 * std::acos(-1.0));
      const double dz = (back - p[k]) / density;
      ASSERT_LT(std::abs(dz), 4e-9 * std::max(std::abs(z[k]), 1e-3)) << p[k];  // as the header says
    }
  });
}

TEST(VectorPaths, AgreeOnProbabilities) {
  support::Random random(20253);
  std::vector<conformity_test::Case> cases;
  for (int k = 0; k < 30; ++k) cases.push_back(conformity_test::any_case(random, 1 + k % 8));
  std::vector<double> first;
  on_every_path([&] {
    std::vector<double> here;
    for (const auto& c : cases) here.push_back(judge(c.belief, c.recipe, {}, {}).joint.value);
    if (first.empty()) first = here;
    for (std::size_t k = 0; k < here.size(); ++k) {
      // Paths differ by fused multiply-adds, 1e-16 a step; but a point at the seam of the
      // quantile's two fits may fall on either side of it, 1e-8 apart, one point in hundreds.
      EXPECT_NEAR(here[k], first[k], 1e-10);
    }
  });
}

}  // namespace
}  // namespace vialwright::conformity
