// Source: JCGM 106:2012. The two specific-risk examples of clause 7 (figures from memory, each
// recomputed outside this project), guard bands in the style of ILAC-G8:09/2019 and ISO 14253-1
// (normal tails), and global risks in the form of clause 9.5 (one-dimensional integrals computed
// outside this project).
#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "conformity/conformity.hpp"

namespace vialwright {
namespace {

using conformity::Line;
using recipe::no_limit;

double conforming(double y, double u, double low, double high) {
  const Line line{Eigen::VectorXd::Ones(1), {}, low, high};
  const auto found = conformity::probability(Eigen::VectorXd::Constant(1, y),
                                             Eigen::MatrixXd::Constant(1, 1, u * u), {line});
  EXPECT_EQ(found.error, 0.0);
  return found.value;
}

TEST(PublishedJcgm106, SpecificRiskExamples) {
  // Printed to two digits, 0.92 and 0.66; 1e-12: the recomputed values to rounding.
  EXPECT_NEAR(conforming(-5.47, 0.05, -no_limit, -5.40), 0.9192433407662272, 1e-12);
  EXPECT_NEAR(conforming(13.6, 1.8, 12.5, 16.3), 0.6626297864953079, 1e-12);
}

TEST(PublishedJcgm106, RiskAtTheAcceptanceLimitOfAGuardBand) {
  struct Row {
    double guard_over_u, risk;
  };
  const std::vector<Row> rows = {{0.0, 0.5},
                                 {1.0, 0.15865525393145707},
                                 {1.66, 0.048457226266722775},
                                 {2.0, 0.02275013194817921},
                                 {3.0, 0.0013498980316301035},
                                 {1.6448536269514726, 0.05}};
  for (const Row& row : rows) {
    const double u = 0.03, limit = 20.5;
    const double at = limit - row.guard_over_u * u;
    EXPECT_NEAR(1.0 - conforming(at, u, -no_limit, limit), row.risk, 1e-12) << row.guard_over_u;
  }
}

struct Process {
  double mean, u, u_reading, half_tolerance, half_acceptance, consumer, producer;
};

/// Consumer's risk: bad and accepted; producer's: good and turned away. Axes: value, reading.
TEST(PublishedJcgm106, GlobalRisks) {
  const std::vector<Process> cases = {
      {0.0, 1.0, 0.25, 2.0, 2.0, 0.008006084834450094, 0.0148508842112549},
      {0.0, 1.0, 0.5, 2.0, 2.0, 0.012388749307823299, 0.04052675553176754},
      {0.0, 1.0, 0.5, 2.0, 1.5, 0.002988155243596505, 0.13720038622623792},
      {0.5, 1.0, 0.5, 2.0, 1.5, 0.004339043876763716, 0.15368799710362963},
      {0.0, 0.12, 0.04, 0.2, 0.2, 0.018942206717029116, 0.03720780017805775},
      {0.0, 0.12, 0.04, 0.2, 0.12, 0.0004686335988703545, 0.24766964020115234},
      {0.0, 0.12, 0.04, 0.2, 0.22, 0.031144552273274707, 0.017554168728028265}};
  for (const Process& c : cases) {
    SCOPED_TRACE(c.consumer);
    const double value = c.u * c.u;
    Eigen::MatrixXd covariance(2, 2);
    covariance << value, value, value, value + c.u_reading * c.u_reading;
    const Eigen::VectorXd mean = Eigen::VectorXd::Constant(2, c.mean);
    const Line good{Eigen::VectorXd::Unit(2, 0), {}, -c.half_tolerance, c.half_tolerance};
    const Line taken{Eigen::VectorXd::Unit(2, 1), {}, -c.half_acceptance, c.half_acceptance};
    conformity::Options fine;
    fine.error = 1e-5;  // the risks themselves are down to 5e-4
    const auto both = conformity::probability(mean, covariance, {good, taken}, fine);
    const double p_good = conformity::probability(mean, covariance, {good}).value;
    const double p_taken = conformity::probability(mean, covariance, {taken}).value;
    EXPECT_LE(both.error, 1e-5);
    EXPECT_NEAR(p_taken - both.value, c.consumer, both.error);
    EXPECT_NEAR(p_good - both.value, c.producer, both.error);
  }
}

}  // namespace
}  // namespace vialwright
