// What a plant may not be. Values that come from code, not from a file: the file's own reader
// would refuse some of them earlier.
#include "plant/plant.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <limits>
#include <ostream>
#include <string>
#include <vector>

namespace vialwright::plant {
namespace {

using testing::HasSubstr;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinite = std::numeric_limits<double>::infinity();

Plant sound() {
  Plant plant;
  Instrument scale, meter, cell;
  scale.id = "scale";
  scale.repeatability = 0.005;
  meter.id = "meter";
  meter.kind = InstrumentKind::mass_meter;
  meter.resolution = 0.001;
  cell.id = "cell";
  cell.kind = InstrumentKind::tank_scale;
  cell.repeatability = 1.0;
  plant.instruments = {scale, meter, cell};
  Station station;
  station.id = "one";
  station.stocks = {"base", "salt"};
  station.meters = {"meter"};
  station.tank = "big";
  station.least_dose_g = 0.03;
  station.spread_g = 0.002;
  plant.stations = {station};
  Container vial;
  vial.id = "vial";
  vial.tare_g = 14.8;
  vial.u_tare_g = 0.15;
  vial.brimful_ml = 26.5;
  vial.largest_fill_ml = 24.0;
  plant.containers = {vial};
  plant.tanks = {{"big", "base", "cell"}};
  return plant;
}

TEST(PlantProblems, ASoundPlantHasNone) {
  const Problems found = problems(sound());
  EXPECT_TRUE(found.empty()) << found.front().where << " " << found.front().what;
  EXPECT_TRUE(problems(Plant{}).empty()) << "an empty one neither: the line file asks for more";
}

struct Bad {
  std::string name;
  std::function<void(Plant&)> spoil;
  std::string where, what, mend;
};
void PrintTo(const Bad& bad, std::ostream* out) { *out << bad.name; }
class BadPlant : public testing::TestWithParam<Bad> {};

TEST_P(BadPlant, SaysWhereWhatAndHowToMendIt) {
  Plant plant = sound();
  GetParam().spoil(plant);
  const Problems found = problems(plant);
  ASSERT_EQ(found.size(), 1u) << (found.empty() ? "" : found[1].where + found[1].what);
  EXPECT_EQ(found[0].where, GetParam().where);
  EXPECT_THAT(found[0].what, HasSubstr(GetParam().what));
  EXPECT_THAT(found[0].mend, HasSubstr(GetParam().mend));
}

const std::vector<Bad> instruments = {
    {"NoId", [](Plant& p) { p.instruments[0].id = ""; }, "instrument.", "has no id", "an id"},
    {"IdTwice", [](Plant& p) { p.instruments.push_back(p.instruments[0]); }, "instrument.scale",
     "described twice", "another id"},
    {"Exact", [](Plant& p) { p.instruments[0].repeatability = 0.0; },
     "instrument.scale.repeatability", "never errs", "resolution"},
    {"NegativeRepeatability", [](Plant& p) { p.instruments[0].repeatability = -1e-3; },
     "instrument.scale.repeatability", "-0.001 g is below zero", "0 g or more"},
    {"NaN", [](Plant& p) { p.instruments[0].resolution = nan; }, "instrument.scale.resolution",
     "NaN", "0 g or more"},
    {"InfiniteNoise", [](Plant& p) { p.instruments[2].repeatability = infinite; },
     "instrument.cell.repeatability", "infinity", "0 g or more"},
    {"RelativeAboveOne", [](Plant& p) { p.instruments[0].repeatability_rel = 1.5; },
     "instrument.scale.repeatability_rel", "1.5 is not in its range", "from 0 to 1"},
    {"OffsetNaN", [](Plant& p) { p.instruments[0].offset = nan; }, "instrument.scale.offset", "NaN",
     "g"},
    {"OffsetDoubt", [](Plant& p) { p.instruments[0].u_offset = -1.0; }, "instrument.scale.offset",
     "u of offset = -1 g", "0 g or more"},
    {"GainOfAHalf", [](Plant& p) { p.instruments[0].gain = 0.6; }, "instrument.scale.gain",
     "gain = 0.6", "from -0.5 to 0.5"},
    {"GainDoubt", [](Plant& p) { p.instruments[0].u_gain = nan; }, "instrument.scale.gain",
     "u of gain = NaN", "from 0 to 0.5"},
    {"ZeroRateOfAScale", [](Plant& p) { p.instruments[0].u_zero_rate = 1e-3; },
     "instrument.scale.zero_stability", "does not count over time", "offset"},
    {"FaultOddsZero", [](Plant& p) { p.instruments[0].fault_odds = 0.0; },
     "instrument.scale.fault_odds", "fault_odds = 0", "above 0 and below 0.5"},
    {"FaultOddsHalf", [](Plant& p) { p.instruments[0].fault_odds = 0.5; },
     "instrument.scale.fault_odds", "fault_odds = 0.5", "below 0.5"},
    {"Blunder", [](Plant& p) { p.instruments[0].blunder = -1.0; }, "instrument.scale.blunder",
     "-1 g", "0 g or more"},
    {"CalibrationAge", [](Plant& p) { p.instruments[0].oldest_calibration_s = nan; },
     "instrument.scale.oldest_calibration", "not above zero", "90 d"},
    {"SourcesDiffer",
     [](Plant& p) {
       Instrument pulse = p.instruments[1];
       p.instruments[1].same_source = pulse.same_source = "m";
       pulse.id = "pulse";
       pulse.u_gain = 0.002;
       p.instruments.push_back(pulse);
     },
     "instrument.pulse.same_source", "source 'm' with 'meter'", "one systematic error"},
};
const std::vector<Bad> stations = {
    {"DosesNothing", [](Plant& p) { p.stations[0].stocks = {}, p.stations[0].tank = ""; },
     "station.one.stocks", "doses nothing", "name the stocks"},
    {"StockTwice", [](Plant& p) { p.stations[0].stocks.emplace_back("salt"); },
     "station.one.stocks", "'salt' is named twice", "once"},
    {"NoSuchMeter", [](Plant& p) { p.stations[0].meters = {"metre"}; }, "station.one.meters",
     "no instrument 'metre'", "did you mean 'meter'?"},
    {"ScaleAsMeter", [](Plant& p) { p.stations[0].meters = {"cell"}; }, "station.one.meters",
     "'cell' is a tank_scale, not a meter", "under the tank"},
    {"MeterTwice",
     [](Plant& p) {
       p.stations[0].meters = {"meter", "meter"};
     },
     "station.one.meters", "named twice", "once"},
    {"NoSuchTank", [](Plant& p) { p.stations[0].tank = "bog"; }, "station.one.tank",
     "no tank 'bog'", "did you mean 'big'?"},
    {"TankOfAnotherStock", [](Plant& p) { p.tanks[0].stock = "rose"; }, "station.one.tank",
     "holds 'rose', which this station does not dose", "another tank"},
    {"LeastDoseZero", [](Plant& p) { p.stations[0].least_dose_g = 0.0; }, "station.one.least_dose",
     "least_dose = 0 g is not above zero", "above 0 g"},
    {"LargestBelowLeast", [](Plant& p) { p.stations[0].largest_dose_g = 0.02; },
     "station.one.largest_dose", "0.02 g is below the least dose 0.03 g", "at least"},
    {"NeverMisses", [](Plant& p) { p.stations[0].spread_g = 0.0; }, "station.one.spread",
     "never misses", "spread_rel"},
    {"NegativeSpread", [](Plant& p) { p.stations[0].spread_g = -0.1; }, "station.one.spread",
     "-0.1 g", "0 g or more"},
    {"FaultOddsNaN", [](Plant& p) { p.stations[0].fault_odds = nan; }, "station.one.fault_odds",
     "NaN", "below 0.5"},
};
const std::vector<Bad> rest = {
    {"TareZero", [](Plant& p) { p.containers[0].tare_g = 0.0; }, "container.vial.tare",
     "tare = 0 g is not above zero", "above 0 g"},
    {"TareExact", [](Plant& p) { p.containers[0].u_tare_g = 0.0; }, "container.vial.tare",
     "no two empty containers", "u 0.15 g"},
    {"CapDoubt", [](Plant& p) { p.containers[0].u_cap_g = -0.1; }, "container.vial.cap",
     "u of cap = -0.1 g", "0 g or more"},
    {"DensityZero", [](Plant& p) { p.containers[0].density_g_per_ml = 0.0; },
     "container.vial.density", "density = 0 g/mL", "from 0.5 to 25 g/mL"},
    {"FillAboveBrim", [](Plant& p) { p.containers[0].largest_fill_ml = 27.0; },
     "container.vial.largest_fill", "27 mL is more than the brimful volume 26.5 mL", "headspace"},
    {"FillMassNegative", [](Plant& p) { p.containers[0].largest_fill_g = -1.0; },
     "container.vial.largest_fill_mass", "not above zero", "24 g"},
    {"LevelOfUnknownWidth",
     [](Plant& p) {
       Instrument gauge;
       gauge.id = "gauge";
       gauge.kind = InstrumentKind::level_gauge;
       gauge.repeatability = 0.3;
       p.instruments.push_back(gauge);
     },
     "container.vial.inner_diameter", "its width is unknown", "20.0 mm"},
    {"LossNegative", [](Plant& p) { p.containers[0].open_loss_g_per_h = -0.01; },
     "container.vial.open_loss", "-0.01 g/h", "0 g/h or more"},
    {"TankOnAMeter", [](Plant& p) { p.tanks[0].scale = "meter"; }, "tank.big.scale",
     "'meter' is a mass_meter", "tank_scale"},
    {"TankOnNothing", [](Plant& p) { p.tanks[0].scale = "cel"; }, "tank.big.scale",
     "no instrument 'cel'", "did you mean 'cell'?"},
    {"ConsumerRisk", [](Plant& p) { p.risks.consumer = 0.5; }, "risks.consumer", "0.5",
     "below 0.5"},
    {"Sure", [](Plant& p) { p.risks.sure = 0.5; }, "risks.sure", "sure = 0.5", "above 0.5"},
    {"AdviceLastsNever", [](Plant& p) { p.risks.advice_lasts_s = 0.0; }, "risks.advice_lasts",
     "not above zero", "above 0 s"},
    {"NoUnitOfAccount", [](Plant& p) { p.prices.unit = ""; }, "prices.unit", "has no name", "mk"},
    {"MakingBringsMoney", [](Plant& p) { p.prices.making = -1.0; }, "prices.making",
     "making = -1 mk", "0 mk or more"},
    {"LatenessIsNaN", [](Plant& p) { p.prices.late_per_h = nan; }, "prices.late_per_hour", "NaN",
     "0 mk or more"},
    {"PlacesNegative", [](Plant& p) { p.holding.places = -1; }, "holding.places",
     "places = -1 is not", "from 0 to 10000"},
    {"HoldingBringsMoney", [](Plant& p) { p.holding.cost_per_day = -0.2; }, "holding.cost_per_day",
     "-0.2 mk", "0 mk or more"},
    {"HeldForNoTime", [](Plant& p) { p.holding.longest_days = 0.0; }, "holding.longest",
     "longest = 0 d is not above zero", "above 0 d"},
    {"HeldForEver", [](Plant& p) { p.holding.longest_days = no_limit; }, "holding.longest",
     "infinity", "above 0 d"},
    {"SwitchingNegative", [](Plant& p) { p.holding.switching = -0.1; }, "holding.switching",
     "-0.1 mk", "0 mk or more"},
    {"MadeBeforeItWasAsked", [](Plant& p) { p.holding.making_h = -1.0; }, "holding.making_time",
     "-1 h", "0 h or more"},
    {"DemandForgottenAtOnce", [](Plant& p) { p.holding.demand_half_life_days = 0.0; },
     "holding.demand_half_life", "0 d", "above 0 d"},
    {"ScrapBringsMoney", [](Plant& p) { p.prices.scrap = -0.3; }, "prices.scrap", "-0.3 mk",
     "0 mk or more"},
};
std::string name_of(const testing::TestParamInfo<Bad>& info) { return info.param.name; }
INSTANTIATE_TEST_SUITE_P(Instruments, BadPlant, testing::ValuesIn(instruments), name_of);
INSTANTIATE_TEST_SUITE_P(Stations, BadPlant, testing::ValuesIn(stations), name_of);
INSTANTIATE_TEST_SUITE_P(Rest, BadPlant, testing::ValuesIn(rest), name_of);

TEST(PlantProblems, SaysAllOfThemAtOnce) {
  Plant plant = sound();
  plant.instruments[0].gain = 0.9;
  plant.stations[0].spread_rel = 2.0;
  plant.containers[0].brimful_ml = nan;
  plant.tanks[0].scale = "nothing";
  plant.risks.future_s = -1.0;
  EXPECT_EQ(problems(plant).size(), 5u);
}

TEST(InstrumentKind, EveryWordIsReadBack) {
  for (int i = 0; i <= static_cast<int>(InstrumentKind::climate); ++i) {
    const auto kind = static_cast<InstrumentKind>(i);
    EXPECT_EQ(instrument_kind(word(kind)), kind);
  }
  EXPECT_FALSE(instrument_kind("Scale").has_value()) << "case matters";
}

TEST(Find, GivesTheIndexOfAnIdOrNothing) {
  const Plant plant = sound();
  EXPECT_EQ(find_instrument(plant, "cell"), 2);
  EXPECT_EQ(find_station(plant, "one"), 0);
  EXPECT_EQ(find_container(plant, "vial"), 0);
  EXPECT_EQ(find_tank(plant, "big"), 0);
  EXPECT_FALSE(find_instrument(plant, "one").has_value());
  EXPECT_FALSE(find_station(plant, "").has_value());
}

}  // namespace
}  // namespace vialwright::plant
