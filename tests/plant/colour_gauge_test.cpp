// What a colour gauge may not be.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>
#include <limits>
#include <ostream>
#include <string>
#include <vector>

#include "plant/plant.hpp"

namespace vialwright::plant {
namespace {

using testing::HasSubstr;
using Gives = ColourGauge::Gives;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

Instrument gauge(const std::string& id, Gives gives) {
  Instrument it;
  it.id = id;
  it.kind = InstrumentKind::colour_gauge;
  it.repeatability = gives == Gives::lab ? 0.3 : 0.002;
  it.colour.emplace();
  it.colour->gives = gives;
  return it;
}

/// 0: looks through the vial, L*a*b*; 1: spectrometer with a cell; 2: a camera of three channels.
Plant sound() {
  Plant plant;
  plant.instruments = {gauge("eye", Gives::lab), gauge("bench", Gives::spectrum),
                       gauge("camera", Gives::channels)};
  plant.instruments[0].colour->strip_rel = 0.25;
  plant.instruments[0].colour->axis_correlation = 0.5;
  plant.instruments[1].colour->path_cm = 1.0;
  plant.instruments[2].colour->channels.assign(3, {{400.0, 550.0, 700.0}, {0.0, 1.0, 0.0}});
  Container vial;
  vial.id = "vial";
  vial.tare_g = 14.8;
  vial.u_tare_g = 0.15;
  vial.brimful_ml = 26.5;
  vial.largest_fill_ml = 24.0;
  vial.inner_diameter_mm = 20.0;
  plant.containers = {vial};
  return plant;
}

TEST(ColourGaugeProblems, SoundOnesHaveNone) {
  const Problems found = problems(sound());
  EXPECT_TRUE(found.empty()) << found.front().where << " " << found.front().what;
}

struct Bad {
  std::string name;
  std::function<void(Plant&)> spoil;
  std::string where, what, mend;
};
void PrintTo(const Bad& bad, std::ostream* out) { *out << bad.name; }
class BadGauge : public testing::TestWithParam<Bad> {};

TEST_P(BadGauge, SaysWhereWhatAndHowToMendIt) {
  Plant plant = sound();
  GetParam().spoil(plant);
  const Problems found = problems(plant);
  ASSERT_EQ(found.size(), 1u) << (found.empty() ? "" : found[1].where + " " + found[1].what);
  EXPECT_EQ(found[0].where, GetParam().where);
  EXPECT_THAT(found[0].what, HasSubstr(GetParam().what));
  EXPECT_THAT(found[0].mend, HasSubstr(GetParam().mend));
}

ColourGauge& of(Plant& plant, std::size_t i) { return *plant.instruments[i].colour; }

const std::vector<Bad> bad = {
    {"SaysNothing", [](Plant& p) { p.instruments[1].colour.reset(); }, "instrument.bench.gives",
     "does not say what it gives", "gives = \"lab\", \"spectrum\" or \"channels\""},
    {"AScaleSeesNone", [](Plant& p) { p.instruments[1].kind = InstrumentKind::scale; },
     "instrument.bench.gives", "a scale sees no colour", "correct the kind"},
    {"NeverErrs", [](Plant& p) { p.instruments[0].repeatability = 0.0; },
     "instrument.eye.repeatability", "never errs", "0.3"},
    {"SessionBelowZero", [](Plant& p) { of(p, 0).u_session = -0.1; }, "instrument.eye.u_session",
     "-0.1", "0 or more"},
    {"StripTooWide", [](Plant& p) { of(p, 0).strip_rel = 1.1; }, "instrument.eye.strip", "1.1",
     "from 0 to 1"},
    {"StripOfACell", [](Plant& p) { of(p, 1).strip_rel = 0.2; }, "instrument.bench.strip",
     "flat cell", "delete cell"},
    {"CellBelowZero", [](Plant& p) { of(p, 1).path_cm = -1.0; }, "instrument.bench.cell", "-1 cm",
     "from 0 to 100 cm"},
    {"PathDoubt", [](Plant& p) { of(p, 0).u_path_rel = nan; }, "instrument.eye.u_path", "NaN",
     "from 0 to 0.5"},
    {"StrayLight", [](Plant& p) { of(p, 1).stray_light = 0.7; }, "instrument.bench.stray_light",
     "0.7", "from 0 to 0.5"},
    {"StrayLightDoubt", [](Plant& p) { of(p, 1).u_stray_light = -1.0; },
     "instrument.bench.stray_light", "u of stray_light = -1", "from 0 to 0.5"},
    {"BandsFall",
     [](Plant& p) {
       of(p, 1).bands = {700.0, 400.0, 10.0};
     },
     "instrument.bench.bands", "700 to 400 nm", "shorter one first"},
    {"BandsOutside",
     [](Plant& p) {
       of(p, 1).bands = {350.0, 700.0, 10.0};
     },
     "instrument.bench.bands", "350 to 700 nm", "from 380 to 780 nm"},
    {"NoStep", [](Plant& p) { of(p, 1).bands.step = 0.0; }, "instrument.bench.bands", "a step of 0",
     "400 to 700 by 10 nm"},
    {"StepTooFine", [](Plant& p) { of(p, 1).bands.step = 0.1; }, "instrument.bench.bands",
     "2 to 401 bands", "by 10 nm"},
    {"Bandwidth", [](Plant& p) { of(p, 1).bandwidth_nm = -2.0; }, "instrument.bench.bandwidth",
     "-2 nm", "from 0 to 100 nm"},
    {"CorrelatedBands", [](Plant& p) { of(p, 1).axis_correlation = 0.2; },
     "instrument.bench.axis_correlation", "not bands", "u_session"},
    {"CorrelationOfOne", [](Plant& p) { of(p, 0).axis_correlation = 1.0; },
     "instrument.eye.axis_correlation", "1 is not in its range", "from -0.49 to 0.99"},
    {"NoChannels", [](Plant& p) { of(p, 2).channels.clear(); }, "instrument.camera.channels",
     "0 channels", "sensitivity times the light"},
    {"BlindChannel", [](Plant& p) { of(p, 2).channels[1].value[1] = 0.0; },
     "instrument.camera.channels", "channel 2 sees nothing", "more somewhere"},
    {"ChannelFalls", [](Plant& p) { of(p, 2).channels[2].nm[2] = 500.0; },
     "instrument.camera.channels", "channel 3: wavelength 500 follows 550", "sort"},
    {"WidthUnknown", [](Plant& p) { p.containers[0].inner_diameter_mm = 0.0; },
     "container.vial.inner_diameter", "a colour gauge looks through", "20.0 mm"},
};
std::string name_of(const testing::TestParamInfo<Bad>& info) { return info.param.name; }
INSTANTIATE_TEST_SUITE_P(All, BadGauge, testing::ValuesIn(bad), name_of);

TEST(ColourGaugeProblems, ACellMakesTheWidthOfTheVialNeedless) {
  Plant plant = sound();
  for (Instrument& it : plant.instruments) {
    it.colour->path_cm = 1.0;
    it.colour->strip_rel = 0.0;
  }
  plant.containers[0].inner_diameter_mm = 0.0;
  EXPECT_TRUE(problems(plant).empty());
}

}  // namespace
}  // namespace vialwright::plant
