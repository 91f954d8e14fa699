// Colour in the line file, in its table of spectra and in the recipe table.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <ostream>
#include <string>
#include <vector>

#include "line/line_file.hpp"

namespace vialwright::line {
namespace {

using testing::HasSubstr;
using Gives = plant::ColourGauge::Gives;

// Invented; line numbers stand at the right, for the cases below.
const std::string good_line = R"([line]                     # 1
name = "Bench"
spectra = "spectra.csv"                                    # 3
[component.teal]
u_absorptivity = "0.5 %"                                   # 5
[component.water]
evaporates = true                                          # 7
[stock.water]
density = "0.998 g/mL"                                     # 9
[stock.teal]
density = "1.002 g/mL"                                     # 11
[stock.milk]
density = "1.01 g/mL"                                      # 13
scatters = true
[lot.w1]                                                   # 15
stock = "water"
strength = { water = "1000 mg/g" }                         # 17
[lot.t1]
stock = "teal"                                             # 19
strength = { teal = "0.2 mg/g", water = "995 mg/g" }
[compatibility]                                            # 21
may_meet = [["water", "teal", "milk"]]
[instrument.eye]                                           # 23
kind = "colour_gauge"
gives = "lab"                                              # 25
repeatability = 0.3
strip = 0.25                                               # 27
axis_correlation = 0.5
u_session = 0.3                                            # 29
illuminant = "A"
observer = "10"                                            # 31
u_path = "2 %"
[instrument.bench]                                         # 33
kind = "colour_gauge"
gives = "spectrum"                                         # 35
repeatability = 0.002
shows = "transmittance"                                    # 37
bands = "400 to 700 by 20 nm"
bandwidth = "8 nm"                                         # 39
cell = "10 mm"
stray_light = "0.2 %, u 0.1 %"                             # 41
[instrument.camera]
kind = "colour_gauge"                                      # 43
gives = "channels"
repeatability = 0.004                                      # 45
channels = ["red", "blue"]
[container.flask]                                          # 47
tare = "21.4 g, u 0.2 g"
brimful = "55 mL"                                          # 49
largest_fill = "50 mL"
inner_diameter = "30 mm"                                   # 51
[recipe.pond]
container = "flask"                                        # 53
stocks = ["water", "teal"]
net_mass = "39.5 to 40.5 g"                                # 55
[[recipe.pond.colour]]
lab = [86.9, -56.7, 50.8]                                  # 57
path = "2 cm"
limit = 2.0                                                # 59
[[recipe.pond.colour]]
lab = [88, -60.1, 48.2]                                    # 61
path = "2 cm"
limit = 2.5                                                # 63
illuminant = "A"
)";

const std::string good_table = R"(# Invented.
nm,teal,red,blue
380,2,0,0
400,3,,1
550,40,0.2,0.1
700,1.5,0.9,0
780,0,0,0
)";

/// A line and its table in a folder of their own.
class Folder {
 public:
  Folder()
      : path_(testing::TempDir() + "vialwright_colour_" + std::to_string(::getpid()) + "_" +
              std::to_string(++made)) {
    std::filesystem::create_directories(path_);
  }
  ~Folder() { std::filesystem::remove_all(path_); }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string put(const std::string& name, const std::string& text) const {
    std::ofstream(path_ + "/" + name, std::ios::binary) << text;
    return path_ + "/" + name;
  }
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  inline static int made = 0;
  std::string path_;
};

Checked<LineFile> read(const std::string& line, const std::string& table, const Folder& folder) {
  (void)folder.put("spectra.csv", table);
  return read_line_file(folder.put("line.toml", line));
}

std::string told(const Problems& problems) {
  std::string text;
  for (const Error& it : problems) text += it.where + " | " + it.what + " | " + it.mend + "\n";
  return text;
}

