// Forecasts of an order that wants a colour: odds beside vials drawn here, and what a look at the
// vial proves.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>

#include "making/tint_line.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::making::testing {
namespace {

/// The tint line with a teal dye that is seen, a lot whose strength is in doubt, and a camera.
struct ColourLine : TintLine {
  int camera = 0;

  ColourLine() {
    colour::Spectrum& spectrum = book.components[0].absorptivity;
    for (double nm = 380.0; nm <= 780.0; nm += 5.0) {
      spectrum.nm.push_back(nm);
      spectrum.value.push_back(163.0 * std::exp(-0.5 * std::pow((nm - 630.0) / 24.0, 2)));
    }
    book.components[0].u_absorptivity_rel = 0.005;
    book.lots[teal].strengths[0] = {2.0, 0.06};
    plant.containers[0].inner_diameter_mm = 24.0;
    plant::Instrument gauge;
    gauge.id = "camera";
    gauge.kind = plant::InstrumentKind::colour_gauge;
    gauge.repeatability = 0.05;
    gauge.colour = plant::ColourGauge{};
    gauge.colour->path_cm = 2.0;
    gauge.colour->u_path_rel = 0.002;
    gauge.colour->u_session = 0.05;
    camera = static_cast<int>(plant.instruments.size());
    plant.instruments.push_back(gauge);
  }
  /// @param contents  with a line on the content, wide: the colour decides.
  [[nodiscard]] recipe::Recipe wanted(double difference, bool contents) const {
    recipe::Recipe tint = this->tint(0.2, 19.5, 20.5);
    recipe::ColourTarget target;
    target.path_cm = 2.0;
    target.lab = mixing::View(book, target).lab(Eigen::VectorXd::Constant(1, 0.003));
    tint.colours = {target};
    if (!contents) tint.tolerances.erase(tint.tolerances.begin());
    tint.tolerances.push_back({recipe::ToleranceOn::colour, 0, -recipe::no_limit, 0.0, difference});
    return tint;
  }
};

constexpr Stakes stakes{0.4, 3.0};

double dose_of(const Forecast& made, int stock) {
  for (const Dose& each : made.doses)
    if (each.addition.stock == stock) return each.addition.amount_g;
  return 0.0;
}

/// How often vials that are dosed so meet the recipe: strength, absorptivity, meters and stations
/// drawn by the definitions of their headers.
double share_that_meets(const ColourLine& line, const Forecast& made, const recipe::Recipe& tint,
                        int draws) {
  support::Random random(31);
  const mixing::View view(line.book, tint.colours[0]);
  int good = 0;
  for (int i = 0; i < draws; ++i) {
    const auto poured = [&](int stock) {
      const plant::Instrument& meter = line.plant.instruments[static_cast<std::size_t>(stock)];
      const plant::Station& station = line.plant.stations[static_cast<std::size_t>(stock)];
      const double meant = (dose_of(made, stock) - meter.u_offset * random.normal()) /
                           (1.0 + meter.u_gain * random.normal());
      return meant + std::hypot(station.spread_g, station.spread_rel * meant) * random.normal();
    };
    const double base = poured(TintLine::base), teal = poured(TintLine::teal);
    const double strength = 2.0 + 0.06 * random.normal();
    const double content = strength * teal / (base + teal);  // density 1
    const double seen = content * (1.0 + 0.005 * random.normal());
    bool holds = base + teal >= 19.5 && base + teal <= 20.5;
    for (const recipe::Tolerance& each : tint.tolerances) {
      if (each.on == recipe::ToleranceOn::content)
        holds = holds && content >= each.low && content <= each.high;
      if (each.on == recipe::ToleranceOn::colour)
        holds = holds && colour::difference_00(view.lab(Eigen::VectorXd::Constant(1, seen)),
                                               tint.colours[0].lab) <= each.high;
    }
    good += holds ? 1 : 0;
  }
  return static_cast<double>(good) / draws;
}

TEST(ColourForecast, PassesAsOftenAsVialsDrawnHere) {
  const ColourLine line;
  for (const bool contents : {true, false}) {
    const recipe::Recipe tint = line.wanted(0.4, contents);
    const Forecast made = forecast(tint, 0, line.today, stakes, line.plant, line.book);
    ASSERT_EQ(made.can, Can::yes) << made.because;
    const int draws = support::trials(40'000, 400'000);
    const double share = share_that_meets(line, made, tint, draws);
    std::printf("contents %d: passes %.4f, drawn %.4f, teal %.4f g\n", contents ? 1 : 0,
                made.passes.value, share, dose_of(made, TintLine::teal));
    // Three standard errors, the stated error, 1e-3 for first-order propagation of a doubt of 3 %.
    EXPECT_NEAR(made.passes.value, share,
                3.0 * std::sqrt(share * (1.0 - share) / draws) + made.passes.error + 1e-3);
    EXPECT_GT(share, 0.3);
    EXPECT_LT(share, 0.97);  // else this test says little
  }
}

TEST(ColourForecast, ALookProvesWhatWeightsCannot) {
  ColourLine line;
  const recipe::Recipe tint = line.wanted(0.4, true);
  const Forecast blind = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  line.today.colour_gauge = line.camera;
  const Forecast looked_at = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  std::printf("passes %.3f, proven by weights %.3f, with a look %.3f\n", blind.passes.value,
              blind.proven, looked_at.proven);
  EXPECT_EQ(blind.passes.value, looked_at.passes.value);
  EXPECT_LT(blind.passes.value, 0.95);  // else the odds alone would release
  EXPECT_GT(looked_at.proven, blind.proven + 3.0 * std::hypot(blind.u_proven, looked_at.u_proven));
  // No more is released than is good, but for the risk of 5 % that is allowed.
  EXPECT_LT(looked_at.proven * 0.95, looked_at.passes.value + 3.0 * looked_at.u_proven);
  line.today.off = {line.camera};
  EXPECT_EQ(forecast(tint, 0, line.today, stakes, line.plant, line.book).proven, blind.proven);
}

TEST(ColourForecast, SaysWhyAColourCannotBeMade) {
  const ColourLine line;
  recipe::Recipe tint = line.wanted(0.4, false);
  tint.colours[0].lab = {60.0, 60.0, 40.0};  // red, from teal
  const Forecast made = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  EXPECT_EQ(made.can, Can::impossible);
  EXPECT_FALSE(made.because.empty());
}

}  // namespace
}  // namespace vialwright::making::testing
