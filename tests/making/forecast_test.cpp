#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>

#include "making/tint_line.hpp"
#include "support/long_form.hpp"
#include "support/random.hpp"

namespace vialwright::making::testing {
namespace {

const Stakes stakes{0.40, 3.00};

double dose_of(const Forecast& made, int stock) {
  for (const Dose& each : made.doses)
    if (each.addition.stock == stock) return each.addition.amount_g;
  return 0.0;
}

/// What the line really does, drawn by the instruments' own words in plant.hpp.
struct Truth {
  double gain[3], offset[3], strength, base_g, teal_g;

  Truth(const TintLine& line, const Forecast& made, support::Random& random) {
    for (int i = 0; i < 3; ++i) {
      gain[i] = line.plant.instruments[static_cast<std::size_t>(i)].u_gain * random.normal();
      offset[i] = line.plant.instruments[static_cast<std::size_t>(i)].u_offset * random.normal();
    }
    strength = 2.0 + 0.004 * random.normal();
    base_g = poured(line, made, TintLine::base, random);
    teal_g = poured(line, made, TintLine::teal, random);
  }
  [[nodiscard]] double net() const { return base_g + teal_g; }
  [[nodiscard]] bool meets(const recipe::Recipe& tint) const {
    const double content = strength * teal_g / net();
    return content >= tint.tolerances[0].low && content <= tint.tolerances[0].high &&
           net() >= tint.tolerances[1].low && net() <= tint.tolerances[1].high;
  }

