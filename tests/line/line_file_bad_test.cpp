// Bad line files: each says where (line and column), what, and how to mend it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <ostream>
#include <string>
#include <vector>

#include "line/line_file.hpp"

namespace vialwright::line {
namespace {

using testing::HasSubstr;

// Line numbers stand at the right, for the cases below.
const std::string good = R"([line]                                           # 1
name = "Bench"
[component.salt]                                           # 3
[component.water]
evaporates = true                                          # 5
[stock.brine]
density = "1.07 g/mL, u 0.001 g/mL"                        # 7
price_per_kg = 2.5
[stock.water]                                              # 9
density = "0.998 g/mL"
[lot.b1]                                                   # 11
stock = "brine"
strength = { salt = "100 mg/g, u 1 %", water = "900 mg/g" } # 13
expires = 2027-01-31
[compatibility]                                            # 15
may_meet = [["brine", "water"]]
[instrument.scale]                                         # 17
kind = "scale"
repeatability = "2 mg"                                     # 19
resolution = "1 mg"
[instrument.meter]                                         # 21
kind = "mass_meter"
repeatability = "2 mg"                                     # 23
zero_stability = "5 g/h"
[instrument.cell]                                          # 25
kind = "tank_scale"
repeatability = "1 g"                                      # 27
[tank.big]
stock = "brine"                                            # 29
scale = "cell"
[station.one]                                              # 31
stocks = ["brine", "water"]
meters = ["meter"]                                         # 33
tank = "big"
least_dose = "50 mg"                                       # 35
spread = "5 mg"
[container.flask]                                          # 37
tare = "21.4 g, u 0.2 g"
brimful = "55 mL"                                          # 39
largest_fill = "50 mL"
open_loss = "9 mg/h"                                       # 41
[risks]
consumer = 0.05                                            # 43
[recipe.half]
container = "flask"                                        # 45
stocks = ["brine", "water"]
content.salt = "50 mg/g ± 2 %"                             # 47
net_mass = "39.5 to 40.5 g"
[lot.w1]                                                   # 49
stock = "water"
strength = { water = "1000 mg/g" }                         # 51
)";

std::string with(const std::string& from, const std::string& to) {
  std::string text = good;
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << "the case replaces what is not there: " << from;
  EXPECT_EQ(text.find(from, at + 1), std::string::npos) << "not unique: " << from;
  return text.replace(at, from.size(), to);
}

struct Bad {
  std::string name, from, to;     ///< the edit that breaks the good file
  std::string where, what, mend;  ///< where is whole, the others are fragments
};

void PrintTo(const Bad& bad, std::ostream* out) { *out << bad.name; }

Problems problems_of(const std::string& text) {
  const auto line = parse_line_file(text, "line.toml");
  return line ? Problems{} : line.error();
}

std::string told(const Problems& problems) {
  std::string text;
  for (const Error& it : problems) text += it.where + " | " + it.what + " | " + it.mend + "\n";
  return text;
}

class BadLineFile : public testing::TestWithParam<Bad> {};

TEST(GoodLineFile, IsTakenWithoutAProblem) { EXPECT_EQ(told(problems_of(good)), ""); }

TEST_P(BadLineFile, SaysWhereWhatAndHowToMendIt) {
  const Bad& bad = GetParam();
  const Problems problems = problems_of(with(bad.from, bad.to));
  ASSERT_EQ(problems.size(), 1u) << "one slip is one problem\n" << told(problems);
  EXPECT_EQ(problems[0].where, bad.where) << told(problems);
  EXPECT_THAT(problems[0].what, HasSubstr(bad.what));
  EXPECT_THAT(problems[0].mend, HasSubstr(bad.mend));
}

const std::vector<Bad> syntax = {
    {"DecimalComma", "consumer = 0.05", "consumer = 0,05", "line.toml:43:13", "not TOML",
     "with a point"},
    {"UnitWithoutQuotes", R"("55 mL")", "55 mL", "line.toml:39:14", "not TOML", "in double quotes"},
    {"TextWithoutQuotes", R"(kind = "scale")", "kind = scale", "line.toml:18:8", "not TOML",
     "in double quotes"},
    {"QuoteNotClosed", R"(kind = "scale")", R"(kind = "scale)", "line.toml:18:14", "not TOML",
     "close the text"},
    {"KeyTwice", "resolution = \"1 mg\"", "repeatability = \"1 mg\"", "line.toml:20:17", "not TOML",
     "delete one"},
    {"SectionTwice", "[instrument.meter]", "[instrument.scale]", "line.toml:21:1", "not TOML",
     "another id"},
    {"NoEqualsSign", "consumer = 0.05", "consumer 0.05", "line.toml:43:10", "not TOML",
     "key = value"},
    {"HeadNotClosed", "[risks]", "[risks", "line.toml:42:7", "not TOML", "table's head"},
};
const std::vector<Bad> keys = {
    {"UnknownKey", "resolution", "resolutoin", "line.toml:20:1, instrument.scale.resolutoin",
     "unknown key 'resolutoin'", "did you mean 'resolution'?"},
    {"UnknownKeyFarFromAll", "consumer = 0.05", "colour = 1", "line.toml:43:1, risks.colour",
     "unknown key 'colour'", "known: consumer, producer"},
    {"UnknownSection", "[risks]", "[riks]", "line.toml:42:2, riks", "unknown section 'riks'",
     "did you mean 'risks'?"},
    {"MissingKey", "brimful = \"55 mL\"", "", "line.toml:37:12, container.flask.brimful",
     "the key brimful is missing", "brimful = \"26.5 mL\""},
    {"MissingSection", "[line]                                           # 1\nname = \"Bench\"",
     "#\n#", "line.toml, line.name", "the key name is missing", "name = \"Larkmoor"},
    {"NumberForText", R"(name = "Bench")", "name = 7", "line.toml:2:8, line.name",
     "name is the number 7, not a text", "name = \"Larkmoor"},
    {"TextForFlag", "price_per_kg = 2.5", R"(dry = "yes")", "line.toml:8:7, stock.brine.dry",
     "the text 'yes', not true or false", "dry = true"},
    {"TextForNumber", "consumer = 0.05", R"(consumer = "5 %")", "line.toml:43:12, risks.consumer",
     "the text '5 %', not a finite number", "consumer = 0.05"},
    {"TextForList", R"(meters = ["meter"])", R"(meters = "meter")",
     "line.toml:33:10, station.one.meters", "the text 'meter', not a list", "[\"yellow_mass\"]"},
    {"NumberInList", R"(meters = ["meter"])", R"(meters = ["meter", 3])",
     "line.toml:33:20, station.one.meters", "the list holds the number 3", "meters = ["},
    {"ListForTable", R"(strength = { salt = "100 mg/g, u 1 %", water = "900 mg/g" })",
     "strength = [1]", "line.toml:13:12, lot.b1.strength", "is a list, not a table",
     "strength = { yellow"},
    {"ValueForSection", "[risks]\nconsumer = 0.05", "[recipe]\nrisk = 1",
     "line.toml:43:1, recipe.risk", "'risk' is no table", "[recipe.risk]"},
    {"IdWithSpace", "[lot.b1]", "[lot.\"b 1\"]", "line.toml:11:6, lot.b 1", "'b 1' is no usable id",
     "without spaces"},
};
const std::vector<Bad> values = {
    {"AmountWithoutUnit", R"(least_dose = "50 mg")", "least_dose = 50",
     "line.toml:35:14, station.one.least_dose", "without a unit", "\"50 g\""},
    {"UnknownUnit", R"("0.998 g/mL")", R"("0.998 g/ml")", "line.toml:10:11, stock.water.density",
     "unit 'g/ml' is not known", "did you mean 'g/mL'?"},
    {"WrongDimension", R"(least_dose = "50 mg")", R"(least_dose = "50 uL")",
     "line.toml:35:14, station.one.least_dose", "unit 'uL' does not fit here", "kg, g, mg"},
    {"DecimalCommaInAmount", R"(least_dose = "50 mg")", R"(least_dose = "0,05 g")",
     "line.toml:35:14, station.one.least_dose", "'0,05' is not a number", "with a point"},
    {"AmountNotANumber", R"(least_dose = "50 mg")", R"(least_dose = "some")",
     "line.toml:35:14, station.one.least_dose", "does not begin with a number", "\"5 mg\""},
    {"NaN", "consumer = 0.05", "consumer = nan", "line.toml:43:12, risks.consumer",
     "consumer is NaN", "consumer = 0.05"},
    {"Infinity", "price_per_kg = 2.5", "price_per_kg = inf",
     "line.toml:8:16, stock.brine.price_per_kg", "is infinity", "price_per_kg = 12.5"},
    {"TooLargeForADouble", R"(least_dose = "50 mg")", R"(least_dose = "1e999 mg")",
     "line.toml:35:14, station.one.least_dose", "'1e999' is not a number", "finite"},
    {"TooLargeForTheUnit", R"(least_dose = "50 mg")", R"(least_dose = "1e308 kg")",
     "line.toml:35:14, station.one.least_dose", "too large", "an amount"},
    {"NegativeAmount", R"(least_dose = "50 mg")", R"(least_dose = "-50 mg")",
     "line.toml:35:14, station.one.least_dose", "least_dose = -0.05 g is not above zero",
     "above 0 g"},
    {"NegativePrice", "price_per_kg = 2.5", "price_per_kg = -2.5",
     "line.toml:8:16, stock.brine.price_per_kg", "-2.5", "0 a kg or more"},
    {"PlusMinusWithoutK", R"("21.4 g, u 0.2 g")", R"("21.4 g ± 0.2 g")",
     "line.toml:38:8, container.flask.tare", "does not say what its ± means", "(k = 2)"},
    {"TareWithoutDoubt", R"("21.4 g, u 0.2 g")", R"("21.4 g")",
     "line.toml:38:8, container.flask.tare", "no two empty containers weigh the same",
     "14.80 g, u 0.15 g"},
    {"DoubtWhereNoneGoes", R"(least_dose = "50 mg")", R"(least_dose = "50 mg, u 1 mg")",
     "line.toml:35:14, station.one.least_dose", "takes no uncertainty", "least_dose = \"25 mg\""},
    {"NegativeDoubt", R"("21.4 g, u 0.2 g")", R"("21.4 g, u -0.2 g")",
     "line.toml:38:8, container.flask.tare", "-0.2 is below zero", "without its sign"},
    {"UnknownKind", R"(kind = "mass_meter")", R"(kind = "mas_meter")",
     "line.toml:22:8, instrument.meter.kind", "'mas_meter' is no kind of instrument",
     "did you mean 'mass_meter'?"},
    {"NotADay", "expires = 2027-01-31", R"(expires = "soon")", "line.toml:14:11, lot.b1.expires",
     "'soon' is not a time", ""},
    {"ZeroStabilityOfAScale", "zero_stability = \"5 g/h\"\n[instrument.cell]",
     "[instrument.cell]\nzero_stability = \"5 g/h\"",
     "line.toml:25:18, instrument.cell.zero_stability", "does not count over time", "delete"},
    {"RelativeWhereAbsolute", R"(spread = "5 mg")", R"(spread = "5 %")",
     "line.toml:36:10, station.one.spread", "unit '%' does not fit here", "kg, g, mg"},
    {"NoSpread", R"(spread = "5 mg")", "", "line.toml:31:10, station.one.spread",
     "never misses its command", "spread_rel"},
    {"OddsAboveAHalf", "consumer = 0.05", "consumer = 0.7", "line.toml:43:12, risks.consumer",
     "0.7 is no usable probability", "below 0.5"},
    {"LargestFillAboveBrim", R"(largest_fill = "50 mL")", R"(largest_fill = "60 mL")",
     "line.toml:40:16, container.flask.largest_fill", "60 mL is more than the brimful volume 55 mL",
     "at most the brimful"},
};
const std::vector<Bad> references = {
    {"NoSuchMeter", R"(meters = ["meter"])", R"(meters = ["metre"])",
     "line.toml:33:10, station.one.meters", "there is no instrument 'metre'",
     "did you mean 'meter'?"},
    {"NoMeter", R"(meters = ["meter"])", R"(meters = ["scale"])",
     "line.toml:33:10, station.one.meters", "'scale' is a scale, not a meter", "mass_meter"},
    {"NoSuchStockInStation", R"(stocks = ["brine", "water"]
meters)",
     "stocks = [\"brine\", \"watr\"]\nmeters", "line.toml:32:10, station.one.stocks",
     "there is no stock 'watr'", "did you mean 'water'?"},
    {"NoSuchStockMayMeet", R"(may_meet = [["brine", "water"]])",
     R"(may_meet = [["brine", "water", "wine"]])", "line.toml:16:12, compatibility.may_meet",
     "there is no stock 'wine'", "did you mean 'brine'?"},
    {"MayNotMeet", R"(may_meet = [["brine", "water"]])", "", "line.toml:46:10, recipe.half.stocks",
     "'brine' and 'water' are not listed as stocks that may meet", "compatibility.may_meet"},
    {"NoSuchTank", R"(tank = "big")", R"(tank = "bag")", "line.toml:34:8, station.one.tank",
     "there is no tank 'bag'", "did you mean 'big'?"},
    {"TankOnAScaleForVials", R"(scale = "cell")", R"(scale = "scale")",
     "line.toml:30:9, tank.big.scale", "'scale' is a scale", "tank_scale"},
    {"NoSuchComponentInLot", R"({ salt = "100 mg/g, u 1 %",)", R"({ slat = "100 mg/g, u 1 %",)",
     "line.toml:13:21, lot.b1.strength.slat", "there is no component 'slat'",
     "did you mean 'salt'?"},
    {"NoSuchContainer", R"(container = "flask")", R"(container = "flsk")",
     "line.toml:45:13, recipe.half.container", "there is no container 'flsk'",
     "did you mean 'flask'?"},
    {"StrengthsAboveTheWhole", R"("900 mg/g")", R"("990 mg/g")", "line.toml:13:12, lot.b1.strength",
     "sum to 1090 mg/g", "at most 1000 mg"},
    {"TwoComponentsEvaporate", "[component.salt] ", "[component.salt]\nevaporates = true #",
     "line.toml:6:14, component.water.evaporates", "both evaporate", "one component"},
    {"NothingEvaporates", "evaporates = true", "", "line.toml:41:13, container.flask.open_loss",
     "no component evaporates", "evaporates = true"},
    {"NothingReadsWithoutError",
     "repeatability = \"2 mg\"                                     # 19\n"
     "resolution = \"1 mg\"",
     "", "line.toml:17:13, instrument.scale.repeatability", "never errs", "resolution"},
};
const std::vector<Bad> recipes = {
    {"LimitsCrossed", R"("39.5 to 40.5 g")", R"("40.5 to 39.5 g")",
     "line.toml:48:12, recipe.half.net_mass", "40.5 g is not below the upper limit 39.5 g",
     "leave room"},
    {"NoRoom", R"("39.5 to 40.5 g")", R"("40 to 40 g")", "line.toml:48:12, recipe.half.net_mass",
     "40 g is not below the upper limit 40 g", "no vial meets one exact value"},
    {"TargetOutside", R"("39.5 to 40.5 g")", R"("39.5 to 40.5 g, target 41 g")",
     "line.toml:48:12, recipe.half.net_mass", "the target 41 g is outside", "between the limits"},
    {"NoLimits", R"("39.5 to 40.5 g")", R"("about 40 g")", "line.toml:48:12, recipe.half.net_mass",
     "sets no limits", "at most 20.3 g"},
    {"BoundsNothing", R"("39.5 to 40.5 g")", "{ target = \"40 g\" }",
     "line.toml:48:12, recipe.half.net_mass", "bounds nothing", "a lower limit"},
    {"UnknownSide", R"("39.5 to 40.5 g")", "{ lo = \"39 g\", high = \"41 g\" }",
     "line.toml:48:14, recipe.half.net_mass.lo", "unknown key 'lo'", "did you mean 'low'?"},
    {"NegativeLimit", R"("39.5 to 40.5 g")", R"("at least -1 g")",
     "line.toml:48:12, recipe.half.net_mass", "below 0 g", "0 or more"},
    {"BeyondTheContainer", R"("39.5 to 40.5 g")", R"("59.5 to 60.5 g")",
     "line.toml:48:12, recipe.half.net_mass", "container 'flask' takes at most 50 mL",
     "larger container"},
    {"StrongerThanAnyStock", R"("50 mg/g ± 2 %")", R"("150 mg/g ± 2 %")",
     "line.toml:47:16, recipe.half.content.salt", "strongest permitted lot holds 100 mg/g",
     "stronger stock"},
    {"ComponentOfNoStock", "stocks = [\"brine\", \"water\"]\ncontent.salt",
     "stocks = [\"brine\"]\nstock_mass.water = \"at least 1 g\"\ncontent.salt",
     "line.toml:47:20, recipe.half.stock_mass.water", "which the recipe does not permit",
     "add it to the recipe's stocks"},
    {"NoSuchComponentInLine", "content.salt", "content.sald",
     "line.toml:47:16, recipe.half.content.sald", "there is no component 'sald'",
     "did you mean 'salt'?"},
    {"RiskOutOfRange", "container = \"flask\" ", "container = \"flask\"\nconsumer_risk = 0 #",
     "line.toml:46:17, recipe.half.consumer_risk", "0 is no usable probability", "above 0"},
    {"VersionZero", "container = \"flask\" ", "container = \"flask\"\nversion = 0 #",
     "line.toml:46:11, recipe.half.version", "version 0 is below 1", "from 1"},
    {"VersionWithPoint", "container = \"flask\" ", "container = \"flask\"\nversion = 1.5 #",
     "line.toml:46:11, recipe.half.version", "the number 1.5, not a whole number", "version = 1"},
};

std::string name_of(const testing::TestParamInfo<Bad>& info) { return info.param.name; }

INSTANTIATE_TEST_SUITE_P(Syntax, BadLineFile, testing::ValuesIn(syntax), name_of);
INSTANTIATE_TEST_SUITE_P(Keys, BadLineFile, testing::ValuesIn(keys), name_of);
INSTANTIATE_TEST_SUITE_P(Values, BadLineFile, testing::ValuesIn(values), name_of);
INSTANTIATE_TEST_SUITE_P(References, BadLineFile, testing::ValuesIn(references), name_of);
INSTANTIATE_TEST_SUITE_P(Recipes, BadLineFile, testing::ValuesIn(recipes), name_of);

}  // namespace
}  // namespace vialwright::line