TEST(ColourLineFile, ReadsWhatItSays) {
  const Folder folder;
  const auto line = read(good_line, good_table, folder);
  ASSERT_TRUE(line.has_value()) << told(line.error());
  const recipe::Component& teal = line->book.components.at(0);
  EXPECT_EQ(teal.absorptivity, (colour::Spectrum{{380, 400, 550, 700, 780}, {2, 3, 40, 1.5, 0}}));
  EXPECT_DOUBLE_EQ(teal.u_absorptivity_rel, 0.005);
  EXPECT_TRUE(line->book.components.at(1).absorptivity.nm.empty());
  EXPECT_TRUE(line->book.stocks.at(2).scatters);
  const auto& eye = line->plant.instruments.at(0).colour.value();
  EXPECT_EQ(eye.gives, Gives::lab);
  EXPECT_EQ(eye.illuminant, colour::Illuminant::a);
  EXPECT_EQ(eye.observer, colour::Observer::cie1964);
  EXPECT_DOUBLE_EQ(eye.strip_rel, 0.25);
  EXPECT_DOUBLE_EQ(eye.axis_correlation, 0.5);
  EXPECT_DOUBLE_EQ(eye.u_session, 0.3);
  EXPECT_DOUBLE_EQ(eye.u_path_rel, 0.02);
  EXPECT_EQ(eye.path_cm, 0.0) << "through the vial";
  EXPECT_DOUBLE_EQ(line->plant.instruments.at(0).repeatability, 0.3);
  const auto& bench = line->plant.instruments.at(1).colour.value();
  EXPECT_EQ(bench.gives, Gives::spectrum);
  EXPECT_FALSE(bench.absorbance);
  EXPECT_EQ(bench.bands, (colour::Grid{400, 700, 20}));
  EXPECT_DOUBLE_EQ(bench.bandwidth_nm, 8.0);
  EXPECT_DOUBLE_EQ(bench.path_cm, 1.0);
  EXPECT_DOUBLE_EQ(bench.stray_light, 0.002);
  EXPECT_DOUBLE_EQ(bench.u_stray_light, 0.001);
  const auto& camera = line->plant.instruments.at(2).colour.value();
  ASSERT_EQ(camera.channels.size(), 2u);
  EXPECT_EQ(camera.channels[0], (colour::Spectrum{{380, 550, 700, 780}, {0, 0.2, 0.9, 0}}))
      << "an empty cell leaves its wavelength out";
}

TEST(ColourLineFile, ReadsTheColoursOfARecipe) {
  const Folder folder;
  const auto line = read(good_line, good_table, folder);
  ASSERT_TRUE(line.has_value()) << told(line.error());
  const recipe::Recipe& pond = line->recipes.at(0);
  ASSERT_EQ(pond.colours.size(), 2u);
  EXPECT_EQ(pond.colours[0],
            (recipe::ColourTarget{
                {86.9, -56.7, 50.8}, colour::Illuminant::d65, colour::Observer::cie1931, 2.0}));
  EXPECT_EQ(pond.colours[1].illuminant, colour::Illuminant::a);
  ASSERT_EQ(pond.tolerances.size(), 3u);
  EXPECT_EQ(pond.tolerances[1], recipe::tolerance(recipe::ToleranceOn::colour, 0, {{}, {}, 2.0}));
  EXPECT_EQ(pond.tolerances[2], recipe::tolerance(recipe::ToleranceOn::colour, 1, {{}, {}, 2.5}));
}

struct Bad {
  std::string name;
  bool in_table;
  std::string from, to;           ///< the edit that breaks the good file
  std::string where, what, mend;  ///< where is what follows the folder, whole
};
void PrintTo(const Bad& bad, std::ostream* out) { *out << bad.name; }
class BadColour : public testing::TestWithParam<Bad> {};

TEST_P(BadColour, SaysWhereWhatAndHowToMendIt) {
  const Bad& bad = GetParam();
  const Folder folder;
  std::string line = good_line, table = good_table;
  std::string& text = bad.in_table ? table : line;
  const auto at = text.find(bad.from);
  ASSERT_NE(at, std::string::npos) << "the case replaces what is not there";
  ASSERT_EQ(text.find(bad.from, at + 1), std::string::npos) << "not unique";
  text.replace(at, bad.from.size(), bad.to);
  const auto got = read(line, table, folder);
  ASSERT_FALSE(got.has_value());
  ASSERT_EQ(got.error().size(), 1u) << "one slip is one problem\n" << told(got.error());
  EXPECT_EQ(got.error()[0].where, folder.path() + "/" + bad.where) << told(got.error());
  EXPECT_THAT(got.error()[0].what, HasSubstr(bad.what));
  EXPECT_THAT(got.error()[0].mend, HasSubstr(bad.mend));
}

