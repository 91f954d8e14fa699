#include "twin/air.hpp"

#include <gtest/gtest.h>

namespace vialwright::twin {
namespace {

// Source: OIML R 111-1:2004, E.3.1, short form, good to 0.02 %, worked out by hand from
// (0.34848 p - 0.009 h exp(0.061 t)) / (273.15 + t). Ours has a simpler vapour pressure and a fixed
// compressibility: 0.05 % between them is 0.01 mg in a vial of 20 g.
TEST(TwinAir, DensityAgreesWithTheShortFormOfR111) {
  EXPECT_NEAR(density_of({20.0, 1013.25, 50.0}) / 1.19929, 1.0, 5e-4);
  EXPECT_NEAR(density_of({25.0, 980.0, 30.0}) / 1.14127, 1.0, 5e-4);
  EXPECT_NEAR(density_of({18.0, 1030.0, 70.0}) / 1.22634, 1.0, 5e-4);
}

// Source: saturated steam tables, 20 Cel: 2.339 kPa, 25 Cel: 3.169 kPa (values from memory).
TEST(TwinAir, VapourPressureAgreesWithSteamTables) {
  EXPECT_NEAR(vapour_pressure_pa(20.0) / 2339.0, 1.0, 3e-3);  // the fit's own accuracy
  EXPECT_NEAR(vapour_pressure_pa(25.0) / 3169.0, 1.0, 3e-3);
}

TEST(TwinAir, HoldsStillAtHardnessZeroAndMovesAtOne) {
  Random still(3, "air"), moving(3, "air");
  const Air one(still, 0.0), other(moving, 1.0);
  EXPECT_EQ(one.at(0.0).pressure_hpa, one.at(20000.0).pressure_hpa);
  EXPECT_EQ(one.at(0.0).celsius, one.at(20000.0).celsius);
  EXPECT_NE(other.at(0.0).pressure_hpa, other.at(20000.0).pressure_hpa);
}

}  // namespace
}  // namespace vialwright::twin
