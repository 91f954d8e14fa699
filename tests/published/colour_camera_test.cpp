// The terms and the plain fit of a camera's matrix against another program's published figures.
// Source: colour-science/colour, tests of characterisation.correction (commit 065e7d6494d6), which
// follow Finlayson, Mackiewicz & Hurlbert, IEEE Trans. Image Process. 24 (2015) 1460.
#include <gtest/gtest.h>

#include "camera/fit.hpp"
#include "camera/terms.hpp"
#include "published/table_of_numbers.hpp"

namespace vialwright::camera {
namespace {

constexpr double half_digit = 5e-9;  // of the eighth decimal printed

TEST(PublishedRootPolynomial, TermsOfDegreeTwo) {
  const Eigen::VectorXd made = terms(Form::root_polynomial, {0.17224810, 0.09170660, 0.06416938});
  Eigen::VectorXd printed(6);
  printed << 0.17224810, 0.09170660, 0.06416938, 0.12568328, 0.07671216, 0.10513350;
  ASSERT_EQ(made.size(), 6);
  EXPECT_LE((made - printed).cwiseAbs().maxCoeff(), half_digit);
}

// Only linear: patch 18 has no red, of which a root has no derivative.
TEST(PublishedRootPolynomial, PlainMatrixOfTwentyFourPatches) {
  const auto rows = published::table_of_numbers("colour_correction_patches.csv");
  ASSERT_EQ(rows.size(), 24u);
  Samples all{Eigen::MatrixXd(24, 3), Eigen::MatrixXd(24, 3), {}};
  for (Eigen::Index i = 0; i < 24; ++i)
    for (Eigen::Index c = 0; c < 3; ++c) {
      all.terms(i, c) = rows[static_cast<std::size_t>(i)][static_cast<std::size_t>(c)];
      all.xyz(i, c) = rows[static_cast<std::size_t>(i)][static_cast<std::size_t>(c + 3)];
    }
  Eigen::Matrix3d printed;
  printed << 0.69822661, 0.03071629, 0.16210422,  //
      0.06893498, 0.67579611, 0.16430385,         //
      -0.06314956, 0.09212471, 0.97134152;
  const auto fitted = fit_in_xyz(all);
  ASSERT_TRUE(fitted.has_value());
  // The patches are given to 8 decimals, as the matrix is: half a digit of them, times 4 for the
  // condition of 24 patches of which 6 are grey.
  EXPECT_LE((*fitted - printed).cwiseAbs().maxCoeff(), 4.0 * half_digit);
}

}  // namespace
}  // namespace vialwright::camera