const std::vector<Bad> in_the_line = {
    {"NoTable", false, "spectra.csv", "spectrum.csv", "line.toml:3:11, line.spectra",
     "spectrum.csv", ""},
    {"DoubtOfNothing", false, "[component.water]", "[component.water]\nu_absorptivity = \"1 %\"",
     "line.toml:7:18, component.water.u_absorptivity", "no absorptivity of 'water'",
     "add a column 'water'"},
    {"GivesNothing", false, "gives = \"lab\"", "", "line.toml:23:13, instrument.eye.gives",
     "does not say what it gives", "gives = \"lab\""},
    {"GivesAnotherWord", false, "\"spectrum\"", "\"spectra\"",
     "line.toml:35:9, instrument.bench.gives", "'spectra' is no way to give a colour",
     "did you mean 'spectrum'?"},
    {"AScaleWithACell", false, "[container.flask]",
     "[instrument.s]\nkind = \"scale\"\nrepeatability = \"1 mg\"\ncell = \"1 "
     "cm\"\n[container.flask]",
     "line.toml:50:8, instrument.s.cell", "of kind scale has no cell", "correct the kind"},
    {"AnOffset", false, "strip = 0.25", "strip = 0.25\noffset = \"1 g\"",
     "line.toml:28:10, instrument.eye.offset", "of kind colour_gauge has no offset",
     "delete the key"},
    {"Strip", false, "strip = 0.25", "strip = 1.25", "line.toml:27:9, instrument.eye.strip", "1.25",
     "from 0 to 1"},
    {"Illuminant", false, "illuminant = \"A\"\nobserver", "illuminant = \"D66\"\nobserver",
     "line.toml:30:14, instrument.eye.illuminant", "'D66' is no illuminant", "D65"},
    {"Observer", false, "\"10\"", "\"20\"", "line.toml:31:12, instrument.eye.observer",
     "'20' is no observer", "2"},
    {"Shows", false, "\"transmittance\"", "\"transmission\"",
     "line.toml:37:9, instrument.bench.shows", "'transmission' is no kind of value",
     "absorbance, transmittance"},
    {"Bands", false, "400 to 700 by 20 nm", "400-700/20", "line.toml:38:9, instrument.bench.bands",
     "'400-700/20' are no bands", "400 to 700 by 10 nm"},
    {"BandsOutside", false, "400 to 700 by 20 nm", "300 to 700 by 20 nm",
     "line.toml:38:9, instrument.bench.bands", "300 to 700 nm", "from 380 to 780 nm"},
    {"CellWithoutUnit", false, "\"10 mm\"", "1", "line.toml:40:8, instrument.bench.cell",
     "without a unit", "\"1 cm\""},
    {"ChannelOfNoColumn", false, "\"red\"", "\"rad\"",
     "line.toml:46:12, instrument.camera.channels", "no column 'rad'", "did you mean 'red'?"},
    {"ColourWithoutPath", false, "path = \"2 cm\"\nlimit = 2.0", "limit = 2.0",
     "line.toml:56:1, recipe.pond.colour", "does not give its path", "path = \"2 cm\""},
    {"ColourWithoutLimit", false, "limit = 2.5", "", "line.toml:60:1, recipe.pond.colour.2",
     "does not give its limit", "limit = 2.0"},
    {"ColourOfTwoNumbers", false, "[86.9, -56.7, 50.8]", "[86.9, -56.7]",
     "line.toml:57:7, recipe.pond.colour.lab", "not a list of three numbers", "lab = [86.9"},
    {"UnknownKey", false, "limit = 2.5", "limit = 2.5\nlimits = 3",
     "line.toml:64:10, recipe.pond.colour.2.limits", "unknown key 'limits'",
     "did you mean 'limit'?"},
    {"TooLight", false, "[88, -60.1", "[108, -60.1", "line.toml:61:7, recipe.pond.colour.2.lab",
     "108 (L*)", "from 0 to 100"},
    {"Cloudy", false, "stocks = [\"water\", \"teal\"]", "stocks = [\"water\", \"teal\", \"milk\"]",
     "line.toml:54:10, recipe.pond.stocks", "'milk' makes the liquid cloudy", "stay clear"},
};
const std::vector<Bad> in_the_table = {
    {"NoWavelengths", true, "nm,teal", "teal,nm", "spectra.csv:2:1", "the first column is 'teal'",
     "begin the first row with nm"},
    {"UnknownColumn", true, "red,blue\n", "red,blue,tael\n", "spectra.csv:2:18",
     "column 'tael' is no component", "did you mean 'teal'?"},
    {"ColumnTwice", true, "red,blue\n", "red,blue,red\n", "spectra.csv:2:18",
     "column 'red' stands twice", "delete one"},
    {"NoNumber", true, "550,40", "550,forty", "spectra.csv:5:5", "'forty'", "number"},
    {"TooManyCells", true, "780,0,0,0", "780,0,0,0,7", "spectra.csv:7:11", "more cells",
     "one value a column"},
    {"Empty", true, good_table, "# nothing yet\n", "spectra.csv", "is empty", "nm"},
    {"WavelengthsFall", true, "700,1.5", "500,1.5", "spectra.csv:6:1",
     "wavelength 500 does not rise above 550", "sort the rows"},
    // What is wrong with one spectrum is told of the component that has it.
    {"BelowZero", true, "400,3", "400,-3", "line.toml:4:12, component.teal.absorptivity",
     "-3 mL/(mg cm) at 400 nm", "give 0"},
};
std::string name_of(const testing::TestParamInfo<Bad>& info) { return info.param.name; }
INSTANTIATE_TEST_SUITE_P(Line, BadColour, testing::ValuesIn(in_the_line), name_of);
INSTANTIATE_TEST_SUITE_P(Table, BadColour, testing::ValuesIn(in_the_table), name_of);

