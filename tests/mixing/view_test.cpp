#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <hwy/highway.h>
#include <hwy/targets.h>

#include <Eigen/QR>

#include "mixing/plain.hpp"
#include "mixing/tints.hpp"

namespace vialwright::mixing::testing {
namespace {

using Eigen::VectorXd;

/// A number of liquids, amount by amount.
std::vector<double> many_liquids(int count) {
  support::Random random(17);
  std::vector<double> amounts(static_cast<std::size_t>((4 + foreign_shapes) * count));
  for (int r = 0; r < count; ++r) {
    const VectorXd one = any_liquid(random);
    for (int i = 0; i < one.size(); ++i) amounts[static_cast<std::size_t>(i * count + r)] = one[i];
  }
  return amounts;
}

/// Largest difference of any coordinate of `labs` from one by one by the plain model.
double off_from_plain(const View& view, const recipe::Book& book, int count, int given) {
  std::vector<double> amounts = many_liquids(count);
  amounts.resize(static_cast<std::size_t>(given * count));
  const auto size = static_cast<std::size_t>(count);
  std::vector<double> l(size), a(size), b(size);
  view.labs(amounts, count, l, a, b);
  double worst = 0.0;
  for (std::size_t r = 0; r < size; ++r) {
    Plain<double> one{book, {}};
    for (std::size_t i = 0; i < static_cast<std::size_t>(given); ++i)
      one.amounts.push_back(amounts[i * size + r]);
    const auto lab =
        lab_of<double>(view.weights(), [&](double nm) { return one.through(nm, 2.0); });
    worst = std::max(
        {worst, std::abs(l[r] - lab[0]), std::abs(a[r] - lab[1]), std::abs(b[r] - lab[2])});
  }
  return worst;
}

// Sums of 81 terms in another order: some 1e-12; the header promises 1e-9.
TEST(View, ManyAtOnceAsOneByOneOnEveryVectorPath) {
  const recipe::Book book = tint_book();
  const View view(book, seen_in(2.0));
  const std::vector<std::int64_t> targets = hwy::SupportedAndGeneratedTargets();
  ASSERT_FALSE(targets.empty());
  for (const std::int64_t target : targets) {
    SCOPED_TRACE(hwy::TargetName(target));
    hwy::SetSupportedTargetsForTest(target);
    hwy::GetChosenTarget().DeInit();
    for (const int count : {0, 1, 3, 7, 8, 9, 64, 101}) {
      EXPECT_LT(off_from_plain(view, book, count, 4 + foreign_shapes), 1e-10);
      EXPECT_LT(off_from_plain(view, book, count, 3), 1e-10);
    }
    Gradient gradient;
    const colour::Lab lab = view.lab(green(), gradient);
    EXPECT_NEAR(lab.l, 86.8968, 5e-5);  // worked colour of the demo tint
    EXPECT_NEAR(0.01 * 0.0080 * gradient(2, yellow), 0.457, 5e-4);
  }
  hwy::SetSupportedTargetsForTest(0);
  hwy::GetChosenTarget().DeInit();
}

TEST(View, AmountsMayStopEarly) {
  const View view(tint_book(), seen_in(2.0));
  Gradient whole, head;
  const VectorXd three = green().head(3);
  EXPECT_EQ(view.lab(green(), whole), view.lab(three, head));
  EXPECT_EQ(view.lab(three), view.lab(three, head));
  ASSERT_EQ(head.cols(), 3);
  EXPECT_EQ(whole.leftCols(3), head);
}

TEST(View, SaltIsColourlessAndItsSlopeNothing) {
  const View view(tint_book(), seen_in(2.0));
  VectorXd salted = green();
  salted[salt] = 5.0;
  Gradient gradient;
  EXPECT_EQ(view.lab(salted, gradient), view.lab(green()));
  EXPECT_EQ(gradient.col(salt), Eigen::Vector3d::Zero());
}

TEST(View, AbsorptionIsThatOfTheLaw) {
  const recipe::Book book = tint_book();
  const View view(book, seen_in(2.0));
  const auto law = absorbing(book, 2.0);
  VectorXd factor;
  Eigen::MatrixXd gradient;
  law->look(green(), factor, &gradient);
  const VectorXd absorbance = view.absorption() * green();
  EXPECT_LT((factor.array().log10() + absorbance.array()).abs().maxCoeff(), 1e-14);
  // d T / d c = -ln(10) T e path, here of the teal at 630 nm (band 50).
  EXPECT_NEAR(gradient(50, teal), -std::log(10.0) * factor[50] * 163.0 * 2.0, 1e-9);
}

// The law itself, by hand: the teal at its peak, 163 mL/(mg cm) x 0.0030 mg/mL x 2 cm = 0.978.
TEST(Law, BeerLambertByHand) {
  const auto law = absorbing(tint_book(), 2.0, {630.0, 630.0, 5.0});
  VectorXd liquid = VectorXd::Zero(law->amounts()), factor;
  liquid[teal] = 0.0030;
  law->look(liquid, factor, nullptr);
  ASSERT_EQ(factor.size(), 1);
  EXPECT_NEAR(factor[0], std::pow(10.0, -0.978), 1e-12);
}

TEST(Law, SaysWhereItDoesNotHold) {
  recipe::Book book = tint_book();
  for (const char* name : {"base", "setting salt", "chalk"}) {
    recipe::Stock stock;
    stock.id = stock.name = name;
    stock.scatters = stock.name != "base";
    book.stocks.push_back(stock);
  }
  EXPECT_EQ(doubt_about(book, Eigen::Vector3d{20.0, 0.0, 0.0}), "");
  EXPECT_EQ(doubt_about(book, Eigen::Vector3d{20.0, 0.1, 0.0}),
            "the liquid holds setting salt, which scatters light: the law of absorption does not "
            "hold");
  EXPECT_THAT(doubt_about(book, Eigen::Vector3d{20.0, 0.1, 0.2}),
              ::testing::HasSubstr("setting salt, chalk"));
}

// What an unknown colourant may look like. Bands of a standard deviation of 40 nm are imitated to
// 4 % of their peak anywhere from 420 to 680 nm, of 34 nm (80 nm at half height) to 7 %; narrower
// ones are smeared, but most of their absorbance is found.
TEST(ForeignShapes, ImitateSmoothBands) {
  Eigen::MatrixXd shapes(61, foreign_shapes);
  for (int j = 0; j < 61; ++j)
    for (int s = 0; s < foreign_shapes; ++s) shapes(j, s) = foreign_shape(s, 400.0 + 5.0 * j);
  const auto worst = [&](double sd) {
    double most = 0.0;
    for (double centre = 420.0; centre <= 680.0; centre += 5.0) {
      VectorXd wanted(61);
      for (int j = 0; j < 61; ++j)
        wanted[j] = std::exp(-0.5 * std::pow((400.0 + 5.0 * j - centre) / sd, 2));
      const VectorXd best = shapes.colPivHouseholderQr().solve(wanted);
      most = std::max(most, (shapes * best - wanted).lpNorm<Eigen::Infinity>());
    }
    return most;
  };
  EXPECT_LT(worst(40.0), 0.04);
  EXPECT_LT(worst(34.0), 0.07);
  EXPECT_LT(worst(24.0), 0.25);
  EXPECT_GT(worst(24.0), 0.10);  // so the note above is no idle warning
}

}  // namespace
}  // namespace vialwright::mixing::testing