 private:
  /// The meter stops the dose when it reads what was told.
  double poured(const TintLine& line, const Forecast& made, int stock, support::Random& random) {
    const plant::Station& station = line.plant.stations[static_cast<std::size_t>(stock)];
    const double meant = (dose_of(made, stock) - offset[stock]) / (1.0 + gain[stock]);
    return meant + std::hypot(station.spread_g, station.spread_rel * meant) * random.normal();
  }
};

TEST(Forecast, PassesAsOftenAsTheLineReallyDoes) {
  const TintLine line;
  const recipe::Recipe tint = line.tint(0.012, 19.93, 20.07);
  const Forecast made = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  ASSERT_EQ(made.can, Can::yes);
  EXPECT_EQ(made.doses.front().addition.stock, TintLine::base);  // the largest goes first
  support::Random random(5);
  const int draws = support::long_form() ? 1'000'000 : 100'000;
  int good = 0;
  for (int i = 0; i < draws; ++i) good += Truth(line, made, random).meets(tint);
  const double share = static_cast<double>(good) / draws;
  std::printf("passes %.4f, drawn %.4f\n", made.passes.value, share);
  // Three standard errors, the stated error, and 5e-4 for first-order propagation of errors of 1 %.
  EXPECT_NEAR(made.passes.value, share,
              3.0 * std::sqrt(share * (1.0 - share) / draws) + made.passes.error + 5e-4);
  EXPECT_GT(made.passes.value, 0.5);
  EXPECT_LT(made.passes.value, 0.97);  // else this test says little
  EXPECT_NEAR(made.under + made.over + made.passes.value, 1.0, 3.0 * made.passes.error + 1e-4);
}

/// One dye, nothing else in doubt: the closed form of best_offset. 0.15 % of the vial is the dose
/// itself; the net is held to 0.1 %, and used to its upper limit, as more of both makes the same
/// error smaller.
TEST(Forecast, AimsWhereTheClosedFormDoes) {
  for (const double sd : {0.010, 0.015, 0.020}) {
    TintLine line;
    for (plant::Station& station : line.plant.stations) {
      station.meters.clear();
      station.spread_g = station.spread_rel = 0.0;
    }
    line.plant.stations[TintLine::teal].spread_g = sd * 0.030;
    line.book.lots[TintLine::teal].strengths[0].u_mg_per_g = 0.0;
    const Forecast made =
        forecast(line.tint(0.03, 19.98, 20.02), 0, line.today, stakes, line.plant, line.book);
    ASSERT_EQ(made.can, Can::yes);
    ASSERT_EQ(made.doses.size(), 2u);
    const Aim aim = best_offset(sd * (1.0 - 0.0015) / 1.001, 0.03, stakes);
    const double ratio = (1.0 + made.doses[1].offset) / (1.0 + made.doses[0].offset) - 1.0;
    EXPECT_NEAR(ratio, aim.offset, 0.005 * std::abs(aim.offset) + 1e-4);
    EXPECT_NEAR(made.loss, aim.loss, 0.005 * aim.loss);
    EXPECT_NEAR(made.loss_at_nominal, aim.loss_at_zero, 0.02 * aim.loss_at_zero);
    EXPECT_LT(made.loss, made.loss_at_nominal);
  }
}

/// A reading of what is there, by plant.hpp's formula.
contents::Reading read(const TintLine& line, const Truth& truth, int by, contents::ReadingKind kind,
                       double value, int dose, int after, support::Random& random) {
  const plant::Instrument& it = line.plant.instruments[static_cast<std::size_t>(by)];
  const double noise = std::hypot(it.repeatability, it.repeatability_rel * value);
  double shown = value * (1.0 + truth.gain[by]) + truth.offset[by] + noise * random.normal();
  if (it.resolution > 0.0) shown = it.resolution * std::round(shown / it.resolution);
  contents::Reading reading;
  reading.kind = kind;
  reading.instrument = by;
  reading.value = shown;
  reading.dose = dose;
  reading.after_doses = after;
  return reading;
}

/// One whole vial: poured, read, and judged by its evidence alone.
bool released(const TintLine& line, const Forecast& made, const recipe::Recipe& tint,
              support::Random& random) {
  const Truth truth(line, made, random);
  contents::Evidence evidence;
  double poured = 0.0;
  const double tare = 14.8 + 0.15 * random.normal();
  using Kind = contents::ReadingKind;
  evidence.readings.push_back(read(line, truth, TintLine::scale, Kind::tare,
                                   tare / contents::buoyancy_factor(1.2, 2500.0), -1, 0, random));
  for (const Dose& each : made.doses) {
    const int stock = each.addition.stock, dose = static_cast<int>(evidence.doses.size());
    const double grams = stock == TintLine::base ? truth.base_g : truth.teal_g;
    poured += grams;
    evidence.doses.push_back({stock, stock, stock, each.addition.amount_g, false});
    evidence.readings.push_back(
        read(line, truth, stock, Kind::dose, grams, dose, dose + 1, random));
  }
  const double gross = tare / contents::buoyancy_factor(1.2, 2500.0) +
                       poured / contents::buoyancy_factor(1.2, 1000.0);
  evidence.readings.push_back(
      read(line, truth, TintLine::scale, Kind::gross, gross, -1, 2, random));
  const auto estimate = contents::estimate(evidence, line.plant, line.book);
  return conformity::judge(estimate.belief, tint, line.book, line.plant.risks).ruling ==
         conformity::Ruling::release;
}

TEST(Forecast, IsProvenAsOftenAsWholeVialsAreReleased) {
  const TintLine line;
  for (const double tolerance : {0.012, 0.016}) {
    const recipe::Recipe tint = line.tint(tolerance, 19.9, 20.1);
    const Forecast made = forecast(tint, 0, line.today, stakes, line.plant, line.book);
    support::Random random(17);
    const int vials = support::long_form() ? 4000 : 800;
    int good = 0;
    for (int i = 0; i < vials; ++i) good += released(line, made, tint, random);
    const double share = static_cast<double>(good) / vials;
    const double u = std::sqrt(std::max(share * (1.0 - share), 1.0 / vials) / vials);
    std::printf("tolerance %.1f %%: proven %.3f +/- %.3f, released %.3f +/- %.3f\n",
                100.0 * tolerance, made.proven, made.u_proven, share, u);
    EXPECT_NEAR(made.proven, share, 3.0 * std::hypot(made.u_proven, u));
  }
}

TEST(Forecast, WithoutItsScaleAVialPassesAsOftenButIsProvenLess) {
  TintLine line;
  line.plant.instruments[TintLine::base_meter].u_gain = 0.02;  // the net hangs on the scale
  line.plant.command_is_evidence = false;
  const recipe::Recipe tint = line.tint(0.045, 19.6, 20.4);
  const Forecast with = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  line.today.off = {TintLine::scale};
  const Forecast without = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  EXPECT_EQ(with.passes.value, without.passes.value);
  EXPECT_LT(with.passes.value, 0.94);  // else the odds alone would release
  EXPECT_GT(with.proven, without.proven + 3.0 * std::hypot(with.u_proven, without.u_proven))
      << with.proven << ", " << without.proven;
}

/// The meter's error no longer is the dose's; the station's spread stays.
TEST(Forecast, AStationWhoseFirstMeterIsOffDosesByCommandAlone) {
  TintLine line;
  const recipe::Recipe tint = line.tint(0.015);
  line.plant.instruments[TintLine::teal_meter].u_gain = 0.02;
  const Forecast metered = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  line.today.off = {TintLine::teal_meter};
  const Forecast by_command = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  EXPECT_LT(metered.passes.value, 0.6);
  // sd of the content in %: teal's spread and strength, base's meter and spread (0.015 of 20 g).
  const double sd = std::hypot(std::hypot(0.6, 0.2), std::hypot(0.2, 0.075));
  EXPECT_NEAR(by_command.at_nominal.value, std::erf(1.5 / sd / std::sqrt(2.0)), 2e-3);
  // Another meter that only reads must not take over.
  line.plant.stations[TintLine::teal].meters.push_back("base meter");
  const Forecast still = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  EXPECT_NEAR(still.passes.value, by_command.passes.value, 1e-9);
}

TEST(Forecast, SaysWhyNot) {
  TintLine line;
  const recipe::Recipe tint = line.tint(0.03);
  Today none = line.today;
  none.loaded.pop_back();
  const Forecast unloaded = forecast(tint, 0, none, stakes, line.plant, line.book);
  EXPECT_NE(unloaded.can, Can::yes);
  EXPECT_NE(unloaded.because.find("teal"), std::string::npos) << unloaded.because;

  const Forecast too_strong =
      forecast(line.tint(0.03, 19.5, 20.5, 3.0), 0, line.today, stakes, line.plant, line.book);
  EXPECT_EQ(too_strong.can, Can::impossible);  // stronger than the stock itself
  EXPECT_FALSE(too_strong.because.empty());

  line.plant.stations[TintLine::teal].least_dose_g = 0.040;  // wanted: 0.030
  const Forecast too_little = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  EXPECT_EQ(too_little.can, Can::not_dosable);
  EXPECT_NE(too_little.because.find("teal"), std::string::npos) << too_little.because;
}

/// On paper 0.030 g of teal; the station makes 0.0306 g at least, which the tolerance allows.
TEST(Forecast, DosesTheLeastWhereTheTargetNeedsLess) {
  TintLine line;
  line.plant.stations[TintLine::teal].least_dose_g = 0.0306;
  const Forecast made = forecast(line.tint(0.06), 0, line.today, stakes, line.plant, line.book);
  ASSERT_EQ(made.can, Can::yes) << made.because;
  EXPECT_GE(dose_of(made, TintLine::teal), 0.0306);
  EXPECT_GT(made.passes.value, 0.95);
}

TEST(Forecast, SameQuestionSameAnswer) {
  const TintLine line;
  const recipe::Recipe tint = line.tint(0.02);
  const Forecast one = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  const Forecast two = forecast(tint, 0, line.today, stakes, line.plant, line.book);
  EXPECT_EQ(one.passes.value, two.passes.value);
  EXPECT_EQ(one.proven, two.proven);
  EXPECT_EQ(one.loss, two.loss);
}

/// Without stakes the odds decide.
TEST(Forecast, WithoutStakesAimsAtTheBestOdds) {
  const TintLine line;
  const Forecast made = forecast(line.tint(0.012), 0, line.today, Stakes{}, line.plant, line.book);
  EXPECT_GE(made.passes.value, made.at_nominal.value - made.passes.error);
}

}  // namespace
}  // namespace vialwright::making::testing