// ---- the recipe table ------------------------------------------------------------------------

const std::string good_recipes =
    R"(recipe,container,stocks,on,of,low,target,high,within,unit,illuminant,observer,path
lake,flask,water teal,net_mass,,39.5,,40.5,,g,,,
lake,,,colour,,,86.9 -56.7 50.8,2.0,,1,,,2 cm
lake,,,colour,,,88 -60.1 48.2,2.5,,,A,10,20 mm
)";

Checked<std::vector<recipe::Recipe>> recipes_in(const std::string& text) {
  static const Folder folder;
  static const auto line = read(good_line, good_table, folder);
  return parse_recipes_csv(text, "recipes.csv", line.value());
}

TEST(ColourRecipeTable, ReadsWhatItSays) {
  const auto recipes = recipes_in(good_recipes);
  ASSERT_TRUE(recipes.has_value()) << told(recipes.error());
  const recipe::Recipe& lake = recipes->at(0);
  ASSERT_EQ(lake.colours.size(), 2u);
  EXPECT_EQ(lake.colours[0],
            (recipe::ColourTarget{
                {86.9, -56.7, 50.8}, colour::Illuminant::d65, colour::Observer::cie1931, 2.0}));
  EXPECT_EQ(lake.colours[1],
            (recipe::ColourTarget{
                {88.0, -60.1, 48.2}, colour::Illuminant::a, colour::Observer::cie1964, 2.0}));
  EXPECT_EQ(lake.tolerances.at(2),
            recipe::tolerance(recipe::ToleranceOn::colour, 1, {{}, {}, 2.5}));
}

class BadColourRow : public testing::TestWithParam<Bad> {};
TEST_P(BadColourRow, SaysWhereWhatAndHowToMendIt) {
  const Bad& bad = GetParam();
  std::string text = good_recipes;
  const auto at = text.find(bad.from);
  ASSERT_NE(at, std::string::npos) << "the case replaces what is not there";
  text.replace(at, bad.from.size(), bad.to);
  const auto got = recipes_in(text);
  ASSERT_FALSE(got.has_value());
  ASSERT_EQ(got.error().size(), 1u) << told(got.error());
  EXPECT_EQ(got.error()[0].where, bad.where);
  EXPECT_THAT(got.error()[0].what, HasSubstr(bad.what));
  EXPECT_THAT(got.error()[0].mend, HasSubstr(bad.mend));
}
const std::vector<Bad> rows = {
    {"TwoNumbers", true, "86.9 -56.7 50.8", "86.9 -56.7", "recipes.csv:3:17, column target",
     "'86.9 -56.7' is no colour", "L*, a* and b*"},
    {"NoLimit", true, "50.8,2.0", "50.8,", "recipes.csv:3:33, column high", "no limit",
     "CIEDE2000"},
    {"NoPath", true, ",2 cm", ",", "recipes.csv:3:42, column path", "is no thickness", "2 cm"},
    {"OfSomething", true, "colour,,,86.9", "colour,teal,,86.9", "recipes.csv:3:15, column of",
     "of does not belong", "empty"},
    {"Within", true, "2.0,,1", "2.0,3 %,1", "recipes.csv:3:37, column within",
     "within does not belong", "empty"},
    {"Unit", true, "2.0,,1", "2.0,,g", "recipes.csv:3:38, column unit", "no unit 'g'", "1"},
    {"Illuminant", true, ",A,10", ",B,10", "recipes.csv:4:37, column illuminant",
     "'B' is no illuminant", "A"},
    {"Observer", true, ",A,10", ",A,12", "recipes.csv:4:39, column observer", "'12' is no observer",
     "2"},
    {"PathOfAMass", true, "40.5,,g,,,", "40.5,,g,,,1 cm", "recipes.csv:2:49, column path",
     "path belongs to a line on colour", "empty"},
};
INSTANTIATE_TEST_SUITE_P(All, BadColourRow, testing::ValuesIn(rows), name_of);

}  // namespace
}  // namespace vialwright::line
