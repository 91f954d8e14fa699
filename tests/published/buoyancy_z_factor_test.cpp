// Air buoyancy and the volume of weighed water against tables computed elsewhere.
#include <gtest/gtest.h>

#include <cmath>

#include "contents/contents.hpp"
#include "published/table_of_numbers.hpp"

namespace vialwright {
namespace {

// Source: data/air_buoyancy_checks.csv, computed from m = W (1 - rho_a/8000)/(1 - rho_a/rho_s),
// the definition of conventional mass in OIML D 28 and R 111-1.
TEST(PublishedBuoyancy, TrueMassOfSevenBodies) {
  const auto rows = published::table_of_numbers("air_buoyancy_checks.csv");
  ASSERT_EQ(rows.size(), 7u);
  for (const auto& row : rows) {
    const double factor = contents::buoyancy_factor(row[1], row[2]);
    EXPECT_NEAR(factor, row[4], 5.1e-10);          // half of the last printed digit
    EXPECT_NEAR(row[0] * factor, row[3], 5.1e-8);  // as printed
  }
}

// Source: data/gravimetric_z_factor.csv, form of ISO/TR 20461 and ISO 8655-6, water by Tanaka et
// al., Metrologia 38 (2001) 301; two points of it agree with accredited certificates.
TEST(PublishedZFactor, VolumeOfWeighedWaterAtEveryTemperatureAndPressure) {
  const auto rows = published::table_of_numbers("gravimetric_z_factor.csv");
  ASSERT_GT(rows.size(), 200u);
  for (const auto& row : rows) {
    const double air = contents::air_density(row[1], 50.0, row[0]);
    EXPECT_NEAR(air, row[3], 5.1e-6);  // half of the last printed digit
    EXPECT_NEAR(air, row[4], 3e-4);    // the short form is good to 0.02 % of the full CIPM-2007
    const double z = 1000.0 * contents::buoyancy_factor(air, row[2]) / row[2];
    EXPECT_NEAR(z, row[5], 5.6e-7);  // half of the last digit, and that of the density: 5e-8
  }
}

// Source: calibration certificates of two accredited laboratories, Z printed to 5 decimals; water
// density by Tanaka et al. at the printed temperatures (998.4566 and 998.3387 kg/m3, computed).
TEST(PublishedZFactor, TwoCertificates) {
  const double first = contents::air_density(986.0, 59.29, 18.75);
  const double second = contents::air_density(984.0, 63.35, 19.35);
  EXPECT_NEAR(1000.0 * contents::buoyancy_factor(first, 998.4566) / 998.4566, 1.00258, 1e-5);
  // The certificate rounds its temperature: 0.1 K moves Z by 2e-5.
  EXPECT_NEAR(1000.0 * contents::buoyancy_factor(second, 998.3387) / 998.3387, 1.00267, 3e-5);
}

// Source: OIML R 111-1:2004, E.3.1 at its reference conditions; CIPM-2007 gives 1.19931.
TEST(PublishedAirDensity, StandardConditions) {
  EXPECT_NEAR(contents::air_density(1013.25, 50.0, 20.0), 1.1993, 5e-5);
}

// Printed to six decimals for air of 1.2 kg/m3; worked out by hand from the definition.
TEST(PublishedBuoyancy, FactorsOfUsualLiquids) {
  EXPECT_NEAR(contents::buoyancy_factor(1.2, 998.0), 1.001054, 5.1e-7);
  EXPECT_NEAR(contents::buoyancy_factor(1.2, 1010.0), 1.001039, 5.1e-7);
  EXPECT_NEAR(contents::buoyancy_factor(1.2, 1200.0), 1.000851, 5.1e-7);
  EXPECT_NEAR(contents::buoyancy_factor(1.2, 790.0), 1.001371, 5.1e-7);
}

}  // namespace
}  // namespace vialwright
