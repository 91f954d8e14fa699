// Line files as a whole: many problems in one run, damaged files, every key of the table.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>
#include <vector>

#include "line/line_file.hpp"
#include "line/line_file_keys.hpp"

namespace vialwright::line {
namespace {

using testing::HasSubstr;

Problems problems_of(const std::string& text) {
  const auto line = parse_line_file(text, "line.toml");
  return line ? Problems{} : line.error();
}

std::string told(const Problems& problems) {
  std::string text;
  for (const Error& it : problems) text += it.where + " | " + it.what + " | " + it.mend + "\n";
  return text;
}

/// A file that goes away with the test.
class TemporaryFile {
 public:
  explicit TemporaryFile(const std::string& name)
      : path_(testing::TempDir() + "vialwright_" + std::to_string(::getpid()) + "_" + name) {}
  ~TemporaryFile() { std::filesystem::remove(path_); }
  TemporaryFile(const TemporaryFile&) = delete;
  TemporaryFile& operator=(const TemporaryFile&) = delete;
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  std::string path_;
};

constexpr std::string_view small = R"([line]
name = "Small"
[component.water]
[stock.water]
density = "0.998 g/mL"
[container.flask]
tare = "21.4 g, u 0.2 g"
brimful = "55 mL"
largest_fill = "50 mL"
)";

TEST(WholeLineFile, SaysEveryProblemInOneRunFromTopToBottom) {
  const Problems found = problems_of(R"([line]
naem = "Small"
[component.water]
[stock.water]
density = "0.998"
[container.flask]
tare = "21.4 g"
brimful = 55
largest_fill = "50 m"
[instrument.x]
kind = "scales"
[station.s]
stocks = ["wine"]
)");
  std::vector<std::string> where;
  for (const Error& it : found) where.push_back(it.where);
  EXPECT_EQ(where, (std::vector<std::string>{
                       "line.toml:1:1, line.name",
                       "line.toml:2:1, line.naem",
                       "line.toml:5:11, stock.water.density",
                       "line.toml:7:8, container.flask.tare",
                       "line.toml:8:11, container.flask.brimful",
                       "line.toml:9:16, container.flask.largest_fill",
                       "line.toml:10:13, instrument.x.repeatability",
                       "line.toml:11:8, instrument.x.kind",
                       "line.toml:12:10, station.s.least_dose",
                       "line.toml:12:10, station.s.spread",
                       "line.toml:13:10, station.s.stocks",
                   }))
      << told(found);
}

TEST(WholeLineFile, SaysEverySlipOfSyntaxInOneRun) {
  const Problems found = problems_of(R"([line]
name = Small
[component.water]
[stock.water
density = "0.998 g/mL"
price_per_kg = 1,5
[container.flask]
tare = "21.4 g, u 0.2 g
brimful = "55 mL"
largest_fil = "50 mL"
)");
  ASSERT_EQ(found.size(), 4u) << told(found);
  EXPECT_THAT(found[0].where, HasSubstr("line.toml:2:"));
  EXPECT_THAT(found[1].where, HasSubstr("line.toml:4:")) << "and what stands below it is left out";
  EXPECT_THAT(found[2].where, HasSubstr("line.toml:8:"));
  EXPECT_THAT(found[3].where, HasSubstr("line.toml:10:1, container.flask.largest_fil"))
      << "keys are checked all the same";
}

TEST(WholeLineFile, ShowsTwoHundredProblemsAndSaysThatThereAreMore) {
  std::string text(small);
  for (int i = 0; i < 250; ++i) text += "key" + std::to_string(i) + " = 1\n";
  const Problems found = problems_of(text);
  ASSERT_EQ(found.size(), 201u);
  EXPECT_THAT(found.back().what, HasSubstr("more problems than these 200"));
}

TEST(WholeLineFile, TakesCrlfAndAByteOrderMark) {
  std::string text = "\xEF\xBB\xBF";
  for (const char c : small) text += c == '\n' ? "\r\n" : std::string(1, c);
  EXPECT_EQ(told(problems_of(text)), "");
}

TEST(WholeLineFile, RefusesWhatIsNoText) {
  const std::string good(small);
  const Problems nul = problems_of(good + "a" + std::string(1, '\0') + "b\n");
  ASSERT_EQ(nul.size(), 1u) << told(nul);
  EXPECT_EQ(nul[0].where, "line.toml:10:2");
  EXPECT_THAT(nul[0].what, HasSubstr("a byte 0"));

  // Overlong, surrogate, cut short, above U+10FFFF, stray continuation: RFC 3629, sections 3 and 4.
  for (const std::string bytes :
       {"\xC0\xAF", "\xED\xA0\x80", "\xE2\x82", "\xF4\x90\x80\x80", "\x80", "\xFF"}) {
    const Problems bad = problems_of("# \xC3\xA9\n#  " + bytes + "\n" + good);
    ASSERT_EQ(bad.size(), 1u) << told(bad);
    EXPECT_EQ(bad[0].where, "line.toml:2:4");
    EXPECT_THAT(bad[0].what, HasSubstr("not UTF-8"));
    EXPECT_THAT(bad[0].mend, HasSubstr("UTF-8"));
  }
}

TEST(WholeLineFile, RefusesAnEmptyFileByWhatItLacks) {
  const Problems found = problems_of("");
  ASSERT_EQ(found.size(), 4u) << told(found);
  EXPECT_EQ(found[0].where, "line.toml, line.name");
  EXPECT_EQ(found[1].where, "line.toml, component");
  EXPECT_EQ(found[2].where, "line.toml, stock");
  EXPECT_EQ(found[3].where, "line.toml, container");
}

TEST(WholeLineFile, CutShortAnywhereItIsRefusedOrWhole) {
  // A file cut inside a line must never be taken for another line; one cut between lines may be
  // whole. What may not happen is a crash or an answer with neither.
  const std::string good(small);
  for (std::size_t length = 0; length < good.size(); ++length) {
    const auto line = parse_line_file(good.substr(0, length), "line.toml");
    if (line)
      EXPECT_GE(length + 1, good.size()) << good.substr(0, length);
    else
      EXPECT_FALSE(line.error().empty());
  }
}

TEST(WholeLineFile, RefusesDeepNestingWithoutFallingOver) {
  const auto lists = problems_of(std::string(small) + "x = " + std::string(5000, '[') + "\n");
  ASSERT_FALSE(lists.empty());
  EXPECT_THAT(lists[0].where, HasSubstr("line.toml:10:"));
  std::string keys = "a";
  for (int i = 0; i < 4000; ++i) keys += ".a";
  EXPECT_FALSE(problems_of(std::string(small) + keys + " = 1\n").empty());
  const auto longer = problems_of(std::string(small) + keys + keys + keys + " = 1\n");
  ASSERT_EQ(longer.size(), 1u);
  EXPECT_EQ(longer[0].where, "line.toml:10:1");
  EXPECT_THAT(longer[0].what, HasSubstr("more than 8192 bytes"));
}

TEST(WholeLineFile, RefusesAHundredMegabytesWithoutHoldingThem) {
  const TemporaryFile file("large.toml");
  {
    std::ofstream out(file.path(), std::ios::binary);
    const std::string part(1 << 20, 'x');
    for (int i = 0; i < 100; ++i) out << part;
  }
  rusage before{}, after{};
  getrusage(RUSAGE_SELF, &before);
  const auto line = read_line_file(file.path());
  getrusage(RUSAGE_SELF, &after);
  ASSERT_FALSE(line.has_value());
  EXPECT_EQ(line.error()[0].where, file.path());
  EXPECT_THAT(line.error()[0].what, HasSubstr("larger than 2097152 bytes"));
  // 2 MiB of text, its growth by doubling and the allocator: well under a tenth of the file.
  EXPECT_LT(after.ru_maxrss - before.ru_maxrss, 10 * 1024) << "KiB";
}

TEST(WholeLineFile, SaysWhenTheFileIsNotThereOrNoFile) {
  const auto missing = read_line_file("/nowhere/line.toml");
  ASSERT_FALSE(missing.has_value());
  EXPECT_EQ(missing.error()[0].kind, Error::Kind::missing);
  EXPECT_EQ(missing.error()[0].where, "/nowhere/line.toml");
  EXPECT_THAT(missing.error()[0].mend, HasSubstr("check the name"));
  const auto folder = read_line_file(testing::TempDir());
  ASSERT_FALSE(folder.has_value());
  EXPECT_EQ(folder.error()[0].kind, Error::Kind::unavailable);
}

// ---- the table of keys ----------------------------------------------------------------------

/// One thing that has every key of a section, each as the table's example says.
template <class T>
std::string every_key(const Section<T>& section) {
  std::string text = "[" + std::string(section.name) + (section.many ? ".probe]\n" : "]\n");
  for (const Key<T>& key : section.keys)
    text += std::string(key.name) + " = " + std::string(key.example) + "\n";
  return text;
}

TEST(EveryKey, OfTheTableIsReadAsItsExampleSays) {
  // Examples name things of a line that is not this one, so references may fail, and a scale has no
  // zero stability; but each key must be known, of the right type and in a unit that fits.
  for_each_section([](const auto& section) {
    for (const Error& it : problems_of(every_key(section))) {
      EXPECT_THAT(it.what, testing::Not(HasSubstr("unknown"))) << it.where;
      EXPECT_THAT(it.what, testing::Not(HasSubstr("not TOML"))) << it.where;
      EXPECT_THAT(it.what, testing::Not(HasSubstr("unit"))) << it.where << it.what;
      EXPECT_THAT(it.what, testing::Not(testing::MatchesRegex(".* is .*, not an? .*"))) << it.where;
    }
  });
}

/// A value that differs from what a fresh thing has must arrive in it: no key is read and dropped.
TEST(EveryKey, OfAnInstrumentArrives) {
  const auto line = parse_line_file(std::string(small) + R"(
[instrument.m]
kind = "volume_meter"
repeatability = "8 uL"
repeatability_rel = "0.15 %"
resolution = "5 uL"
offset = "0.1 mL, u 0.02 mL"
gain = "-0.2 %, u 0.4 %"
zero_stability = "3.6 mL/h"
fault_odds = 0.003
blunder = "2 mL"
oldest_calibration = "90 d"
same_source = "pump"
)",
                                    "line.toml");
  ASSERT_TRUE(line.has_value()) << told(line.error());
  const plant::Instrument& it = line->plant.instruments.at(0);
  EXPECT_EQ(it.id, "m");
  EXPECT_EQ(it.kind, plant::InstrumentKind::volume_meter);
  EXPECT_DOUBLE_EQ(it.repeatability, 0.008);
  EXPECT_DOUBLE_EQ(it.repeatability_rel, 0.0015);
  EXPECT_DOUBLE_EQ(it.resolution, 0.005);
  EXPECT_DOUBLE_EQ(it.offset, 0.1);
  EXPECT_DOUBLE_EQ(it.u_offset, 0.02);
  EXPECT_DOUBLE_EQ(it.gain, -0.002);
  EXPECT_DOUBLE_EQ(it.u_gain, 0.004);
  EXPECT_DOUBLE_EQ(it.u_zero_rate, 0.001);
  EXPECT_EQ(it.fault_odds, 0.003);
  EXPECT_EQ(it.blunder, 2.0);
  EXPECT_EQ(it.oldest_calibration_s, 90 * 86400.0);
  EXPECT_EQ(it.same_source, "pump");
}

TEST(EveryKey, OfAStationATankAndAContainerArrives) {
  const auto line = parse_line_file(R"toml([line]
name = "Small"
command_is_evidence = false
[component.water]
evaporates = true
[component.dye]
fade_per_day = "0.2 %, u 0.05 %"
[stock.water]
density = "998 kg/m3, u 0.5 kg/m3"
price_per_kg = 2.5
dry = true
display = "#a0B1c2"
name = "tap"
[instrument.m]
kind = "mass_meter"
resolution = "1 mg"
[instrument.c]
kind = "tank_scale"
resolution = "1 g"
[tank.t]
stock = "water"
scale = "c"
[station.s]
stocks = ["water"]
meters = ["m"]
tank = "t"
least_dose = "50 mg"
largest_dose = "0.02 kg"
spread = "5 mg"
spread_rel = "0.3 %"
fault_odds = 0.004
[container.f]
tare = "21.4 ± 0.4 g (k = 2)"
cap = "2 g, u 1 %"
density = "2.2 g/cm3"
brimful = "55 mL"
largest_fill = "0.05 L"
largest_fill_mass = "52 g"
inner_diameter = "2 cm, u 0.1 mm"
floor_volume = "0.4 mL, u 0.05 mL"
open_loss = "9 mg/h, u 2 mg/h"
capped_loss = "0.48 mg/d"
[risks]
consumer = 0.01
producer = 0.02
false_flag = 0.03
sure = 0.9
advice_lasts = "2 h"
future = "2 s"
[prices]
unit = "cr"
vial = 1
good = 2
scrap = 3
reading = 4
visit = 5
energy_per_kwh = 6
making = 7
late_per_hour = 8
[holding]
places = 9
cost_per_day = 10
longest = "264 h"
switching = 12
making_time = "90 min"
demand_half_life = "14 d"
)toml",
                                    "line.toml");
  ASSERT_TRUE(line.has_value()) << told(line.error());
  EXPECT_FALSE(line->plant.command_is_evidence);
  EXPECT_TRUE(line->book.components.at(0).evaporates);
  EXPECT_EQ(line->book.components.at(0).name, "water") << "the id where no name is given";
  const recipe::Stock& stock = line->book.stocks.at(0);
  EXPECT_DOUBLE_EQ(stock.density_g_per_ml, 0.998);
  EXPECT_DOUBLE_EQ(stock.u_density_g_per_ml, 0.0005);
  EXPECT_DOUBLE_EQ(stock.price_per_g, 0.0025);
  EXPECT_TRUE(stock.dry);
  EXPECT_EQ(stock.display, "#a0B1c2");
  EXPECT_EQ(stock.name, "tap");
  EXPECT_EQ(line->plant.tanks.at(0).stock, "water");
  EXPECT_EQ(line->plant.tanks.at(0).scale, "c");
  const plant::Station& station = line->plant.stations.at(0);
  EXPECT_EQ(station.stocks, std::vector<std::string>{"water"});
  EXPECT_EQ(station.meters, std::vector<std::string>{"m"});
  EXPECT_EQ(station.tank, "t");
  EXPECT_DOUBLE_EQ(station.least_dose_g, 0.05);
  EXPECT_DOUBLE_EQ(station.largest_dose_g, 20.0);
  EXPECT_DOUBLE_EQ(station.spread_g, 0.005);
  EXPECT_DOUBLE_EQ(station.spread_rel, 0.003);
  EXPECT_EQ(station.fault_odds, 0.004);
  const plant::Container& flask = line->plant.containers.at(0);
  EXPECT_DOUBLE_EQ(flask.tare_g, 21.4);
  EXPECT_DOUBLE_EQ(flask.u_tare_g, 0.2);
  EXPECT_DOUBLE_EQ(flask.cap_g, 2.0);
  EXPECT_DOUBLE_EQ(flask.u_cap_g, 0.02);
  EXPECT_DOUBLE_EQ(flask.density_g_per_ml, 2.2);
  EXPECT_EQ(flask.brimful_ml, 55.0);
  EXPECT_DOUBLE_EQ(flask.largest_fill_ml, 50.0);
  EXPECT_EQ(flask.largest_fill_g, 52.0);
  EXPECT_DOUBLE_EQ(flask.inner_diameter_mm, 20.0);
  EXPECT_DOUBLE_EQ(flask.u_inner_diameter_mm, 0.1);
  EXPECT_DOUBLE_EQ(flask.floor_volume_ml, 0.4);
  EXPECT_DOUBLE_EQ(flask.u_floor_volume_ml, 0.05);
  EXPECT_DOUBLE_EQ(flask.open_loss_g_per_h, 0.009);
  EXPECT_DOUBLE_EQ(flask.u_open_loss_g_per_h, 0.002);
  EXPECT_DOUBLE_EQ(flask.capped_loss_g_per_h, 0.00002);
  const plant::Risks& risks = line->plant.risks;
  EXPECT_EQ(risks.consumer, 0.01);
  EXPECT_EQ(risks.producer, 0.02);
  EXPECT_EQ(risks.false_flag, 0.03);
  EXPECT_EQ(risks.sure, 0.9);
  EXPECT_EQ(risks.advice_lasts_s, 7200.0);
  EXPECT_EQ(risks.future_s, 2.0);
  const plant::Prices& prices = line->plant.prices;
  EXPECT_EQ(prices.unit, "cr");
  EXPECT_EQ(prices.vial, 1.0);
  EXPECT_EQ(prices.good, 2.0);
  EXPECT_EQ(prices.scrap, 3.0);
  EXPECT_EQ(prices.reading, 4.0);
  EXPECT_EQ(prices.visit, 5.0);
  EXPECT_EQ(prices.energy_per_kwh, 6.0);
  EXPECT_EQ(prices.making, 7.0);
  EXPECT_EQ(prices.late_per_h, 8.0);
  const plant::HoldPlaces& holding = line->plant.holding;
  EXPECT_EQ(holding.places, 9);
  EXPECT_EQ(holding.cost_per_day, 10.0);
  EXPECT_DOUBLE_EQ(holding.longest_days, 11.0);
  EXPECT_EQ(holding.switching, 12.0);
  EXPECT_DOUBLE_EQ(holding.making_h, 1.5);
  EXPECT_DOUBLE_EQ(holding.demand_half_life_days, 14.0);
  EXPECT_DOUBLE_EQ(line->book.components.at(1).fade_per_day, 0.002);
  EXPECT_DOUBLE_EQ(line->book.components.at(1).u_fade_per_day, 0.0005);
}

}  // namespace
}  // namespace vialwright::line
