// Absorbing liquids of which absorbances are published: potassium dichromate, and its mixture with
// permanganate.
#include <gtest/gtest.h>

#include <Eigen/LU>

#include "mixing/mixing.hpp"

namespace vialwright::mixing {
namespace {

using Eigen::VectorXd;

plant::ColourGauge cell_at(double nm) {
  plant::ColourGauge gauge;
  gauge.gives = plant::ColourGauge::Gives::spectrum;
  gauge.bands = {nm, nm, 1.0};
  gauge.path_cm = 1.0;
  return gauge;
}

recipe::Book book_of(const std::vector<colour::Spectrum>& absorptivities) {
  recipe::Book book;
  for (const colour::Spectrum& each : absorptivities) {
    book.components.emplace_back();
    book.components.back().absorptivity = each;
  }
  return book;
}

double absorbance(const recipe::Book& book, const VectorXd& amounts, double nm,
                  Gauge::Slopes* slopes = nullptr) {
  VectorXd values;
  Gauge(book, cell_at(nm), {}).show(amounts, {}, values, slopes);
  return values[0];
}

struct Dichromate {
  double nm, specific, sealed[5], pharmacopoeia_low, pharmacopoeia_high;
};
// Sources: `specific`, apparent specific absorbance of SRM 935a at 0.060 g/kg in 0.001 mol/L
// perchloric acid, kg/(g cm): NIST certificate, and NBS SP 260-54 (Burke & Mavrodineanu 1977), from
// memory. `sealed`, nominal absorbances of sealed reference cells of 0.02 to 0.10 g/L in 1 cm: a
// supplier's table. Limits of A(1 %, 1 cm): European Pharmacopoeia 2.2.25, from memory. The first
// two agree within 0.3 %. 1 kg of the solution is 1.0018 L.
constexpr Dichromate dichromate[] = {
    {235.0, 12.340, {0.246, 0.493, 0.743, 0.994, 1.247}, 122.9, 126.2},
    {257.0, 14.367, {0.286, 0.574, 0.865, 1.157, 1.452}, 142.8, 146.2},
    {313.0, 4.811, {0.096, 0.193, 0.290, 0.387, 0.484}, 47.0, 50.3},
    {350.0, 10.687, {0.214, 0.428, 0.643, 0.858, 1.074}, 105.6, 109.0}};

recipe::Book dichromate_book() {
  colour::Spectrum spectrum;
  for (const Dichromate& each : dichromate) {
    spectrum.nm.push_back(each.nm);
    spectrum.value.push_back(1.0018 * each.specific);
  }
  return book_of({spectrum});
}

TEST(PublishedDichromate, SealedReferencesBySpecificAbsorbance) {
  const recipe::Book book = dichromate_book();
  for (const Dichromate& each : dichromate)
    for (int i = 0; i < 5; ++i) {
      const double mg_per_ml = 0.02 * (i + 1);
      const double here = absorbance(book, VectorXd::Constant(1, mg_per_ml), each.nm);
      // The sources agree within 0.3 % and the table is rounded to 0.001. Away from 0.06 g/L the
      // law itself is off: dichromate is in equilibrium with chromate, which the certificate's
      // values at 0.02 and 0.10 g/kg, up to 0.8 % away, show.
      EXPECT_NEAR(here, each.sealed[i], (i == 2 ? 0.003 : 0.011) * here + 5e-4)
          << each.nm << " nm, " << mg_per_ml << " g/L";
    }
}

TEST(PublishedDichromate, WithinThePharmacopoeiasLimits) {
  const recipe::Book book = dichromate_book();
  for (const Dichromate& each : dichromate) {
    const double of_one_percent = absorbance(book, VectorXd::Constant(1, 10.0), each.nm);  // mg/mL
    EXPECT_GT(of_one_percent, each.pharmacopoeia_low) << each.nm;
    EXPECT_LT(of_one_percent, each.pharmacopoeia_high) << each.nm;
  }
}

// Source: a textbook exercise, two components at 440 and 545 nm in 1 cm. Standards: dichromate
// 0.001 mol/L (A 0.374, 0.009), permanganate 0.0002 mol/L (A 0.019, 0.475). Mixture A 0.405, 0.712;
// its answer 1.0e-3 and 2.95e-4 mol/L, with the last absorptivity rounded to 2.38e3; unrounded
// 1.0077080e-3 and 2.9597079e-4. Amounts here in mol/L, absorptivities in L/(mol cm).
TEST(PublishedMixture, DichromateAndPermanganateFromTwoAbsorbances) {
  const auto answer = [](double last) -> Eigen::Vector2d {
    const recipe::Book book =
        book_of({{{440.0, 545.0}, {374.0, 9.0}}, {{440.0, 545.0}, {95.0, last}}});
    const VectorXd start = VectorXd::Constant(2, 5e-4);  // absorbances are linear: anywhere does
    Eigen::Matrix2d slopes;
    Eigen::Vector2d wanted{0.405, 0.712};
    for (int row = 0; row < 2; ++row) {
      Gauge::Slopes here;
      wanted[row] -= absorbance(book, start, row == 0 ? 440.0 : 545.0, &here);
      slopes.row(row) = here.amounts.row(0);
    }
    return start + slopes.inverse() * wanted;
  };
  const Eigen::Vector2d rounded = answer(2380.0);
  EXPECT_NEAR(rounded[0], 1.0e-3, 0.05e-3);
  EXPECT_NEAR(rounded[1], 2.95e-4, 0.005e-4);
  const Eigen::Vector2d exact = answer(2375.0);
  EXPECT_NEAR(exact[0], 1.0077080e-3, 5e-11);
  EXPECT_NEAR(exact[1], 2.9597079e-4, 5e-12);
}

}  // namespace
}  // namespace vialwright::mixing
